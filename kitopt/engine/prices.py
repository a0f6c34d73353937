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
from kitopt.engine.banks import Banks
from kitopt.engine.case import Case
from kitopt.engine.losses import Losable
from kitopt.engine.matrix import Matrix
from kitopt.engine.needs import Counts
from kitopt.engine.openings import Openings
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.sides import Sides
from kitopt.engine.solver import Stated
from kitopt.engine.whole import Whole

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

ALONE = "alone"
"""The rule of rows that say what one of several kits costs alone at the least."""
_ALL = slice(None)
_MOST_KEPT = 2
"""Plans of one kit whose prices are kept."""
_MOST_PRICES = 1_000
_MANY_COLUMNS = 3_000
"""The solver's presolve takes longer than all else on a linear program of fewer, and less on one of more."""
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
    """The objective is at least ``fixed + each @ side + opening @ (what the side opens) + by_wh · capacity``.

    Attributes
    ----------
    opening : ndarray, shape (n_openings,)
        Of what is there as soon as one panel needs it, for whole; the linear program takes as much of it as of panels.
    each_alone : ndarray, shape (n_classes,)
        What may stand for ``each`` where it is not told what is opened.
    of_whole : ndarray, shape (n_levels, n_steps)
        What may stand for ``by_wh · capacity`` where batteries are whole and a side rules some of them out.
    """

    fixed: float
    each: Floats
    opening: Floats
    each_alone: Floats
    by_wh: float
    of_whole: Floats


class _Rows:
    """Rows that more are added to, in one array."""

    def __init__(self, *shape: int) -> None:
        self._room, self._n = np.zeros((8, *shape)), 0

    @property
    def all(self) -> Floats:
        """Shape (n_rows, ...)."""
        return self._room[: self._n]

    def add(self, row: Floats | float) -> None:
        """One more."""
        if self._n == len(self._room):
            self._room = np.concatenate([self._room, np.zeros_like(self._room)])
        self._room[self._n] = row
        self._n += 1

    def drop(self, first: int, past: int) -> None:
        """Some fewer."""
        n_left = self._n - (past - first)
        self._room[first:n_left] = self._room[past : self._n].copy()
        self._n = n_left


