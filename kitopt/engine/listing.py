"""Which sides a kit within a cutoff can have.

A side whose price at what it needs is above the cutoff is in no kit within it, whatever the rows are and whatever
counts first. Sets of panels are listed before it is asked which unit each is on, the power of their best class being
counted.
"""

from __future__ import annotations

import contextlib
import heapq
import itertools
import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case
from kitopt.engine.losses import Spared
from kitopt.engine.needs import Counts, Fixed
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.prices import ALONE, SLACK, Prices, TooMany
from kitopt.engine.sides import Sides, Wired, least_by_rows
from kitopt.engine.tangents import Tangent
from kitopt.engine.whole import Solve

Floats = NDArray[np.float64]

MOST_SETS = 20_000
"""More sets than this are not listed."""
_MOST_HUNG = 100_000
"""Nor more ways to hang one of them on units, so far as it is hung."""
_FEW_SETS = 200
"""Of so many sets it is not asked which may be of interest before they are whole."""
MOST_SIDES = 2_000
"""The needs of more sides than this are not asked."""
_MANY, _MOST_LOOKS, _FEWER = 40, 40, 0.97
"""Of more sides than this some are looked at, so often at most, and while each look leaves so many fewer."""
_MOST_NEW, _MOST_TANGENTS = 12, 40
"""Of tangents, made for one question and kept in all."""
_SHARES = tuple(0.5**n for n in range(1, 8))
"""Of all panels, where too many sets of them seem to be of interest."""
_NOT_FEW = 3
"""Where there are no more than so many times the few that are asked for, all are told."""
_AT_ONCE = 16
"""So many sides of a set are looked at together."""
_A_SET, _SOME, _A_SIDE, _KNOWN, _WHOLE = range(5)
"""How closely something was looked at: a set of panels that hangs on no unit yet, some of its sides, one alone, one
whose need is known, and one of which it is known what whole items it costs."""


@dataclass(eq=False)
class Listed:
    """Sides in the order of their bounds.

    Attributes
    ----------
    sides : ndarray of int, shape (n_sides, n_classes)
    need_wh : ndarray, shape (n_sides,)
        A capacity that the batteries at hand can make. [Wh]
    least : ndarray, shape (n_sides,)
        No kit with a side has a lower objective, fixed parts apart.
    others : float
        No kit with another side has a lower objective; infinite where all that were asked for are here.
    """

    sides: Counts
    need_wh: Floats
    least: Floats
    others: float = math.inf

    def __len__(self) -> int:
        return len(self.sides)


@dataclass(eq=False)
class _Begun:
    """A listing that may go on.

    Attributes
    ----------
    most : float
        Nothing above this is of interest.
    waiting : list
        A heap of what is to be looked at more closely: bound, serial number, how closely it was looked at, what it is,
        and the need of each.
    serial, n_sides, n_sets : int
        Of the last that was added, of sides that sets were hung on units as, and of sets that hang in no way.
    known : list of (float, ndarray of int, shape (n_classes,))
        Sides of which it is known what they need, with their bounds.
    """

    most: float
    waiting: list[tuple[float, int, int, Counts, Floats]]
    serial: int
    n_sides: int = 0
    n_sets: int = 0
    known: list[tuple[float, Counts]] = field(default_factory=list)
    _seen: set[bytes] = field(default_factory=set)

    def anew(self) -> _Begun:
        """The same with nothing known yet of what a side needs; what was looked at in vain is not counted again."""
        waiting = [(bound, i, min(stage, _A_SIDE), some, need) for bound, i, stage, some, need in self.waiting]
        again = _Begun(self.most, waiting, self.serial, _seen=set(self._seen))
        for bound, side in self.known:
            again.add(_A_SIDE, bound, side[None, :], np.zeros(1))
        return again

    def add(self, stage: int, bound: float, some: Counts, need: Floats) -> None:
        """Let something wait."""
        self.serial += 1
        heapq.heappush(self.waiting, (bound, self.serial, stage, some, need))

    def add_once(self, bound: float, side: Counts, need: Floats) -> None:
        """Let a side wait that did not before: a set may be hung on units more than once."""
        if side.tobytes() not in self._seen:
            self._seen.add(side.tobytes())
            self.add(_A_SIDE, bound, side, need)

    def has_more(self, most: float, few: float) -> bool:
        """Whether fewer are known within a cutoff than are asked for, or so few are left that all may be told."""
        n_known = sum(bound <= most for bound, _ in self.known)
        return n_known < few or n_known + sum(one[0] <= most for one in self.waiting) <= _NOT_FEW * few


