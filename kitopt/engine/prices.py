"""What kits cost at the least by their side and capacity: prices from linear programs over the plan's own rows.

With a side and a capacity given, what a plan's rows make the rest cost is convex in both, and the duals of a linear
program are a *price*: a linear function below it everywhere, whatever the weather asks for and whatever counts first.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import OutOfTime
from kitopt.engine.needs import Counts
from kitopt.engine.plan import Case, Objective, Plan, Row
from kitopt.engine.sides import Sides
from kitopt.engine.solver import Stated

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

ALONE = "alone"
"""The rule of rows that say what one of several kits costs alone at the least."""
_ALL = slice(None)
_MOST_SUMS = 20_000
_MOST_KEPT = 2
"""Plans of one kit whose prices are kept."""
_MOST_PRICES = 1_000
_LITTLE = 1e-3
"""So much of every class is asked for, that its price is known."""
SLACK = 0.01
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


class _Quantity:
    """What is made small, or may not be more than a limit, with its prices.

    Attributes
    ----------
    of_none : list of (Price, ndarray)
        Those where there are few panels, which tell most of all sides together; each by kind too.
    fixed, each, by_wh, by_kind : ndarray, shape (n_prices, 1 or n_classes or n_kinds)
        All of them, also those near some sides; by kind on the unit where a panel costs least.
    """

    def __init__(self, objective: Objective, most: float, kind: NDArray[np.intp], n_kinds: int) -> None:
        self.objective, self.most, self._kind = objective, most, kind
        self.of_none: list[tuple[Price, Floats]] = []
        self.fixed, self.by_wh = np.zeros((0, 1)), np.zeros((0, 1))
        self.each, self.by_kind = np.zeros((0, len(kind))), np.zeros((0, n_kinds))

    def add(self, price: Price, *, is_of_none: bool = False) -> None:
        """Keep a price; of those near some sides the latest."""
        by_kind = self._least_by_kind(price)
        if is_of_none:
            self.of_none.append((price, by_kind))
        elif len(self.fixed) >= _MOST_PRICES:
            older = slice(len(self.of_none), _MOST_PRICES // 2)
            self.fixed, self.by_wh, self.each, self.by_kind = (
                np.delete(some, older, axis=0) for some in (self.fixed, self.by_wh, self.each, self.by_kind)
            )
        self.fixed, self.by_wh = np.vstack([self.fixed, [[price.fixed]]]), np.vstack([self.by_wh, [[price.by_wh]]])
        self.each = np.vstack([self.each, price.each])
        self.by_kind = np.vstack([self.by_kind, by_kind])

    def _least_by_kind(self, price: Price) -> Floats:
        """The price of a panel of each kind on the unit where it costs least, shape (n_kinds,)."""
        least = np.full(self.by_kind.shape[1], np.inf)
        np.minimum.at(least, self._kind, price.each)
        return least


class Prices:
    """What kits of a plan with some sides cost at the least, by one objective.

    Attributes
    ----------
    sums : ndarray
        Every capacity that the batteries at hand can make, in order. [Wh]
    stock : ndarray of int, shape (n_kinds,)
        How many panels of each kind there are at most.
    """

    def __init__(self, plan: Plan, sides: Sides, objective: Objective) -> None:
        self._objective, self._kind = objective, sides.kind
        self._classes, self._capacity = sides.in_plan
        # it outlives the question, so it holds nothing of the weather
        self._asked = replace(plan, cases=(), trials=())
        # what the kit costs at the least is no news of what more costs: there a price would be flat
        rows = tuple(row for row in (*plan.rows, *plan.known) if not _is_of(sides.case, row))
        # which of some rows is kept, no price tells
        self._plan = replace(self._asked, rows=rows, either=())
        self.sums, self.stock = _sums(sides, plan), _stock(sides, plan)
        made_small = [(objective, math.inf), *((_weighed(row, plan), row.upper) for row in plan.limits)]
        self._quantities = [_Quantity(one, most, sides.kind, sides.n_kinds) for one, most in made_small]
        self._relaxed, self._rows, self._last, self._apart = self._stated()
        self._known_at: set[float] = set()
        self._at = np.zeros(len(self._rows))
        """Of each class so much is asked for in the relaxed program now."""

    @classmethod
    def of(cls, plan: Plan, sides: Sides, objective: Objective) -> Prices:
        """Those of a plan; of an earlier one where its rows, bounds and sides are alike, whatever the weather asks."""
        kept: list[Prices] = sides.case.conditions.known.setdefault("prices", [])
        found = next((one for one in kept if one._is_of(plan, sides, objective)), None) or cls(plan, sides, objective)
        kept[:] = [*[one for one in kept if one is not found][-_MOST_KEPT + 1 :], found]
        return found

    def _is_of(self, plan: Plan, sides: Sides, objective: Objective) -> bool:
        mine = self._asked
        return (
            mine.rows == plan.rows
            and mine.known == plan.known
            and np.array_equal(mine.lower, plan.lower)
            and np.array_equal(mine.upper, plan.upper)
            and (self._objective.name, self._objective.fixed) == (objective.name, objective.fixed)
            and np.array_equal(self._objective.weights, objective.weights)
            and np.array_equal(self._kind, sides.kind)
            and (self._classes, self._capacity) == sides.in_plan
        )

    def learn_at(self, need_wh: float, left_s: Callable[[], float]) -> None:
        """Make the prices exact where no panel is asked for beside a capacity.

        Raises
        ------
        RulesForbid, TooMany, OutOfTime
        """
        need_wh = min(need_wh, float(self.sums[-1]))
        if need_wh in self._known_at:
            return
        none = np.zeros(len(self._classes))
        for quantity in self._quantities:
            price, met = self._price(quantity.objective, none, need_wh, left_s)
            quantity.add(price, is_of_none=True)
            if np.any(met > _LITTLE + SLACK):
                # rows ask for panels: what more than those cost is only told from there on
                quantity.add(self._price(quantity.objective, met, need_wh, left_s)[0], is_of_none=True)
        self._known_at.add(need_wh)

    def learn_of(self, side: Counts, need_wh: float, left_s: Callable[[], float]) -> None:
        """Make the prices exact near a side and a capacity.

        Raises
        ------
        RulesForbid, TooMany, OutOfTime
        """
        for quantity in self._quantities:
            quantity.add(self._price(quantity.objective, side.astype(np.float64), need_wh, left_s)[0])

    def made(self, needs: Floats | float) -> Floats:
        """The next capacity that the batteries at hand can make; infinite where they cannot. [Wh]"""
        at = np.searchsorted(self.sums, np.asarray(needs) - 1e-6)
        return np.where(at < len(self.sums), self.sums[np.minimum(at, len(self.sums) - 1)], np.inf)

    def worth(self, saved: Floats) -> Floats:
        """What a panel of each kind is worth at most beside its price, where each saves so much, shape (n_kinds,)."""
        each = [price.by_wh * saved - by_kind for price, by_kind in self._quantities[0].of_none]
        return np.asarray(np.max(each, axis=(0, 1)))

    def lowest(self, sets: Floats, later: Places, least_wh: float, need: Floats, saved: Floats) -> Floats:
        """The least objective of a kit with a set, whatever it has of the kinds that are not decided.

        Parameters
        ----------
        later : ndarray of int
            Those kinds.
        least_wh : float
            What every kit needs.
        need, saved : ndarray
            What each set needs, and what a panel more of each of those kinds saves at most.
        """
        first, *limits = (self._lowest_of(one, sets, later, least_wh, need, saved) for one in self._quantities)
        return self._where_kept(first, limits)

    def _lowest_of(
        self, quantity: _Quantity, sets: Floats, later: Places, least_wh: float, need: Floats, saved: Floats
    ) -> Floats:
        low = np.full(len(sets), -np.inf)
        stock = self.stock[later]
        for price, each in quantity.of_none:
            base, open_ = price.fixed + sets @ each, each[later]
            low = np.maximum(low, base + price.by_wh * least_wh + float(stock @ np.minimum(open_, 0.0)))
            if price.by_wh > 0.0:
                rest = float(stock @ np.minimum(open_ - price.by_wh * saved, 0.0))
                low = np.maximum(low, base + price.by_wh * need + rest)
        return low + quantity.objective.fixed

    def _where_kept(self, value: Floats, limits: Sequence[Floats]) -> Floats:
        """A value where limits are kept, and infinity elsewhere."""
        for at_least, quantity in zip(limits, self._quantities[1:], strict=True):
            value = np.where(at_least <= quantity.most + SLACK, value, np.inf)
        return value

    def bound(
        self,
        needs: Floats,
        *,
        sides: Counts | None = None,
        classes: Places | slice = _ALL,
        sets: Counts | None = None,
    ) -> Floats:
        """What kits cost at least that need so much, with sides, and panels besides of which the unit is open.

        Parameters
        ----------
        classes : ndarray of int
            Those that the sides are given in; they have no panels of others.
        """
        can_be_met = np.isfinite(needs)
        capacity = np.where(can_be_met, needs, 0.0)

        def least(quantity: _Quantity) -> Floats:
            costs = quantity.fixed + quantity.by_wh * capacity
            costs += 0.0 if sides is None else _times(quantity.each[:, classes], sides)
            costs += 0.0 if sets is None else _times(quantity.by_kind, np.atleast_2d(sets))
            return np.asarray(np.max(costs, axis=0) + quantity.objective.fixed)

        first, *limits = map(least, self._quantities)
        return np.where(can_be_met, self._where_kept(first, limits), np.inf)

    def _price(
        self, objective: Objective, side: Floats, need: float, left_s: Callable[[], float]
    ) -> tuple[Price, Floats]:
        """The price that is exact for the relaxed program near one side and capacity, and the nearest side allowed."""
        at = side + _LITTLE
        # what is missed costs more than anything
        costs = np.full(self._n_columns, 10.0 * float(np.max(np.abs(objective.weights), initial=1.0)))
        costs[: self._plan.n_columns] = objective.weights
        self._relaxed.set_costs(costs)
        new = np.flatnonzero(at != self._at)
        rows, least = np.append(self._rows[new], self._last), np.append(at[new], need)
        self._relaxed.set_rows(rows, least, np.append(at[new], math.inf))
        self._at = at
        answer = self._relaxed.solve(seconds=left_s())
        if answer.status == "infeasible":
            again = self._relaxed.has_any_within(math.inf, seconds=left_s())
            # where the solver takes back what it said, cuts have to do
            raise RulesForbid if again.status == "infeasible" else TooMany
        if answer.duals is None or answer.values is None:
            raise OutOfTime
        each, by_wh = answer.duals[self._rows], max(0.0, float(answer.duals[self._last]))
        less, more = self._apart
        met = at + answer.values[more] - answer.values[less]
        return Price(answer.objective - float(each @ at) - by_wh * need, each, by_wh), met

    def _stated(self) -> tuple[Stated, Places, int, tuple[Places, Places]]:
        """The relaxed program of a side and a capacity that may be missed at a price.

        Returns
        -------
        program : Stated
        rows, last : ndarray of int, int
            The row of each class, and that of the capacity.
        apart : (ndarray of int, ndarray of int)
            The columns by which each class is missed: too few of it, too many.
        """
        program = self._plan.program(self._objective.weights)
        rows, apart = [], []
        for of_class in self._classes:
            less = program.add_column(0.0, math.inf, integer=False)
            more = program.add_column(0.0, math.inf, integer=False)
            terms = [*of_class, (less, 1.0), (more, -1.0)]
            rows.append(program.add_row(terms, 0.0, 0.0))
            apart.append((less, more))
        short = program.add_column(0.0, math.inf, integer=False)
        last = program.add_row([*self._capacity, (short, 1.0)], lower=0.0)
        self._n_columns = len(program.lower)
        less_of, more_of = np.array(apart, dtype=np.intp).reshape(-1, 2).T
        return Stated(program, is_relaxed=True), np.array(rows, dtype=np.intp), last, (less_of, more_of)


def _times(prices: Floats, counts: Counts) -> Floats:
    """What counts come to by each price, shape (n_prices, n): most of many classes are in none of them."""
    some = np.flatnonzero(np.any(counts, axis=0))
    return prices[:, some] @ counts[:, some].T


def _is_of(case: Case, row: Row) -> bool:
    """Whether a row says what a case's kit costs alone."""
    return row.rule == ALONE and {j for j, _ in row.terms} <= {*case.in_plan().tolist(), case.served}


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
    pieces = np.zeros((sides.n_kinds, plan.n_columns))
    for c, k in enumerate(sides.kind.tolist()):
        for j, n in sides.terms(c):
            pieces[k, j] = n
    is_any = np.any(pieces > 0.0, axis=0)
    most = pieces @ np.where(is_any, plan.upper, 0.0)
    for row in plan.rows:
        if math.isfinite(row.upper) and any(is_any[j] for j, _ in row.terms):
            coefficients = np.zeros(plan.n_columns)
            for j, coefficient in row.terms:
                coefficients[j] = coefficient
            has = np.flatnonzero(coefficients)
            least = np.zeros(plan.n_columns)
            least[has] = np.minimum(coefficients[has] * plan.lower[has], coefficients[has] * plan.upper[has])
            for k in np.flatnonzero(np.all((coefficients > 0.0) | (pieces == 0.0), axis=1)):
                own = pieces[k] > 0.0
                each = float(np.min(coefficients[own] / pieces[k][own]))
                most[k] = min(most[k], (row.upper - float(np.sum(least[~own]))) / each)
    return np.maximum(0, np.floor(most + 1e-6)).astype(np.int64)
