"""Which sides a kit within a cutoff can have: bounds from linear programs over the plan's own rows.

With a side and a capacity given, what a plan's rows make the rest cost is convex in both, and the duals of a linear
program are a *price*: a linear function below it everywhere. So a side whose price at what it needs is above the
cutoff is in no kit within it, whatever the rows are and whatever counts first. Sets of panels are listed before it is
asked which unit each is on, the power of their best class being counted.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import OutOfTime
from kitopt.engine.plan import Case, Objective, Plan, Row
from kitopt.engine.sides import Counts, Fixed, Sides, least_by_rows
from kitopt.engine.solver import Stated

Floats = NDArray[np.float64]

ALONE = "alone"
"""The rule of rows that say what one of several kits costs alone at the least."""
MOST_SETS = 20_000
"""More sets than this are not listed."""
MOST_SIDES = 2_000
"""The needs of more sides than this are not asked."""
_MOST_SUMS = 20_000
_MOST_NEW, _MOST_TANGENTS = 12, 40
"""Of tangents, made for one question and kept in all."""
_NOT_FEW = 3
"""Where there are no more than so many times the few that are asked for, all are told."""
_LITTLE = 1e-3
"""So much of every class is asked for, that its price is known."""
_SLACK = 0.01
"""Objectives are whole numbers; what linear programs say is true to far less than this."""


class TooMany(Exception):
    """There are more sides than can be listed."""


class RulesForbid(Exception):
    """No counts at all obey the plan's rows."""


@dataclass(frozen=True, eq=False)
class Price:
    """The objective is at least ``fixed + each @ side + by_wh · capacity``."""

    fixed: float
    each: Floats
    by_wh: float


@dataclass(frozen=True, eq=False)
class _Quantity:
    """What is made small, or may not be more than a limit, with its prices."""

    objective: Objective
    most: float
    prices: list[Price]


@dataclass(eq=False)
class Listed:
    """Sides in the order of their bounds.

    Attributes
    ----------
    sides : ndarray of int, shape (n_sides, n_classes)
    need_wh : ndarray, shape (n_sides,)
        A capacity that the batteries at hand can make. [Wh]
    others : float
        No kit with another side has a lower objective; infinite where all that were asked for are here.
    """

    sides: Counts
    need_wh: Floats
    others: float = math.inf

    def __len__(self) -> int:
        return len(self.sides)