class _Quantity:
    """What is made small, or may not be more than a limit, with its prices.

    Attributes
    ----------
    of_none : list of (Price, ndarray)
        Those where there are few panels, which tell most of all sides together; each by kind too.
    fixed, each, opening, of_whole, by_kind, by_kind_beside : rows
        One a price, also of those near some sides; by kind on the unit where a panel costs least, beside sides too.
    """

    def __init__(
        self, objective: Objective, most: float, kind: NDArray[np.intp], n_kinds: int, n_openings: int, banks: Banks
    ) -> None:
        self.objective, self.most, self._kind, self._n_kinds = objective, most, kind, n_kinds
        self.of_none: list[tuple[Price, Floats]] = []
        self.fixed, self.each, self.opening = _Rows(1), _Rows(len(kind)), _Rows(n_openings)
        self.by_kind, self.by_kind_beside = _Rows(n_kinds), _Rows(n_kinds)
        self.of_whole = _Rows(*banks.shape)

    def add(self, price: Price, *, is_of_none: bool = False) -> None:
        """Keep a price; of those near some sides the latest."""
        by_kind = self._least_by_kind(price.each_alone)
        rows: dict[_Rows, Floats | float] = {
            self.fixed: price.fixed,
            self.each: price.each,
            self.opening: price.opening,
            self.of_whole: price.of_whole,
            self.by_kind: by_kind,
            self.by_kind_beside: self._least_by_kind(price.each),
        }
        if is_of_none:
            self.of_none.append((price, by_kind))
        elif len(self.fixed.all) >= _MOST_PRICES:
            for one in rows:
                one.drop(len(self.of_none), _MOST_PRICES // 2)
        for one, row in rows.items():
            one.add(row)

    def _least_by_kind(self, each: Floats) -> Floats:
        """The price of a panel of each kind on the unit where it costs least, shape (n_kinds,)."""
        least = np.full(self._n_kinds, np.inf)
        np.minimum.at(least, self._kind, each)
        return least


class Prices:
    """What kits of a plan with some sides cost at the least, by one objective.

    Attributes
    ----------
    banks : Banks
        Every capacity that the batteries at hand can make.
    stock : ndarray of int, shape (n_kinds,)
        How many panels of each kind there are at most.
    """

    def __init__(self, plan: Plan, sides: Sides, objective: Objective) -> None:
        self._objective, self._kind = objective, sides.kind
        self._classes, self._capacity = sides.in_plan
        self._charging = sides.case.charging
        # it outlives the question, so it holds nothing of the weather
        self._asked = replace(plan, cases=(), trials=())
        # what the kit costs at the least is no news of what more costs: there a price would be flat
        rows = tuple(row for row in (*plan.rows, *plan.known) if not _is_of(sides.case, row))
        # which of some rows is kept, no price tells
        self._plan = replace(self._asked, rows=rows, either=())
        self.banks, self.stock = Banks(sides, plan), _stock(sides, plan)
        made_small = [(objective, math.inf), *((_weighed(row, plan), row.upper) for row in plan.limits)]
        self._openings = Openings(self._plan, self._classes, without=self.banks.columns)
        self._quantities = [
            _Quantity(one, most, sides.kind, sides.n_kinds, self._openings.n, self.banks) for one, most in made_small
        ]
        self._relaxed, self._rows, self._last, self._apart = self._stated()
        self._wider: Prices | None = None
        self._whole: dict[tuple[tuple[Losable, ...], ...], Whole] = {}
        self._known_at: set[float] = set()
        self._at = np.zeros(len(self._rows))
        """Of each class so much is asked for in the relaxed program now."""

    @classmethod
    def of(cls, plan: Plan, sides: Sides, objective: Objective) -> Prices:
        """Those of a plan; of an earlier one where its rows, bounds and sides are alike, whatever the weather asks."""
        kept: list[Prices] = sides.case.conditions.known.setdefault("prices", [])
        like = [one for one in kept if one._is_like(sides, objective)]
        found = next((one for one in like if one._is_of(plan)), None)
        if found is None:
            found = cls(plan, sides, objective)
            found._wider = next((one for one in like if one._is_wider_than(plan)), None)
        # what comes first allows most of what comes of it
        kept[:] = [*kept[: _MOST_KEPT - 1], *([] if found in kept[: _MOST_KEPT - 1] else [found])]
        return found

    def whole(self, losable: tuple[tuple[Losable, ...], ...]) -> Whole:
        """What kits with some sides cost in whole counts."""
        if losable not in self._whole:
            wider = None if self._wider is None else self._wider.whole(losable)
            in_plan = self._classes, self._capacity
            self._whole[losable] = Whole(self._asked, in_plan, self._objective, losable, wider)
        return self._whole[losable]

    def _is_like(self, sides: Sides, objective: Objective) -> bool:
        """Whether it is of the same columns, objective and sides."""
        return (
            (self._objective.name, self._objective.fixed) == (objective.name, objective.fixed)
            and np.array_equal(self._objective.weights, objective.weights)
            and np.array_equal(self._kind, sides.kind)
            and (self._classes, self._capacity) == sides.in_plan
            and self._charging == sides.case.charging
        )

    def _is_of(self, plan: Plan) -> bool:
        mine = self._asked
        return (
            mine.rows == plan.rows
            and mine.known == plan.known
            and np.array_equal(mine.lower, plan.lower)
            and np.array_equal(mine.upper, plan.upper)
        )

    def _is_wider_than(self, plan: Plan) -> bool:
        mine = self._asked
        return (
            not mine.either
            and mine.rows == plan.rows[: len(mine.rows)]
            and bool(np.all(mine.lower <= plan.lower) and np.all(plan.upper <= mine.upper))
        )

    def learn_at(self, need_wh: float, left_s: Callable[[], float]) -> None:
        """Make the prices exact where no panel is asked for beside a capacity.

        Raises
        ------
        RulesForbid, TooMany, OutOfTime
        """
        need_wh = min(need_wh, self.banks.most_wh)
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

    def made(
        self, needs: Floats | float, *, sides: Counts | None = None, sets: Counts | Floats | None = None
    ) -> Floats:
        """The next capacity that batteries can make beside sides, or sets; infinite where they cannot. [Wh]"""
        needs = np.atleast_1d(np.asarray(needs, dtype=np.float64))
        level = self.banks.levels.of(len(needs), sides=sides, sets=sets)
        return self.banks.made(needs, level if needs.ndim == 1 else level[:, None])

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
        level = self.banks.levels.of(len(needs), sides=sides, classes=classes, sets=sets)
        can_be_met = np.isfinite(self.banks.made(needs, level))
        step = self.banks.step(np.where(can_be_met, needs, 0.0))
        opened = None if sides is None else self._openings.of(sides, classes)

        def least(quantity: _Quantity) -> Floats:
            costs = quantity.fixed.all + quantity.of_whole.all[:, level, step]
            costs += 0.0 if sides is None else _times(quantity.each.all[:, classes], sides)
            costs += 0.0 if opened is None else _times(quantity.opening.all, opened)
            by_kind = quantity.by_kind if sides is None else quantity.by_kind_beside
            costs += 0.0 if sets is None else _times(by_kind.all, np.atleast_2d(sets))
            return np.asarray(np.max(costs, axis=0) + quantity.objective.fixed)

        first, *limits = map(least, self._quantities)
        return np.where(can_be_met, self._where_kept(first, limits), np.inf)

    def _price(
        self, objective: Objective, side: Floats, need: float, left_s: Callable[[], float]
    ) -> tuple[Price, Floats]:
        """The price that is exact for the relaxed program near one side and capacity, and the nearest side allowed."""
        at = side + _LITTLE
        # to miss a tenth of a panel costs more than all that there is
        costs = np.full(self._n_columns, 10.0 * max(1.0, float(np.abs(objective.weights) @ self._plan.upper)))
        costs[: self._plan.n_columns] = objective.weights
        self._relaxed.set_costs(costs)
        new = np.flatnonzero(at != self._at)
        rows, least = np.append(self._rows[new], self._last), np.append(at[new], need)
        self._relaxed.set_rows(rows, least, np.append(at[new], math.inf))
        self._at = at
        answer = self._relaxed.solve(seconds=left_s(), presolve=self._n_columns > _MANY_COLUMNS)
        if answer.status == "infeasible":
            again = self._relaxed.has_any_within(math.inf, seconds=left_s())
            # where the solver takes back what it said, cuts have to do
            raise RulesForbid if again.status == "infeasible" else TooMany
        if answer.duals is None or answer.values is None:
            raise OutOfTime
        each, by_wh = answer.duals[self._rows], max(0.0, float(answer.duals[self._last]))
        less, more = self._apart
        met = at + answer.values[more] - answer.values[less]
        fixed = answer.objective - float(each @ at) - by_wh * need
        # what each battery costs but for its capacity, and what the linear program took of it at best
        costs = objective.weights[self.banks.columns] - answer.duals @ self._in_rows
        of_whole = self.banks.least(costs, by_wh)
        return Price(fixed, *self._openings.apart(each, answer.duals), each, by_wh, of_whole), met

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
        places = {j: b for b, j in enumerate(self.banks.columns)}
        self._in_rows = Matrix.of_rows(
            [[(places[j], c) for j, c in of_row if j in places] for of_row, _, _ in program.rows], len(places)
        )
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


def _stock(sides: Sides, plan: Plan) -> Counts:
    """How many panels of each kind there are at most, by the plan's bounds and by each of its rows."""
    pieces: list[dict[int, float]] = [{} for _ in range(sides.n_kinds)]
    for c, k in enumerate(sides.kind.tolist()):
        pieces[k].update(sides.terms(c))
    each_own = [of_kind.keys() for of_kind in pieces]
    kind_of_first = {next(iter(own)): k for k, own in enumerate(each_own) if own}
    lower, upper = plan.lower.tolist(), plan.upper.tolist()
    most = np.array([sum(n * upper[j] for j, n in of_kind.items()) for of_kind in pieces])
    for row in plan.rows:
        # it limits a kind only where it has all that is of it
        some = [kind_of_first[j] for j, c in row.terms if j in kind_of_first and c > 0.0]
        if not some or not math.isfinite(row.upper):
            continue
        brought = {j: c for j, c in row.terms if c > 0.0}
        kinds = [k for k in some if each_own[k] <= brought.keys()]
        at_least = [(j, min(c * lower[j], c * upper[j])) for j, c in row.terms] if kinds else []
        for k in kinds:
            own = each_own[k]
            each = min(brought[j] / pieces[k][j] for j in own)
            most[k] = min(most[k], (row.upper - sum(least for j, least in at_least if j not in own)) / each)
    return np.maximum(0, np.floor(most + 1e-6)).astype(np.int64)
