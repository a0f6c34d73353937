"""Choose the best counts of a plan: by their sides where they can be told, by learned rows alone where not.

Of the best by the first objective the best by the next is found, then what fails a trial is forbidden, and again.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import replace
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.engine.by_sides import BySides, Enough, Refused, is_refused
from kitopt.engine.learned import CaseMemory
from kitopt.engine.outcome import Outcome
from kitopt.engine.plan import Objective, Plan
from kitopt.engine.strongest import strongest

Floats = NDArray[np.float64]

_ALMOST = 0.9
"""Where it is asked whether any counts do, those that meet less of the need are not looked for."""


def choose(
    plan: Plan,
    *,
    budget: Budget = UNLIMITED,
    cutoff: float = math.inf,
    memories: Sequence[CaseMemory] | None = None,
    least: float = -math.inf,
    enough: float = -math.inf,
    may_put_off: bool = False,
    in_hand: Floats | None = None,
) -> Outcome:
    """Find the counts that pass every case with the least first objective, then the next.

    Parameters
    ----------
    plan : Plan
    budget : Budget
        When the time is up the best counts so far come back with their bound.
    cutoff : float
        Only counts whose first objective is at most this are of interest.
    memories : sequence of CaseMemory, optional
        Rows that an earlier choice learned on the very same cases.
    least : float
        What is known already: no counts have a lower first objective.
    enough : float
        Counts whose first objective is at most this will do, proved best or not; where it is infinite any will, and
        only whether there are any is asked.
    may_put_off : bool
        Whether a plan of too many sides, or of many in vain, is left to be asked again, when more is known of others.
    in_hand : ndarray, optional
        Counts within the cutoff that pass every case and every trial.

    Returns
    -------
    Outcome

    Raises
    ------
    ModelError
        If the judge and the integer program disagree: a defect.
    SolverFailed
    """
    known = [CaseMemory(case) for case in plan.cases] if memories is None else list(memories)
    if enough == math.inf:
        return _any(plan, budget, cutoff, known)
    tried, looked = in_hand, None
    while True:
        known = _with_trials(plan, known)
        chooser = _Chooser(
            plan, budget, cutoff, known, least, enough, may_put_off=may_put_off, tried=tried, looked=looked
        )
        try:
            outcome = chooser.run()
        except Refused:
            # what is best but for the refused is most often near
            least, tried, looked = max(least, chooser.bound), chooser.tried, chooser.looked
            continue
        if outcome.counts is None:
            return outcome
        try:
            fails = is_refused(plan, outcome.counts, budget)
        except OutOfTime:
            return outcome.without_counts()
        if not fails:
            return outcome
        if not outcome.proved and outcome.objective > enough:
            return outcome.without_counts()
        # a trial only forbids
        least, tried = max(least, outcome.bound), chooser.tried


def _any(plan: Plan, budget: Budget, cutoff: float, known: Sequence[CaseMemory]) -> Outcome:
    """Any counts that pass, or that none do: the strongest are looked for, which tells sooner than the cheapest."""
    first = plan.objectives[0]
    least, limit = plan.least(first), first.most(first.at_most(cutoff))
    within = plan if limit is None else replace(plan, rows=(*plan.rows, limit))
    while True:
        known = _with_trials(plan, known)
        found = strongest(within, known, budget=budget, least_share=_ALMOST, is_any_enough=True)
        if found.counts is None or found.share < 1.0:
            is_none = found.most < 1.0
            bound = least if not is_none else first.at_most(cutoff) + first.step
            return Outcome("no-kit" if is_none else "time-limit", None, math.inf, bound, tuple(known))
        value = float(first.of(found.counts))
        outcome = Outcome("time-limit", found.counts, value, least, tuple(known), reached={first.name: (value, least)})
        try:
            if not is_refused(plan, found.counts, budget):
                return outcome
        except OutOfTime:
            return outcome.without_counts()


def _with_trials(plan: Plan, memories: Sequence[CaseMemory]) -> list[CaseMemory]:
    """What is known, and of each trial what is known of its last case."""
    old = {id(case) for trial in plan.trials for case in trial.cases[:-1]}
    known = [memory for memory in memories if id(memory.case) not in old]
    here = {id(memory.case) for memory in known}
    last = [case for trial in plan.trials for case in trial.cases[-1:]]
    return [*known, *(CaseMemory(case) for case in last if id(case) not in here)]


class _Chooser(BySides):
    """One choice, of all objectives in turn.

    Attributes
    ----------
    later : dict
        What is proved of each further objective.
    """

    def __init__(
        self,
        plan: Plan,
        budget: Budget,
        cutoff: float,
        memories: Sequence[CaseMemory],
        least: float,
        enough: float = -math.inf,
        **more: Any,
    ) -> None:
        super().__init__(plan, budget, memories, least, enough, **more)
        self.cutoff = plan.objectives[0].at_most(cutoff)
        self.later = {o.name: plan.least(o) for o in plan.objectives[1:]}

    def run(self) -> Outcome:
        first = self.plan.objectives[0]
        try:
            is_found = self._by_sides(first, self._cutoff_by(first))
            if is_found is None and self.may_put_off and self._listings:
                return replace(self._outcome("time-limit", first), is_put_off=True)
            if is_found is None:
                self._listings = []
                # with a cutoff the relaxation most often already tells that nothing is left
                cutoff = self._cutoff_by(first)
                is_found = self._relax(first, cutoff) and self._settle(first, cutoff, is_full=True)
            if not is_found:
                self.bound = max(self.bound, self.cutoff + first.step)
                return self._outcome("no-kit", first)
        except (OutOfTime, Enough):
            return self._outcome("found" if self._is_proved(first) else "time-limit", first)
        # the first objective is proved; a later one that is not is told so
        with contextlib.suppress(OutOfTime):
            self._go_on()
        return self._outcome("found", first)

    def _cutoff_by(self, first: Objective) -> float:
        """The cutoff, or the value of the counts in hand where that is lower."""
        return self.cutoff if self.best is None else min(self.cutoff, float(first.of(self.best)))

    def _is_proved(self, objective: Objective) -> bool:
        return self.best is not None and objective.of(self.best) <= self.bound + 1e-6

    def _outcome(self, status: Literal["found", "no-kit", "time-limit"], first: Objective) -> Outcome:
        if self.best is None:
            return Outcome(status, None, math.inf, self.bound, self.memories, self.rounds)
        value = float(first.of(self.best))
        bound = value if status == "found" else self.bound
        reached = {first.name: (value, bound)}
        if status == "found":
            for name, least in self.later.items():
                of = next(o for o in self.plan.objectives if o.name == name)
                reached[name] = (float(of.of(self.best)), least)
        return Outcome(status, self.best, value, bound, self.memories, self.rounds, reached)

    def _go_on(self) -> None:
        """Among the best by the first objective, the best by the next, then by id order.

        Where the quantities are given by which kits are told apart, the best is most often alone, and one
        search for another tells.
        """
        assert self.best is not None
        objectives = [*self.plan.objectives, *(Objective("order", -w) for w in self.plan.tie_break)]
        for place, objective in enumerate(objectives[1:]):
            if self.plan.tie_break and self._other(objectives[place]) is None:
                for same in self.plan.objectives[place + 1 :]:
                    self.later[same.name] = float(same.of(self.best))
                return
            self._fix(objectives[place].weights, self.best)
            if np.any(objective.weights):
                value = objective.of(self.best)
                self.bound = self.plan.least(objective)
                is_full = not self.plan.tie_break
                if not is_full or self._relax(objective, value):
                    self._minimise(objective, value, is_full=is_full)
            if objective.name in self.later:
                self.later[objective.name] = float(objective.of(self.best))
