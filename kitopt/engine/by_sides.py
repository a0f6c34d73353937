"""The best counts by way of the sides that a kit can have.

The sides with the lowest bounds give a kit; then all that may be part of a better one, or one as good, are in the
program. What listing leaves optimistic, the judge cuts.
"""

from __future__ import annotations

import contextlib
import math
from collections.abc import Sequence
from dataclasses import replace
from functools import partial
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import Budget
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listed, Listing, fixed_of
from kitopt.engine.losses import Spared, whole_of
from kitopt.engine.needs import Fixed
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.prices import SLACK, RulesForbid, TooMany
from kitopt.engine.proposals import GAP, Proposals
from kitopt.engine.sides import Sides, can_hold
from kitopt.engine.solver import Answer, Program, Stated, counted
from kitopt.engine.whole import Solve
from kitopt.engine.write import Asked, add_joint, add_sides

Floats = NDArray[np.float64]

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


class Enough(Exception):
    """The counts in hand will do."""


class Refused(Exception):
    """The counts in hand fail a trial: to prove that they are best is of no use."""


class BySides(Proposals):
    """Counts of a plan, proposed with what is known of their sides.

    Attributes
    ----------
    enough : float
        Counts whose first objective is at most this will do.
    may_put_off : bool
        Whether a plan of too many sides, or of many in vain, is left.
    tried : ndarray or None
        Of all counts that passed the trials the best.
    looked : (float, float), optional
        Up to where sides were looked for last, without a cutoff, and how much farther than before.
    listed : list of Listed
        The sides that each kit may have, as far as the program tells them.
    """

    def __init__(
        self,
        plan: Plan,
        budget: Budget,
        memories: Sequence[CaseMemory],
        least: float,
        enough: float = -math.inf,
        *,
        may_put_off: bool = False,
        tried: Floats | None = None,
        looked: tuple[float, float] | None = None,
    ) -> None:
        super().__init__(plan, budget, memories, least, tried)
        self.enough, self.may_put_off = enough, may_put_off
        self.tried, self.looked = tried, looked
        self._listings: list[Listing] = []
        self.listed: list[Listed] = []

    @property
    def _is_by_rows_alone(self) -> bool:
        return not self.listed

    def _write_more(self, program: Program) -> None:
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

    def _refined_by(self, counts: Floats) -> bool:
        # each listing learns, whatever the others do
        each = [listing.refined_by(listed, counts) for listing, listed in zip(self._listings, self.listed, strict=True)]
        return any(each)

    def is_hopeless(self, objective: Objective) -> bool:
        """Whether listing the sides of each kit tells that no counts pass; they are kept where they can be listed."""
        self._listings = []
        if self.plan.forbids_all:
            return True
        kits = self._needs_of_kits()
        if kits is None:
            return False
        try:
            # of several kits the program of one is that of all: to solve it for each side takes too long
            solve = partial(_solve_again, self.budget) if len(kits) == 1 else None
            listings = [self._listing(self.plan, sides, objective, solve) for sides in kits]
            if len(listings) > 1:
                # a kit is bounded beside what each of the others needs anyhow
                rows = [row for listing in listings for row in listing.rows()]
                listings = [self._beside(rows, sides, objective) for sides in kits]
        except RulesForbid:
            return True
        except TooMany:
            return False
        # a floor that is out of reach has missed what the rules ask for
        ceiling = self.plan.most(objective) + SLACK
        is_hopeless = any(listing.is_hopeless or listing.floor > ceiling for listing in listings)
        self._listings = [] if is_hopeless else listings
        return is_hopeless

    def _by_sides(self, objective: Objective, cutoff: float) -> bool | None:
        """The best kit by way of all sides that it can have; None where they are too many to be listed.

        The sides with the lowest bounds give a kit; then all that may be part of a better one, or one as good, are in
        the program.
        """
        if self.is_hopeless(objective):
            self.bound = math.inf
            return False
        if not self._listings:
            return None
        self.bound = max(self.bound, *(objective.at_least(listing.floor) for listing in self._listings))
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
                    if is_refused(self.plan, self.best, self.budget):
                        raise Refused
                    self.tried = self.best
                value = float(objective.of(self.best))
                if value <= self.enough and not is_all:
                    raise Enough
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


def is_refused(plan: Plan, counts: Floats, budget: Budget) -> bool:
    """Whether counts fail any trial; each that they fail has learned a case of it."""
    with budget.in_force():
        failed = [trial for trial in plan.trials if trial.fails(counts)]
    return bool(failed)


def _left_s(budget: Budget) -> float:
    budget.step()
    return budget.left_s


def _solve_again(budget: Budget, stated: Stated, **how: Any) -> Answer:
    budget.step()
    return counted(budget, stated.solve, absolute_gap=GAP, most_nodes=_MOST_NODES_OF_ONE, **how)
