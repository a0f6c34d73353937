"""Propose, judge, cut, repeat, until the best kit is proved.

The integer program holds only counts and learned rows. Its optimum is a bound; when the judge
passes it, it is the answer. Everything that is valid for all kits is kept from pass to pass.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.engine.judge import Verdict
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listed, Listing, fixed_of
from kitopt.engine.losses import Spared, whole_of
from kitopt.engine.needs import Fixed
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.prices import SLACK, RulesForbid, TooMany
from kitopt.engine.sides import Sides, can_hold
from kitopt.engine.solver import Answer, Program, Stated, counted, solve_within
from kitopt.engine.strongest import strongest
from kitopt.engine.whole import Solve
from kitopt.engine.write import Asked, add_joint, add_learned, add_sides
from kitopt.errors import ModelError

Floats = NDArray[np.float64]

_MOST_RELAXED_ROUNDS = 200
_STALLED_ROUNDS = 8
_MOST_NEIGHBOURS = 12
_FIRST_GAP, _MOST_GAP, _LEAST_GAP = 0.05, 0.1, 0.01
"""How far above what is known of all kits the first sides are looked for, at most later on, and at least."""
_FIRST_SIDES = 8.0
"""Of each of several kits so many are tried at once; of one it is known which is best alone."""
_MANY_IN_VAIN, _FAR = 100, 2.0
"""So many sides are looked at in vain, or so many times as far as where the first of them was, before it is asked
whether there is anything at all."""
_MOST_AT_ONCE, _NEAR = 10_000, 1.25
"""Of more columns, or farther than so many times what is known, sides are not looked for up to a cutoff at once: that
they are too many is told late."""
_MOST_NODES = 2_000
"""Of the branching that asks so."""
_MOST_NODES_OF_ONE = 200
"""Of the branching that asks what a side alone costs."""
_MOST_SHOWN = 400
"""More sides than this make a program slower than rows with binaries do."""
_MOST_OF_SEVERAL = 100
"""More of several kits do, since what is known of one kit alone rules out few of its sides."""
_MOST_TOLD_APART = 40
"""Of more sides the best kit is found before it is asked whether it is alone."""
_ALMOST = 0.9
"""Where it is asked whether any counts do, those that meet less of the need are not looked for."""
_GAP = 0.999
"""Objectives are multiples of a step, so a gap below one is none."""


@dataclass(frozen=True, eq=False)
class Outcome:
    """What a plan came to.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
    counts : ndarray or None
        The best counts known, always judged; None when there are none.
    objective, bound : float
        Of the first objective; equal when proved. Of "no-kit" all that is worse than the bound is open: infinite where
        it is known that there is none at all.
    reached : mapping of name to (value, bound)
        Every objective that was looked at.
    memories : tuple of CaseMemory
        The learned rows, one memory a case.
    rounds : int
        Proposals judged.
    is_put_off : bool
        Whether it was left as soon as its sides were too many to be listed, or many had no kit, with whatever was found
        until then.
    """

    status: Literal["found", "no-kit", "time-limit"]
    counts: Floats | None
    objective: float
    bound: float
    memories: tuple[CaseMemory, ...] = ()
    rounds: int = 0
    reached: Mapping[str, tuple[float, float]] = field(default_factory=dict)
    is_put_off: bool = False

    @property
    def proved(self) -> bool:
        """Whether nothing better can exist."""
        return self.status != "time-limit"

    @property
    def is_settled(self) -> bool:
        """Whether every objective that was looked at is proved."""
        return all(bound >= value - 1e-6 for value, bound in self.reached.values())

    def without_counts(self) -> Outcome:
        """What is known where the counts in hand failed what is not in the plan, or were not tried: the bound."""
        return replace(self, status="time-limit", counts=None, objective=math.inf, reached={})


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
        except _Refused:
            # what is best but for the refused is most often near
            least, tried, looked = max(least, chooser.bound), chooser.tried, chooser.looked
            continue
        if outcome.counts is None:
            return outcome
        try:
            is_refused = _is_refused(plan, outcome.counts, budget)
        except OutOfTime:
            return outcome.without_counts()
        if not is_refused:
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
            if not _is_refused(plan, found.counts, budget):
                return outcome
        except OutOfTime:
            return outcome.without_counts()


def _is_refused(plan: Plan, counts: Floats, budget: Budget) -> bool:
    """Whether counts fail any trial; each that they fail has learned a case of it."""
    with budget.in_force():
        failed = [trial for trial in plan.trials if trial.fails(counts)]
    return bool(failed)


def _with_trials(plan: Plan, memories: Sequence[CaseMemory]) -> list[CaseMemory]:
    """What is known, and of each trial what is known of its last case."""
    old = {id(case) for trial in plan.trials for case in trial.cases[:-1]}
    known = [memory for memory in memories if id(memory.case) not in old]
    here = {id(memory.case) for memory in known}
    last = [case for trial in plan.trials for case in trial.cases[-1:]]
    return [*known, *(CaseMemory(case) for case in last if id(case) not in here)]


class _Enough(Exception):
    """The counts in hand will do."""


class _Refused(Exception):
    """The counts in hand fail a trial: to prove that they are best is of no use."""


class _Chooser:
    def __init__(
        self,
        plan: Plan,
        budget: Budget,
        cutoff: float,
        memories: Sequence[CaseMemory],
        least: float,
        enough: float = -math.inf,
        *,
        may_put_off: bool = False,
        tried: Floats | None = None,
        looked: tuple[float, float] | None = None,
    ) -> None:
        self.plan = plan
        self.budget = budget
        self.cutoff, self.enough, self.may_put_off = plan.objectives[0].at_most(cutoff), enough, may_put_off
        self.memories = tuple(memories)
        self.rounds = 0
        self.alone: set[tuple[str, bytes]] = set()
        self.best = self.tried = tried
        """The best counts known, and of all that passed the trials the best."""
        self.bound = max(plan.least(plan.objectives[0]), least)
        self.looked = looked
        """Up to where sides were looked for last, without a cutoff, and how much farther than before."""
        self.fixed: list[Row] = []
        self.later = {o.name: plan.least(o) for o in plan.objectives[1:]}
        """What is proved of each further objective."""
        self.seen: set[bytes] = set()
        self.forbidden: list[Floats] = []
        self._boxes = [m.upper_of_coordinates(plan.upper) for m in self.memories]
        self._listings: list[Listing] = []
        self.listed: list[Listed] = []
        """The sides that each kit may have, as far as the program tells them."""

    # -- the passes ------------------------------------------------------------------

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
        except (OutOfTime, _Enough):
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

    def _fix(self, weights: Floats, at: Floats) -> None:
        value = float(round(float(weights @ at)))
        terms = tuple((int(i), float(weights[i])) for i in np.flatnonzero(weights))
        if terms:
            self.fixed.append(Row(terms, -math.inf, value, "tie", "no worse than the best"))

    def _other(self, objective: Objective) -> Floats | None:
        """The best counts of other items that pass and are as good as the best, or better; None where it is alone.

        To be another is worth half of the least difference: one answer tells both what is best and whether it is alone.
        """
        assert self.best is not None
        key = (objective.name, self.best.tobytes())
        while key not in self.alone:
            program = self._program(2.0 * objective.weights)
            other = self._told_apart(program, self.best, objective)
            start = {j: float(c) for j, c in enumerate(self.best)}
            cutoff = 2.0 * (objective.of(self.best) - objective.fixed)
            answer = self._solve(program, start=start, absolute_gap=_GAP, cutoff=cutoff, confirm=False)
            if math.isfinite(answer.bound):
                # by a hair above the cutoff nothing was looked at
                least = min(answer.bound / 2.0 + objective.fixed, float(objective.of(self.best)))
                self.bound = max(self.bound, objective.at_least(least))
            if answer.status == "stopped":
                raise OutOfTime
            if answer.values is None or answer.values[other] < 0.5:
                self.alone.add(key)
                break
            counts = self._whole(answer.values)
            if self._judge_all(counts):
                return counts
        return None

    def _told_apart(self, program: Program, counts: Floats, objective: Objective) -> int:
        """Add a column that is one only for other totals of the quantities by which kits are told apart.

        A kit that has no less of anything costs no less, so one of the totals must be smaller; only
        of what costs nothing may one be larger instead.
        """
        either: list[tuple[int, float]] = []
        for weights in self.plan.tie_break:
            terms = [(int(i), float(weights[i])) for i in np.flatnonzero(weights)]
            most = float(np.maximum(weights, 0.0) @ self.plan.upper)
            at = float(round(float(weights @ counts)))
            is_free = any(objective.weights[i] <= 0.0 for i, _ in terms)
            if at < most and is_free:
                more = program.add_column(0, 1, integer=True)
                program.add_row([*terms, (more, -(at + 1))], lower=0.0)
                either.append((more, 1.0))
            if at > 0:
                less = program.add_column(0, 1, integer=True)
                program.add_row([*terms, (less, most - at + 1)], upper=most)
                either.append((less, 1.0))
        other = program.add_column(0, 1, integer=True, cost=-1.0)
        program.add_row([*either, (other, -1.0)], lower=0.0)
        return other

    # -- by the sides -----------------------------------------------------------------

    def _by_sides(self, objective: Objective, cutoff: float) -> bool | None:
        """The best kit by way of all sides that it can have; None where they are too many to be listed.

        The sides with the lowest bounds give a kit; then all that may be part of a better one, or one as good, are in
        the program.
        """
        if self.plan.forbids_all:
            self.bound = math.inf
            return False
        kits = self._needs_of_kits()
        if kits is None:
            return None
        try:
            # of several kits the program of one is that of all: to solve it for each side takes too long
            solve = partial(_solve_again, self.budget) if len(kits) == 1 else None
            listings = [self._listing(self.plan, sides, objective, solve) for sides in kits]
            if len(listings) > 1:
                # a kit is bounded beside what each of the others needs anyhow
                rows = [row for listing in listings for row in listing.rows()]
                listings = [self._beside(rows, sides, objective) for sides in kits]
        except RulesForbid:
            self.bound = math.inf
            return False
        except TooMany:
            return None
        # a floor that is out of reach has missed what the rules ask for
        ceiling = self.plan.most(objective) + SLACK
        if any(listing.is_hopeless or listing.floor > ceiling for listing in listings):
            self.bound = math.inf
            return False
        self._listings = listings
        self.bound = max(self.bound, *(objective.at_least(listing.floor) for listing in listings))
        try:
            return self._among_sides(objective, cutoff)
        except TooMany:
            self.listed = []
            return None

    def _needs_of_kits(self) -> list[list[Sides | Spared]] | None:
        """What the sides of each kit need, in every case; None where a case cannot be told by its sides."""
        kits: dict[bytes, list[Sides | Spared]] = {}
        losses: dict[tuple[bytes, int, int], list[CaseMemory]] = {}
        for whole in self.memories:
            if whole.case.within is not None:
                # what the side does not tell of a loss is left to the judge
                if not whole.case.parts and can_hold(whole_of(whole.case)):
                    alike = whole.case.place, id(whole.case.conditions), id(whole.case.matrix)
                    losses.setdefault(alike, []).append(whole)
                continue
            # of several plants each has a side of its own, that must do alone as surely as all together
            for memory in whole.alone:
                if not can_hold(memory.case):
                    return None
                kits.setdefault(memory.case.place, []).append(self._sides_of(memory))
        for (place, *_), memories in losses.items():
            if place in kits:
                kits[place].append(self._spared(memories))
        are_alike = all(one.in_plan == sides[0].in_plan for sides in kits.values() for one in sides[1:])
        return list(kits.values()) if kits and are_alike else None

    def _sides_of(self, memory: CaseMemory) -> Sides:
        return memory.sides(self._fixed_of(memory))

    def _fixed_of(self, memory: CaseMemory) -> Fixed:
        widest = self.plan.upper if self.plan.widest is None else self.plan.widest
        return fixed_of(memory.case, self.plan, memory.upper_of_coordinates(widest))

    def _spared(self, memories: Sequence[CaseMemory]) -> Spared:
        """What is needed whichever is lost of some things, each by a case in the same weather."""
        return memories[0].spared([memory.case for memory in memories], self._fixed_of(memories[0]), self.plan.upper)

    def _listing(
        self, plan: Plan, sides: Sequence[Sides | Spared], objective: Objective, solve: Solve | None
    ) -> Listing:
        """The listing of a kit's sides; that of an earlier choice where nothing but its alternatives was other."""
        kept: list[Listing] = self.memories[0].listings
        # it outlives this search, and would hold on to all of it
        left_s = partial(_left_s, self.budget)
        for listing in kept:
            if listing.is_of(plan, sides, objective):
                return listing.within_time(left_s, solve)
        kept.append(Listing(plan, sides, objective, left_s, solve).go_on_from(kept))
        return kept[-1]

    def _beside(self, rows: Sequence[Row], sides: Sequence[Sides | Spared], objective: Objective) -> Listing:
        """The listing of one of several kits beside what is known of others."""
        plan = replace(self.plan, known=(*self.plan.known, *rows))
        return self._listing(plan, sides, objective, None)

    def _narrow(self, objective: Objective, cutoff: float) -> None:
        """Bound each of several kits beside the few sides that others can have within a cutoff."""
        if len(self._listings) == 1 or math.isinf(cutoff):
            return
        rows: dict[int, list[Row]] = {}
        while len(rows) < len(self._listings):
            n_before = len(rows)
            for i, listing in enumerate(self._listings):
                if i not in rows:
                    with contextlib.suppress(TooMany):
                        listed = listing.within(cutoff, _FIRST_SIDES)
                        if math.isinf(listed.others):
                            rows[i] = listing.rows(listed)
            if len(rows) == n_before:
                return
            known = [row for some in rows.values() for row in some]
            for i in set(range(len(self._listings))) - rows.keys():
                # where they leave nothing at all, the listing tells so itself
                with contextlib.suppress(RulesForbid):
                    self._listings[i] = self._beside(known, self._listings[i].each_case, objective)

    def _among_sides(self, objective: Objective, cutoff: float) -> bool:
        ceiling = self.plan.most(objective)
        step = float(np.min(np.abs(objective.weights[objective.weights != 0.0]), initial=math.inf))
        floor, gap = self.bound, max(1.0, min(step, ceiling - self.bound), _FIRST_GAP * abs(self.bound))
        reach = min(listing.reach for listing in self._listings)
        if reach - floor >= max(1.0, _LEAST_GAP * abs(floor)):
            gap = reach - floor
        first_sides, most_shown = (1.0, _MOST_SHOWN) if len(self._listings) == 1 else (_FIRST_SIDES, _MOST_OF_SEVERAL)
        most, gap = (floor + gap, gap) if self.looked is None else self.looked
        is_at_once = math.isfinite(cutoff) and self.plan.n_columns <= _MOST_AT_ONCE
        is_near = cutoff <= _NEAR * floor
        is_at_once &= self.looked is None and (is_near or floor <= 0.0)
        most, few = cutoff if is_at_once else max(most, floor + 1.0), first_sides
        self._narrow(objective, cutoff)
        is_asked = is_wide = False
        n_vain, first = 0, math.inf
        while True:
            most = min(most, cutoff)
            self.looked = most, gap
            try:
                self.listed = [listing.within(most, few) for listing in self._listings]
            except TooMany:
                gap = min(2.0 * gap, most - floor) / 2.0
                if gap < max(1.0, _LEAST_GAP * abs(floor)):
                    raise
                most, is_wide = floor + gap, True
                continue
            if sum(map(len, self.listed)) > most_shown:
                raise TooMany
            has_sides = all(map(len, self.listed))
            n_vain = max(n_vain, int(few) if has_sides else 0, *(listing.n_looked_at for listing in self._listings))
            first = min(first, most if n_vain else math.inf)
            # a kit with a side that is not shown costs at least this; where one has no side, all cost more
            untold = min(listed.others for listed in self.listed) if has_sides else math.inf
            is_all = most >= min(cutoff, ceiling) and math.isinf(untold)
            # each kit has a side that is shown or one that is not
            shown = [float(np.min(listed.least, initial=math.inf)) + objective.fixed for listed in self.listed]
            at_least = max(min(most, least, one.others) for least, one in zip(shown, self.listed, strict=True))
            self.bound = max(self.bound, objective.at_least(at_least))
            if is_all and not has_sides:
                return False
            others = math.inf if is_all else min(untold, most)
            is_found = has_sides and self._settle(objective, cutoff, is_full=is_all)
            if is_found:
                assert self.best is not None
                if not is_all:
                    if _is_refused(self.plan, self.best, self.budget):
                        raise _Refused
                    self.tried = self.best
                value = float(objective.of(self.best))
                if value <= self.enough and not is_all:
                    raise _Enough
                if is_all or others > value - objective.step + 1e-6:
                    self.bound = value
                    goes_on = len(self.plan.objectives) > 1 or bool(self.plan.tie_break)
                    if goes_on and (not is_all or most > value):
                        self.listed = [listing.within(value) for listing in self._listings]
                    return True
                cutoff = value
                self._narrow(objective, cutoff)
            elif is_all:
                return False
            elif not (is_asked or is_near) and (n_vain >= _MANY_IN_VAIN or most > _FAR * first):
                is_asked = True
                if not self._is_any(objective, cutoff):
                    return False
                ceiling = min(ceiling, self._ceiling(objective))
                if self.may_put_off and math.isinf(cutoff):
                    # another plan most often tells soon how far this one is of interest
                    raise TooMany
            floor = max(floor, others)
            if math.isfinite(untold):
                few *= 4
            elif is_found and not is_wide:
                most = value
            else:
                # where nothing was, what is next is likely far
                gap = 4.0 * gap if is_asked and not has_sides else min(1.2 * gap, max(gap, _MOST_GAP * floor))
                most = floor + gap

    def _ceiling(self, objective: Objective) -> float:
        """What the objective is at most by a linear program."""
        answer = self._solve(self.plan.program(-objective.weights), relaxed=True)
        return objective.fixed - answer.bound if answer.status == "optimal" else math.inf

    def _is_any(self, objective: Objective, cutoff: float) -> bool:
        """Whether anything obeys the rules with the batteries that every kit needs and what the judge said of others.

        No sides are told: where none does, there would be no end of them.
        """
        listings, listed, self._listings, self.listed = self._listings, self.listed, [], []
        try:
            if not self._relax(objective, cutoff):
                return False
            program = self._program(np.zeros_like(objective.weights), objective.most(cutoff))
        finally:
            self._listings, self.listed = listings, listed
        for listing in listings:
            scale = max(1.0, listing.least_wh)
            held = [(j, wh / scale) for j, wh in listing.sides.capacity_terms()]
            program.add_row(held, lower=listing.least_wh / scale)
        return self._solve(program, most_nodes=_MOST_NODES).status != "infeasible"

    def _settle(self, objective: Objective, cutoff: float, *, is_full: bool) -> bool:
        """Find the best counts with the sides that are listed; where some are known already, whether they are alone."""
        if self.best is None or not is_full or not self.plan.tie_break or sum(map(len, self.listed)) > _MOST_TOLD_APART:
            return self._minimise(objective, cutoff, is_full=is_full)
        other = self._other(objective)
        if other is not None and objective.of(other) < objective.of(self.best):
            self.best = other
        return True

    # -- one objective ---------------------------------------------------------------

    def _relax(self, objective: Objective, cutoff: float) -> bool:
        """Cut the relaxation before any branching: linear programs are cheap.

        Returns
        -------
        bool
            False when the relaxation has no point within the cutoff, which was confirmed.
        """
        stalled, last = 0, -math.inf
        for _ in range(_MOST_RELAXED_ROUNDS):
            program = self._program(objective.weights, objective.most(cutoff))
            answer = self._solve(program, relaxed=True)
            if answer.values is None:
                return answer.status != "infeasible"
            counts = np.clip(answer.values[: self.plan.n_columns], self.plan.lower, self.plan.upper)
            failed = self._failed(counts)
            learned = [memory.learn(counts, verdict) for memory, verdict in failed]
            stalled = 0 if answer.objective > last + 1e-3 * abs(last) else stalled + 1
            self.bound = max(self.bound, objective.at_least(answer.objective + objective.fixed))
            best = None if self.best is None else float(objective.of(self.best))
            self.budget.round(bound=self.bound, best=best, n_rows=len(program.rows))
            last = max(last, answer.objective)
            if not any(learned) or stalled >= 2 * _STALLED_ROUNDS:
                break
        return True

    def _failed(self, counts: Floats) -> list[tuple[CaseMemory, Verdict]]:
        """The cases that counts fail, with their verdicts."""
        failed = []
        for memory in self.memories:
            if memory.case.is_asked(counts):
                self.budget.check()
                verdict = memory.judge(counts)
                if not memory.passes(verdict):
                    failed.append((memory, verdict))
        return failed

    def _minimise(self, objective: Objective, cutoff: float, *, is_full: bool) -> bool:
        while True:
            program = self._program(objective.weights)
            start = None if self.best is None else {j: float(c) for j, c in enumerate(self.best)}
            answer = self._solve(
                program,
                start=start,
                absolute_gap=_GAP * objective.step,
                cutoff=cutoff - objective.fixed,
                # it ends the proof; of later passes nothing is lost by a wrong verdict but a tie
                confirm=is_full,
            )
            if answer.status == "infeasible":
                # nothing better than the kit in hand, where there is one
                return self.best is not None and objective.of(self.best) <= cutoff
            if is_full and math.isfinite(answer.bound):
                self.bound = max(self.bound, objective.at_least(answer.bound + objective.fixed))
            if answer.values is None:
                raise OutOfTime
            counts = self._whole(answer.values)
            passed = self._judge_all(counts)
            if passed:
                self.best = counts
            best = None if self.best is None else float(objective.of(self.best))
            self.budget.round(bound=self.bound, best=best, n_rows=len(program.rows))
            if answer.status == "stopped":
                raise OutOfTime
            if passed:
                return True
            if is_full and not self.listed:
                cutoff = self._try_neighbours(counts, objective, cutoff)

    def _try_neighbours(self, counts: Floats, objective: Objective, cutoff: float) -> float:
        """Look for a kit that passes by one piece more than a failing one; it bounds what is worth trying.

        Returns
        -------
        float
            The cutoff, lowered to the objective of what was found.
        """
        known = [(m, m.cuts_at(counts)) for m in self.memories if m.case.is_asked(counts)]
        best = math.inf if self.best is None else float(objective.of(self.best))
        tries = 0
        for j in np.argsort(objective.weights, kind="stable"):
            more = counts.copy()
            more[j] += 1.0
            value = float(objective.of(more))
            if value >= best or value > cutoff or tries == _MOST_NEIGHBOURS:
                break
            if objective.weights[j] <= 0 or more[j] > self.plan.upper[j] or self.plan.broken_rows(more):
                continue
            # cheaper than to judge: do the cuts at the failing counts let the neighbour pass?
            fails = [
                np.count_nonzero(found.v @ m.case.plant(more) < 1.0 - 1e-9) > m.case.n_allowed
                for m, found in known
                if found is not None
            ]
            if any(fails):
                continue
            tries += 1
            if not self._failed(more):
                self.best = more
                return min(cutoff, value)
        return cutoff

    def _judge_all(self, counts: Floats) -> bool:
        """Judge counts in every case, and learn from each that fails."""
        self.rounds += 1
        fingerprint = counts.astype(np.int64).tobytes()
        failed = self._failed(counts)
        if not failed:
            return True
        is_again = fingerprint in self.seen
        self.seen.add(fingerprint)
        each = [listing.refined_by(listed, counts) for listing, listed in zip(self._listings, self.listed, strict=True)]
        if any(each) and not is_again:
            return False
        for memory, verdict in failed:
            if not memory.learn(counts, verdict):
                memory.learn_windows(counts, verdict)
        if is_again:
            # rows say yes and the judge says no by less than the solver's tolerance
            self.forbidden.append(counts)
        return False

    # -- the program -----------------------------------------------------------------

    def _program(self, weights: Floats, most: Row | None = None) -> Program:
        program = self.plan.program(weights, (*self.fixed, *([most] if most else ())))
        known: dict[bytes, tuple[Listing, Listed, list[int]]] = {}
        for listing, listed in zip(self._listings, self.listed, strict=True):
            known[listing.sides.case.place] = listing, listed, add_sides(program, listing, listed)
        for memory in self.memories if known else ():
            asked = []
            for one in memory.alone if memory.case.parts and memory.case.within is None else ():
                (listing, listed, chosen), sides = known[one.case.place], self._sides_of(one)
                asked.append(Asked(sides, chosen, *listing.asked(sides, listed)))
            if asked:
                add_joint(program, memory.case, asked)
        for memory, box in zip(self.memories, self._boxes, strict=True):
            if memory.free_rows or memory.window_rows:
                add_learned(program, memory, box)
        for counts in self.forbidden:
            self._forbid_columns(program, counts)
        return program

    def _forbid_columns(self, program: Program, counts: Floats) -> None:
        either: list[tuple[int, float]] = []
        for j in range(self.plan.n_columns):
            at, most = float(counts[j]), float(self.plan.upper[j])
            if not self.plan.is_count[j]:
                continue
            if at < most:
                more = program.add_column(0, 1, integer=True)
                program.add_row([(j, 1.0), (more, -(at + 1))], lower=0.0)
                either.append((more, 1.0))
            if at > 0:
                less = program.add_column(0, 1, integer=True)
                program.add_row([(j, 1.0), (less, most - at + 1)], upper=most)
                either.append((less, 1.0))
        program.add_row(either, lower=1.0)

    def _solve(self, program: Program, **how: Any) -> Answer:
        self.budget.step()
        return solve_within(self.budget, program, **how)

    def _whole(self, values: Floats) -> Floats:
        counts = self.plan.whole(values[: self.plan.n_columns])
        broken = self.plan.broken_rows(counts)
        if broken:
            raise ModelError(f"the solver's counts break {broken[0].rule or 'a rule'}: {broken[0].text}")
        return counts


def _left_s(budget: Budget) -> float:
    budget.step()
    return budget.left_s


def _solve_again(budget: Budget, stated: Stated, **how: Any) -> Answer:
    budget.step()
    return counted(budget, stated.solve, absolute_gap=_GAP, most_nodes=_MOST_NODES_OF_ONE, **how)


def survival(outcome: Outcome, case: int) -> tuple[Verdict, int]:
    """Verdict of the chosen counts in one case, and how many windows they survive."""
    assert outcome.counts is not None
    verdict = outcome.memories[case].judge(outcome.counts)
    return verdict, int(np.count_nonzero(verdict.survives))