class Listing:
    """The sides that matter to one objective of a plan.

    Parameters
    ----------
    left_s : callable
        Gives the seconds that are left, or raises.
    solve : callable
        Solves a program in whole counts, within what is left; without it, what whole items cost is not asked.

    Raises
    ------
    RulesForbid
    """

    def __init__(
        self,
        plan: Plan,
        sides: Sequence[Sides | Spared],
        objective: Objective,
        left_s: Callable[[], float],
        solve: Solve | None = None,
    ) -> None:
        self.objective, self._left_s, self._solve = objective, left_s, solve
        self._asked, self.each_case = plan, sides
        # in every case the same panels hang on the same units
        self._whole = [one for one in sides if isinstance(one, Sides)]
        self.sides = self._whole[0]
        self.spared = [one for one in sides if isinstance(one, Spared)]
        self.with_losable = [one for one in self.spared if one.losable]
        """Where one thing may be lost, and where a battery may."""
        self._prices = Prices.of(plan, self.sides, objective)
        self._whole_of = self._prices.whole(tuple(one.losable for one in self.with_losable))
        self._stock = self._prices.stock
        for some in (self._stock, np.zeros_like(self._stock)):
            self._touch(some)
        none = np.zeros(self.sides.n_classes, dtype=np.int64)
        self._begun: _Begun | None = None
        self._is_closer = False
        self.wired: list[Wired] = []
        """What the judge has said of some wirings."""
        self.least_wh = float(self._prices.made(self._needs_at_least(self._stock[None, :])[:1])[0])
        for need in sorted({float(self._prices.made(self._need_wh(none))[0]), self.least_wh}):
            self._prices.learn_at(need, left_s)

    def is_of(self, plan: Plan, sides: Sequence[Sides | Spared], objective: Objective) -> bool:
        """Whether it is of the same rows, bounds, sides and objective: the same things, not ones that are alike."""
        return self._is_of_plan(plan, objective) and [*map(id, self.each_case)] == [*map(id, sides)]

    def _is_of_plan(self, plan: Plan, objective: Objective) -> bool:
        mine = self._asked
        return (
            mine.rows is plan.rows
            and mine.known == plan.known
            and mine.lower is plan.lower
            and mine.upper is plan.upper
            and self.objective is objective
        )

    def go_on_from(self, others: Sequence[Listing]) -> Listing:
        """Go on where one stands that was made for some of the cases: what else is asked makes nothing cheaper."""
        mine = set(map(id, self.each_case))
        for other in reversed(others):
            if other._begun and other._is_of_plan(self._asked, self.objective) and mine > {*map(id, other.each_case)}:
                self._begun, self.wired = other._begun.anew(), list(other.wired)
                self._is_closer = other._is_closer
                break
        return self

    def within_time(self, left_s: Callable[[], float], solve: Solve | None) -> Listing:
        """Go on with other time."""
        self._left_s, self._solve = left_s, solve
        return self

    @property
    def is_hopeless(self) -> bool:
        """Whether all panels and all batteries together are not enough."""
        return not math.isfinite(self.least_wh)

    def rows(self, listed: Listed | None = None) -> list[Row]:
        """What every kit with any of some sides obeys; without these, one with any side at all."""
        needs_wh, found = self.least_wh, []
        if listed is not None and len(listed):
            needs_wh = float(np.min(listed.need_wh))
            least, most = np.min(listed.sides, axis=0).tolist(), np.max(listed.sides, axis=0).tolist()
            for c in range(self.sides.n_classes):
                terms = tuple(self.sides.terms(c))
                found.append(Row(terms, least[c], most[c], rule=ALONE, text="the panels that a kit may have"))
        if 0.0 < needs_wh < math.inf:
            has = tuple((j, wh / needs_wh) for j, wh in self.sides.capacity_terms())
            found.append(Row(has, lower=1.0, rule=ALONE, text="the batteries that a kit needs"))
        return found

    @property
    def floor(self) -> float:
        """No kit has a lower objective."""
        none, each = np.zeros((1, self.sides.n_kinds)), np.arange(self.sides.n_kinds)
        return max(float(self._lowest(none, each, one)[0]) for one in self._tangents())

    def refined_by(self, listed: Listed, counts: Floats) -> bool:
        """Follow the judge for the side of a kit that failed; whether it needs more than the kit's batteries hold.

        Where others of the side may do, it is followed for that very wiring.
        """
        side = self.sides.of(counts)
        need = self._made_of(side, max(sides.follow(side) for sides in self.each_case))
        listed.need_wh[np.all(listed.sides == side, axis=1)] = need
        has_wh = sum(wh * float(counts[j]) for j, wh in self.sides.capacity_terms())
        if need > has_wh + 1e-6 or any(one.is_short(side, counts) for one in self.spared):
            return True
        n_before = len(self.wired)
        for sides in self._whole:
            wired = sides.as_wired(counts, self._asked.upper)
            need = 0.0 if wired is None else self._made_of(side, wired.need_wh)
            if wired is not None and need > has_wh + 1e-6:
                self.wired.append(replace(wired, need_wh=need))
        return len(self.wired) > n_before

    # -- listing -------------------------------------------------------------------------

    def within(self, most: float, few: float = math.inf) -> Listed:
        """Every side that a kit with at most this objective can have, or no fewer than the best few of them.

        Raises
        ------
        TooMany
        """
        most = most + SLACK
        # what is interrupted has lost what it was at, so it is not gone on with
        begun, self._begun, found = self._begun, None, None
        if begun is not None and most <= begun.most:
            with contextlib.suppress(TooMany):
                found = self._told(begun, most, few)
        if found is None:
            begun = self._begin(most)
            found = self._told(begun, most, few)
        self._begun = begun
        return found

    @property
    def reach(self) -> float:
        """The highest objective up to which sides are being listed already."""
        return -math.inf if self._begun is None else self._begun.most - SLACK

    @property
    def n_looked_at(self) -> int:
        """How many sides were looked at so far, and sets of panels that hang in no way."""
        return 0 if self._begun is None else self._begun.n_sides + self._begun.n_sets

    def _begin(self, most: float) -> _Begun:
        """The sets of panels within a cutoff, none of them hung on units yet."""
        try:
            sets = self._sets(most)
        except TooMany:
            if self._is_closer:
                raise
            self._look_closer()
            sets = self._sets(most)
        needs = np.zeros(len(sets))
        for sides in self.each_case:
            for one in reversed(sides.tangents.values()) if len(sets) else []:
                self._left_s()
                needs = np.maximum(needs, self._prices.made(sides.at_least_wh(one, sets), sets=sets))
                is_in = self._prices.bound(needs, sets=sets) <= most
                sets, needs = sets[is_in], needs[is_in]
        bounds = np.zeros(len(sets))
        for _ in range(_MOST_NEW if len(sets) else 0):
            bounds = self._prices.bound(needs, sets=sets)
            is_in = bounds <= most
            sets, needs, bounds = sets[is_in], needs[is_in], bounds[is_in]
            new = [
                i for i in np.argsort(bounds, kind="stable").tolist() if sets[i].tobytes() not in self.sides.tangents
            ]
            if not new or len(self.sides.tangents) >= _MOST_TANGENTS:
                break
            self._left_s()
            needs = np.maximum(needs, self._prices.made(self._touch(sets[new[0]], sets), sets=sets))
        waiting = [(bound, i, _A_SET, sets[i : i + 1], needs[i : i + 1]) for i, bound in enumerate(bounds.tolist())]
        heapq.heapify(waiting)
        return _Begun(most, waiting, len(sets))

    def _told(self, begun: _Begun, most: float, few: float) -> Listed:
        """The best few sides of some sets of panels of which it is known what they need, and cost, at least.

        Always what has the lowest bound is looked at more closely: a set is hung on units, a side is looked at until it
        is known what it needs.
        """
        waiting, known = begun.waiting, begun.known
        while waiting and waiting[0][0] <= most and begun.has_more(most, few):
            bound, i, stage, some, need = heapq.heappop(waiting)
            self._left_s()
            if stage == _A_SET:
                n_before = begun.n_sides
                for part in self._in_parts(some, need, most):
                    begun.add(_SOME, *part)
                    begun.n_sides += len(part[2])
                begun.n_sets += begun.n_sides == n_before
                if begun.n_sides > MOST_SIDES:
                    raise TooMany
                if most < begun.most:
                    # its other sides, should more be of interest again
                    begun.add(_A_SET, math.nextafter(most, math.inf), some, need)
                continue
            if stage == _SOME:
                for one in self._one_by_one(some, need, begun.most):
                    begun.add_once(*one)
                continue
            # what was learned since may tell more
            is_many = begun.n_sides > _MANY
            again = max(bound, float(self._prices.bound(need, sides=some)[0])) if is_many else bound
            if again <= bound + SLACK and stage == _WHOLE:
                known.append((bound, some[0]))
                continue
            if again <= bound + SLACK and stage == _KNOWN:
                stage, again = _WHOLE, self._of_whole_items(some[0], float(need[0]), again, begun.most)
                if again <= begun.most:
                    heapq.heappush(waiting, (again, i, stage, some, need))
                continue
            if again <= bound + SLACK:
                stage, need = _KNOWN, np.array([self._made_of(some[0], self._need_wh(some[0]))])
                again = float(self._prices.bound(need, sides=some)[0])
                if is_many and again <= most:
                    self._prices.learn_of(some[0], float(need[0]), self._left_s)
                    again = float(self._prices.bound(need, sides=some)[0])
            if again <= begun.most:
                heapq.heappush(waiting, (again, i, stage, some, need))
        others = waiting[0][0] if waiting and waiting[0][0] <= most else math.inf
        sides = np.array([side for _, side in known], dtype=np.int64).reshape(len(known), self.sides.n_classes)
        # what was learned since from the judge, or from the last of them, may rule out the first
        need = self._prices.made(np.array([self._need_wh(side) for side in sides]), sides=sides)
        least = self._prices.bound(need, sides=sides)
        for i in np.flatnonzero(least <= most).tolist():
            least[i] = self._of_whole_items(sides[i], float(need[i]), float(least[i]), most)
        is_in = least <= most
        if math.isfinite(others) and np.count_nonzero(is_in) > few:
            # of what was told before no more than is asked for
            best = np.argsort(np.where(is_in, least, np.inf), kind="stable")
            others = min(others, float(least[best[int(few)]]))
            is_in[best[int(few) :]] = False
        return Listed(sides[is_in], need[is_in], least[is_in] - self.objective.fixed - SLACK, others)

    def _of_whole_items(self, side: Counts, need: float, least: float, most: float) -> float:
        """What a side costs at least that needs so much, by all rules and in whole counts."""
        if self._solve is None:
            return least
        needs_wh = need, *(one.sides.need_wh(side) for one in self.with_losable)
        return max(least, self._whole_of.least(side, needs_wh, most, self._solve))

    def _in_parts(self, some: Counts, need: Floats, most: float) -> Iterator[tuple[float, Counts, Floats]]:
        """The sides of a set of panels within a cutoff, some at a time: bound, sides, need of each by what is known."""
        sides = self._on_units(some[0], float(need[0]), most)
        sides, needs, bounds = self._looked_at(sides, np.full(len(sides), need[0]), most)
        order = np.argsort(bounds, kind="stable")
        for first in range(0, len(order), _AT_ONCE):
            part = order[first : first + _AT_ONCE]
            yield float(bounds[part[0]]), sides[part], needs[part]

    def _one_by_one(self, some: Counts, needs: Floats, most: float) -> Iterator[tuple[float, Counts, Floats]]:
        """Each of some sides by itself: bound, side, need by the windows that are hardest for its panels."""
        each = [one.need_at_least_wh(some) for one in self.each_case]
        needs = np.maximum(needs, self._prices.made(np.max(each, axis=0), sides=some))
        bounds = self._prices.bound(needs, sides=some)
        for i in np.flatnonzero(bounds <= most).tolist():
            yield float(bounds[i]), some[i : i + 1], needs[i : i + 1]

    def _looked_at(self, sides: Counts, needs: Floats, most: float) -> tuple[Counts, Floats, Floats]:
        """Of many sides those that are still within a cutoff when some were looked at, their needs and bounds."""
        n_looks = 0
        if len(sides) > _MANY:
            each = [one.at_least_by_sides_wh(sides) for one in self.each_case]
            needs = np.maximum(needs, self._prices.made(np.max(each, axis=0), sides=sides))
        while True:
            bounds = self._prices.bound(needs, sides=sides)
            is_in = bounds <= most
            sides, needs, bounds, n_before = sides[is_in], needs[is_in], bounds[is_in], len(sides)
            if len(sides) <= _MANY or n_looks >= _MOST_LOOKS or (n_looks and len(sides) > _FEWER * n_before):
                return sides, needs, bounds
            self._left_s()
            n_looks += 1
            nearest = sides[int(np.argmin(bounds))]
            need = self._made_of(nearest, self._need_wh(nearest))
            self._prices.learn_of(nearest, min(need, self._prices.banks.most_wh), self._left_s)
            each = [one.look_at(nearest, sides) for one in self.each_case]
            needs = np.maximum(needs, self._prices.made(np.max(each, axis=0), sides=sides))
            needs[np.all(sides == nearest, axis=1)] = need

    def _sets(self, most: float) -> Counts:
        """Sets of panels, one kind after another; those are left out of which all that contain them cost too much."""
        found = np.zeros((1, self.sides.n_kinds))
        tangents = self._tangents()
        # what is worth most comes first: what is still open then makes little difference
        saved = np.array([one.most_saved for one in tangents])
        order = np.argsort(-self._prices.worth(saved) * self._stock, kind="stable")
        for n, k in enumerate(order.tolist(), start=1):
            counts = np.arange(self._stock[k] + 1)
            found = np.repeat(found, len(counts), axis=0)
            found[:, k] = np.tile(counts, len(found) // len(counts))
            for one in tangents if len(found) > _FEW_SETS or n == len(order) else ():
                found = found[self._lowest(found, order[n:], one) <= most]
                self._left_s()
            if len(found) > MOST_SETS:
                raise TooMany
        found = found[np.lexsort(found.T[::-1])] if self.sides.n_kinds else found
        return found.astype(np.int64)

    def _look_closer(self) -> None:
        """Learn what ever smaller shares of all panels need, and what that costs: it tells more of few panels."""
        self._is_closer = True
        for share in _SHARES:
            some: Floats = share * self._stock.astype(np.float64)
            self._left_s()
            need = self._touch(some, some[None, :])
            self._prices.learn_at(float(self._prices.made(need, sets=some)[0]), self._left_s)

    def _tangents(self) -> list[Tangent]:
        """Of all cases, those that were made last first."""
        return [one for sides in self.each_case for one in reversed(sides.tangents.values())]

    def _lowest(self, sets: Floats, later: NDArray[np.intp], tangent: Tangent) -> Floats:
        """The least objective of a kit with a set by one tangent, whatever it has of the kinds that are not decided."""
        need, saved = tangent.hardest_need_wh(sets), tangent.most_saved[later]
        return self._prices.lowest(sets, later, self.least_wh, need, saved)

    def _on_units(self, some: Counts, need: float, most: float) -> Counts:
        """Every way to hang a set of panels on units, within a cutoff."""
        # of classes of these panels alone, which are few of many
        mine = np.flatnonzero(some[self.sides.kind])
        found = np.zeros((1, len(mine)), dtype=np.int64)
        left = some.copy()
        for k in np.flatnonzero(some).tolist():
            left[k] = 0
            places = np.flatnonzero(self.sides.kind[mine] == k)
            ways = np.array(
                [
                    np.bincount(way, minlength=len(mine))
                    for way in itertools.combinations_with_replacement(places.tolist(), int(some[k]))
                ],
                dtype=np.int64,
            )
            found = (found[:, None, :] + ways[None, :, :]).reshape(-1, len(mine))
            bounds = self._prices.bound(np.full(len(found), need), sides=found, classes=mine, sets=left)
            found = found[bounds <= most]
            if len(found) > _MOST_HUNG:
                raise TooMany
        sides = np.zeros((len(found), self.sides.n_classes), dtype=np.int64)
        sides[:, mine] = found
        return sides

    # -- needs ---------------------------------------------------------------------------

    def _touch(self, some: Counts | Floats, sets: Counts | Floats | None = None) -> Floats:
        """Make the tangents at a set of panels; what some sets need by them. [Wh]"""
        made = [(sides, sides.tangent(some)) for sides in self.each_case]
        if sets is None:
            return np.zeros(0)
        return np.asarray(np.max([sides.at_least_wh(tangent, sets) for sides, tangent in made], axis=0))

    def _needs_at_least(self, sets: Counts) -> Floats:
        each = [sides.at_least_wh(one, sets) for sides in self.each_case for one in sides.tangents.values()]
        return np.asarray(np.max(each, axis=0))

    def asked(self, sides: Sides, listed: Listed) -> tuple[Floats, Floats]:
        """What is asked of each listed side in all, shape (n_sides,), and by each window of one case, no less. [Wh]

        Where no capacity at hand suffices it is one that no kit has.
        """
        needs = self._prices.made(sides.needs.each_wh(listed.sides), sides=listed.sides)
        most = 2.0 * self._prices.banks.most_wh + 1.0
        in_all = np.minimum(listed.need_wh, most)
        return in_all, np.maximum(np.minimum(needs, most), in_all[:, None])

    def _made_of(self, side: Counts, need: float) -> float:
        """The next capacity that can be made beside a side. [Wh]"""
        return float(self._prices.made(need, sides=side[None, :])[0])

    def _need_wh(self, side: Counts) -> float:
        """What a side needs in the case that asks most. [Wh]"""
        return max(sides.need_wh(side) for sides in self.each_case)


def fixed_of(case: Case, plan: Plan, box: Floats) -> Fixed:
    """What of a case's plants does not hang on the side."""
    layout = case.conditions.layout
    drawn_by_units = case.matrix.n_in(slice(layout.limit(0), layout.limit(layout.n_units))) > 0
    demand_w = np.zeros(layout.n_demands)
    for d in range(layout.n_demands):
        weights = np.zeros(plan.n_columns)
        weights[case.in_plan()] = np.where(drawn_by_units, 0.0, case.matrix.row(layout.demand(d)))
        if np.any(weights):
            demand_w[d] = least_by_rows(weights, plan.rows)
    return Fixed(box, demand_w)