class Listing:
    """The sides that matter to one objective of a plan.

    Parameters
    ----------
    left_s : callable
        Gives the seconds that are left, or raises.

    Raises
    ------
    RulesForbid
    """

    def __init__(self, plan: Plan, sides: Sequence[Sides], objective: Objective, left_s: Callable[[], float]) -> None:
        self.objective, self._left_s = objective, left_s
        self._each_case = sides
        # in every case the same panels hang on the same units
        self.sides = sides[0]
        # what the kit costs at the least is no news of what more costs: there a price would be flat
        rows = tuple(row for row in (*plan.rows, *plan.known) if not _is_of(self.sides.case, row))
        # which of some rows is kept, no price tells
        self._asked, self.plan = plan, replace(plan, rows=rows, either=())
        self._sums = _sums(self.sides, plan)
        self._stock = _stock(self.sides, plan)
        limits = [_Quantity(_weighed(row, plan), row.upper, []) for row in plan.limits]
        self._quantities = [_Quantity(objective, math.inf, []), *limits]
        self._relaxed, self._rows, self._last, self._apart = self._stated()
        for some in (self._stock, np.zeros_like(self._stock)):
            self._touch(some)
        none = np.zeros(self.sides.n_classes, dtype=np.int64)
        self._least_wh = float(self._made(self._needs_at_least(self._stock[None, :])[:1])[0])
        needs = (float(self._made(self._need_wh(none))), self._least_wh)
        at = sorted({min(need, float(self._sums[-1])) for need in needs})
        for quantity, need in itertools.product(self._quantities, at):
            price, met = self._price(quantity.objective, none.astype(np.float64), need)
            quantity.prices.append(price)
            if np.any(met > _LITTLE + _SLACK):
                # rows ask for panels: what more than those cost is only told from there on
                quantity.prices.append(self._price(quantity.objective, met, need)[0])

    def is_of(self, plan: Plan, sides: Sequence[Sides], objective: Objective) -> bool:
        """Whether it is of the same rows, bounds, sides and objective: the same things, not ones that are alike."""
        mine = self._asked
        return (
            mine.rows is plan.rows
            and mine.lower is plan.lower
            and mine.upper is plan.upper
            and self.objective is objective
            and len(self._each_case) == len(sides)
            and all(a is b for a, b in zip(self._each_case, sides, strict=True))
        )

    def within_time(self, left_s: Callable[[], float]) -> Listing:
        """Go on with other time."""
        self._left_s = left_s
        return self

    @property
    def is_hopeless(self) -> bool:
        """Whether all panels and all batteries together are not enough."""
        return not math.isfinite(self._least_wh)

    @property
    def floor(self) -> float:
        """No kit has a lower objective."""
        none = np.zeros((1, self.sides.n_kinds), dtype=np.int64)
        return float(self._lowest(none, 0)[0])

    def refined_by(self, listed: Listed, counts: Floats) -> bool:
        """Follow the judge for the side of a kit that failed; whether it needs more than the kit's batteries hold."""
        side = self.sides.of(counts)
        need = float(self._made(max(sides.follow(side) for sides in self._each_case)))
        listed.need_wh[np.all(listed.sides == side, axis=1)] = need
        has_wh = sum(wh * float(counts[j]) for j, wh in self.sides.capacity_terms())
        return need > has_wh + 1e-6

    # -- listing -------------------------------------------------------------------------

    def within(self, most: float, few: float = math.inf) -> Listed:
        """Every side that a kit with at most this objective can have, or no fewer than the best few of them.

        Raises
        ------
        TooMany
        """
        most = most + _SLACK
        sets = self._sets(most)
        if not len(sets):
            return Listed(np.zeros((0, self.sides.n_classes), dtype=np.int64), np.zeros(0))
        needs = self._made(self._needs_at_least(sets))
        for _ in range(_MOST_NEW):
            bounds = self._bound(needs, sets=sets)
            is_in = bounds <= most
            sets, needs, bounds = sets[is_in], needs[is_in], bounds[is_in]
            new = [
                i for i in np.argsort(bounds, kind="stable").tolist() if sets[i].tobytes() not in self.sides.tangents
            ]
            if not new or len(self.sides.tangents) >= _MOST_TANGENTS:
                break
            self._left_s()
            needs = np.maximum(needs, self._made(self._touch(sets[new[0]], sets)))
        spread = [self._on_units(some, float(need), most) for some, need in zip(sets, needs, strict=True)]
        if sum(map(len, spread)) > MOST_SIDES:
            raise TooMany
        sides = np.concatenate(spread) if spread else np.zeros((0, self.sides.n_classes), dtype=np.int64)
        low = self._bound(np.repeat(needs, [len(some) for some in spread]), sides=sides)
        order = np.argsort(low, kind="stable").tolist()
        known: list[tuple[float, int, float]] = []
        others = math.inf
        for i in order:
            # what a side needs is no less than what its set does
            if len(known) >= few and len(order) > _NOT_FEW * few and sum(b <= low[i] for b, _, _ in known) >= few:
                others = float(low[i])
                break
            self._left_s()
            need = self._made(self._need_wh(sides[i]))[None]
            bound = float(self._bound(need, sides=sides[i : i + 1])[0])
            if bound <= most:
                known.append((bound, i, float(need[0])))
        known.sort()
        at = [i for _, i, _ in known]
        return Listed(sides[at], np.array([need for _, _, need in known]), others)

    def _sets(self, most: float) -> Counts:
        """Sets of panels, one kind after another; those are left out of which all that contain them cost too much."""
        found = np.zeros((1, self.sides.n_kinds), dtype=np.int64)
        for k in range(self.sides.n_kinds):
            counts = np.arange(self._stock[k] + 1)
            found = np.repeat(found, len(counts), axis=0)
            found[:, k] = np.tile(counts, len(found) // len(counts))
            found = found[self._lowest(found, k + 1) <= most]
            if len(found) > MOST_SETS:
                raise TooMany
            self._left_s()
        return found

    def _lowest(self, sets: Counts, n_decided: int) -> Floats:
        """The least objective of a kit with a set, whatever it has of the kinds that are not decided."""
        first, *limits = (self._lowest_of(quantity, sets, n_decided) for quantity in self._quantities)
        return self._where_kept(first, limits)

    def _lowest_of(self, quantity: _Quantity, sets: Counts, n_decided: int) -> Floats:
        low = np.full(len(sets), -np.inf)
        later = slice(n_decided, None)
        for price in quantity.prices:
            each = self._by_kind(price)
            base = price.fixed + sets @ each
            rest = float(self._stock[later] @ np.minimum(each[later], 0.0))
            low = np.maximum(low, base + price.by_wh * self._least_wh + rest)
            if price.by_wh > 0.0:
                for tangent in (one for sides in self._each_case for one in sides.tangents.values()):
                    hard, saved = tangent.least[tangent.hardest], tangent.saved[tangent.hardest]
                    need = np.min(hard - sets @ saved.T, axis=1)
                    gain = each[later] - price.by_wh * np.max(saved, axis=0)[later]
                    low = np.maximum(low, base + price.by_wh * need + float(self._stock[later] @ np.minimum(gain, 0.0)))
        return low + quantity.objective.fixed

    def _where_kept(self, value: Floats, limits: Sequence[Floats]) -> Floats:
        """A value where limits are kept, and infinity elsewhere."""
        for at_least, quantity in zip(limits, self._quantities[1:], strict=True):
            value = np.where(at_least <= quantity.most + _SLACK, value, np.inf)
        return value

    def _on_units(self, some: Counts, need: float, most: float) -> Counts:
        """Every way to hang a set of panels on units, within a cutoff."""
        found = np.zeros((1, self.sides.n_classes), dtype=np.int64)
        left = some.copy()
        for k in np.flatnonzero(some).tolist():
            left[k] = 0
            classes = np.flatnonzero(self.sides.kind == k)
            ways = np.zeros((0, self.sides.n_classes), dtype=np.int64)
            ways = np.array(
                [
                    np.bincount(way, minlength=self.sides.n_classes)
                    for way in itertools.combinations_with_replacement(classes.tolist(), int(some[k]))
                ],
                dtype=np.int64,
            )
            found = (found[:, None, :] + ways[None, :, :]).reshape(-1, self.sides.n_classes)
            bounds = self._bound(np.full(len(found), need), sides=found, sets=left)
            found = found[bounds <= most]
            if len(found) > MOST_SETS:
                raise TooMany
        return found

    # -- needs ---------------------------------------------------------------------------

    def _touch(self, some: Counts, sets: Counts | None = None) -> Floats:
        """Make the tangents at a set of panels; what some sets need by them. [Wh]"""
        made = [(sides, sides.tangent(some)) for sides in self._each_case]
        if sets is None:
            return np.zeros(0)
        return np.asarray(np.max([sides.at_least_wh(tangent, sets) for sides, tangent in made], axis=0))

    def _needs_at_least(self, sets: Counts) -> Floats:
        each = [sides.at_least_wh(one, sets) for sides in self._each_case for one in sides.tangents.values()]
        return np.asarray(np.max(each, axis=0))

    def asked(self, sides: Sides, listed: Listed) -> tuple[Floats, Floats]:
        """What is asked of each listed side in all, shape (n_sides,), and by each window of one case, no less. [Wh]

        Where no capacity at hand suffices it is one that no kit has.
        """
        needs = self._made(np.array([sides.each_need_wh(side) for side in listed.sides]))
        most = 2.0 * float(self._sums[-1]) + 1.0
        in_all = np.minimum(listed.need_wh, most)
        return in_all, np.maximum(np.minimum(needs, most), in_all[:, None])

    def _need_wh(self, side: Counts) -> float:
        """What a side needs in the case that asks most. [Wh]"""
        return max(sides.need_wh(side) for sides in self._each_case)

    def _made(self, needs: Floats | float) -> Floats:
        """The next capacity that the batteries at hand can make; infinite where they cannot. [Wh]"""
        at = np.searchsorted(self._sums, np.asarray(needs) - 1e-6)
        return np.where(at < len(self._sums), self._sums[np.minimum(at, len(self._sums) - 1)], np.inf)

    # -- prices --------------------------------------------------------------------------

    def _by_kind(self, price: Price) -> Floats:
        """The price of a panel of each kind on the unit where it costs least."""
        least = np.full(self.sides.n_kinds, np.inf)
        np.minimum.at(least, self.sides.kind, price.each)
        return least

    def _bound(self, needs: Floats, *, sides: Counts | None = None, sets: Counts | None = None) -> Floats:
        """What kits cost at least that need so much, with sides, and panels besides of which the unit is open."""
        can_be_met = np.isfinite(needs)
        capacity = np.where(can_be_met, needs, 0.0)

        def of_panels(price: Price) -> Floats | float:
            hung = 0.0 if sides is None else sides @ price.each
            return hung if sets is None else hung + sets @ self._by_kind(price)

        def least(quantity: _Quantity) -> Floats:
            each = [price.fixed + of_panels(price) + price.by_wh * capacity for price in quantity.prices]
            return np.asarray(np.max(each, axis=0) + quantity.objective.fixed)

        first, *limits = map(least, self._quantities)
        return np.where(can_be_met, self._where_kept(first, limits), np.inf)

    def _price(self, objective: Objective, side: Floats, need: float) -> tuple[Price, Floats]:
        """The price that is exact for the relaxed program near one side and capacity, and the nearest side allowed."""
        at = side + _LITTLE
        # what is missed costs more than anything
        costs = np.full(self._n_columns, 10.0 * float(np.max(np.abs(objective.weights), initial=1.0)))
        costs[: self.plan.n_columns] = objective.weights
        self._relaxed.set_costs(costs)
        for row, n in zip(self._rows, at.tolist(), strict=True):
            self._relaxed.set_row(row, n, n)
        self._relaxed.set_row(self._last, need, math.inf)
        answer = self._relaxed.solve(seconds=self._left_s())
        if answer.status == "infeasible":
            again = self._relaxed.has_any_within(math.inf, seconds=self._left_s())
            # where the solver takes back what it said, cuts have to do
            raise RulesForbid if again.status == "infeasible" else TooMany
        if answer.duals is None or answer.values is None:
            raise OutOfTime
        each, by_wh = answer.duals[self._rows], max(0.0, float(answer.duals[self._last]))
        met = at + np.array([answer.values[more] - answer.values[less] for less, more in self._apart])
        return Price(answer.objective - float(each @ at) - by_wh * need, each, by_wh), met

    def _stated(self) -> tuple[Stated, list[int], int, list[tuple[int, int]]]:
        """The relaxed program of a side and a capacity that may be missed at a price.

        Returns
        -------
        program : Stated
        rows, last : list of int, int
            The row of each class, and that of the capacity.
        apart : list of (int, int)
            The columns by which a class is missed: too few of it, too many.
        """
        program = self.plan.program(self.objective.weights)
        rows, apart = [], []
        for c in range(self.sides.n_classes):
            less = program.add_column(0.0, math.inf, integer=False)
            more = program.add_column(0.0, math.inf, integer=False)
            terms = [*self.sides.terms(c), (less, 1.0), (more, -1.0)]
            rows.append(program.add_row(terms, 0.0, 0.0))
            apart.append((less, more))
        short = program.add_column(0.0, math.inf, integer=False)
        last = program.add_row([*self.sides.capacity_terms(), (short, 1.0)], lower=0.0)
        self._n_columns = len(program.lower)
        return Stated(program, is_relaxed=True), rows, last, apart


def _is_of(case: Case, row: Row) -> bool:
    """Whether a row says what a case's kit costs alone."""
    own = range(case.matrix.shape[1]) if case.columns is None else case.columns.tolist()
    return row.rule == ALONE and {j for j, _ in row.terms} <= {*own, case.served}


def _weighed(row: Row, plan: Plan) -> Objective:
    """What a row keeps within a limit."""
    weights = np.zeros(plan.n_columns)
    for j, c in row.terms:
        weights[j] = c
    return Objective(row.text, weights)


def _sums(sides: Sides, plan: Plan) -> Floats:
    """Every capacity that batteries can make; two ends and nothing between where there are too many. [Wh]"""
    sums = np.zeros(1)
    for j, wh in sides.capacity_terms():
        for _ in range(int(plan.upper[j])):
            more = np.unique(np.concatenate([sums, sums + wh]).round(9))
            if len(more) > _MOST_SUMS:
                raise TooMany
            sums = more
    return sums


def _stock(sides: Sides, plan: Plan) -> Counts:
    """How many panels of each kind there are at most, by the plan's bounds and by each of its rows."""
    stock = np.zeros(sides.n_kinds, dtype=np.int64)
    for k in range(sides.n_kinds):
        pieces = {j: n for c in np.flatnonzero(sides.kind == k) for j, n in sides.terms(int(c))}
        most = sum(n * float(plan.upper[j]) for j, n in pieces.items())
        for row in plan.rows:
            if math.isfinite(row.upper):
                own = {j: c for j, c in row.terms if j in pieces}
                if len(own) == len(pieces):
                    others = sum(min(c * plan.lower[j], c * plan.upper[j]) for j, c in row.terms if j not in pieces)
                    each = min(c / pieces[j] for j, c in own.items())
                    if each > 0.0:
                        most = min(most, (row.upper - others) / each)
        stock[k] = max(0, math.floor(most + 1e-6))
    return stock


def fixed_of(case: Case, plan: Plan, box: Floats) -> Fixed:
    """What of a case's plants does not hang on the side."""
    layout = case.conditions.layout
    drawn_by_units = np.any(case.matrix[3 : 3 + layout.n_units] > 0.0, axis=0)
    demand_w = np.zeros(layout.n_demands)
    for d in range(layout.n_demands):
        weights = np.zeros(plan.n_columns)
        columns = np.arange(case.matrix.shape[1]) if case.columns is None else case.columns
        weights[columns] = np.where(drawn_by_units, 0.0, case.matrix[layout.demand(d)])
        if np.any(weights):
            demand_w[d] = least_by_rows(weights, plan.rows)
    return Fixed(box, demand_w)
