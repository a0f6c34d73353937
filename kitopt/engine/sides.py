"""What a panel side asks of the battery: one number, whatever the windows.

A *side* is how many panels of each kind hang on each unit. For a given side the capacity that a window needs is one
number, so what a confidence needs is one of them in order. All joins of one kind to one unit are a *class*, here at
the best power that any of them passes: what a side asks for is then asked of every kit that has it, or less than that.
"""

from __future__ import annotations

from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.judge import cuts, needed_wh, simulate
from kitopt.engine.plan import Case, Row
from kitopt.engine.plant import Conditions, Layout, Source

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]

_MOST_STEPS = 50
"""So often the need of a side is followed along the judge's slope."""


@dataclass(frozen=True, eq=False)
class Fixed:
    """What of a plant does not hang on the side, each at its best for the kit.

    Attributes
    ----------
    box : ndarray, shape (n_coordinates,)
        Largest value of each coordinate.
    demand_w : ndarray, shape (n_demands,)
        Least size of each demand, but for what units draw that have panels. [W]
    """

    box: Floats
    demand_w: Floats

    @property
    def key(self) -> tuple[bytes, bytes]:
        """The same for the same numbers."""
        return self.box.tobytes(), self.demand_w.tobytes()


@dataclass(frozen=True, eq=False)
class Tangent:
    """What sets of panels need at least, window by window: ``need[k] >= least[k] - saved[k] @ set``. [Wh]

    Attributes
    ----------
    least : ndarray, shape (n_windows,)
    saved : ndarray, shape (n_windows, n_kinds)
    hardest : ndarray of int, shape (n_allowed + 1,)
        The windows that need most where it touches.
    """

    least: Floats
    saved: Floats
    hardest: NDArray[np.intp]


class Sides:
    """The needs of the sides of one case."""

    def __init__(self, case: Case, fixed: Fixed) -> None:
        self.case, self.fixed = case, fixed
        conditions, layout = case.conditions, case.conditions.layout
        joins, unit_of, source_of = _joins(case)
        pieces = np.eye(case.matrix.shape[1])[joins] if case.pieces is None else case.pieces
        kinds = [k for k in range(len(pieces)) if np.any(pieces[k][joins] > 0)]
        self.pieces = pieces[kinds]
        self.columns: list[NDArray[np.intp]] = []
        unit, kind, size, place = [], [], [], []
        shapes, sources = list(conditions.shapes), list[Source]()
        known: dict[int, int] = {}
        for k in range(len(kinds)):
            for u in range(layout.n_units):
                mine = joins[(unit_of == u) & (self.pieces[k][joins] > 0)]
                if not len(mine):
                    continue
                best = _best(conditions, case.matrix, mine, source_of, layout.panel(u, 0), self.pieces[k])
                if best[0] is not None:
                    source, watts = best[0], best[1]
                    if source not in known:
                        known[source] = len(sources)
                        sources.append(conditions.sources[source])
                    place.append(known[source])
                else:
                    assert best[2] is not None
                    watts = 1.0
                    place.append(len(sources))
                    sources.append(Source(len(shapes)))
                    shapes.append(best[2])
                unit.append(u)
                kind.append(k)
                size.append(watts)
                self.columns.append(mine)
        self.unit, self.kind = np.array(unit, dtype=np.intp), np.array(kind, dtype=np.intp)
        self._size, self._place = np.array(size), np.array(place, dtype=np.intp)
        self.n_kinds = len(kinds)
        self.conditions = replace(
            conditions,
            layout=Layout(layout.n_units, len(sources), layout.n_demands),
            shapes=tuple(shapes),
            sources=tuple(sources),
        )
        # all panels of a set on one unit that passes what all do, each at the best power of its classes
        self._pooled = replace(
            conditions,
            layout=Layout(1, self.n_kinds, layout.n_demands),
            shapes=tuple(
                _most(self._size[c] * self.conditions.watts(self._place[c]) for c in np.flatnonzero(self.kind == k))
                for k in range(self.n_kinds)
            ),
            sources=(),
            has_charge_limit=False,
        )
        self.capacity = case.matrix[layout.capacity]
        has = self.capacity > 0.0
        missing = case.matrix[layout.missing][has] / self.capacity[has]
        self.missing_share = float(np.min(missing)) if len(missing) else 0.0
        self._idle_w = np.array(
            [
                np.min(case.matrix[_demands(layout)][:, case.matrix[layout.limit(u)] > 0.0], axis=1, initial=np.inf)
                for u in range(layout.n_units)
            ]
        ).reshape(layout.n_units, layout.n_demands)
        self._idle_w[~np.isfinite(self._idle_w)] = 0.0
        self._needs: dict[bytes, float] = {}
        self._each_need: dict[bytes, Floats] = {}
        self.tangents: dict[bytes, Tangent] = {}
        """By the set of panels that each is at."""

    def is_like(self, other: Sides) -> bool:
        """Whether the same counts make the same sides and the same capacity in another case."""
        mine, theirs = self.case.columns, other.case.columns
        return (
            (mine is theirs or (mine is not None and theirs is not None and np.array_equal(mine, theirs)))
            and np.array_equal(self.capacity, other.capacity)
            and len(self.columns) == len(other.columns)
            and all(np.array_equal(a, b) for a, b in zip(self.columns, other.columns, strict=True))
        )

    @property
    def n_classes(self) -> int:
        """How many classes there are."""
        return len(self.columns)

    def terms(self, c: int) -> list[tuple[int, float]]:
        """What counts the panels of a class, in the plan's columns."""
        return self._terms(self.columns[c], self.pieces[self.kind[c]])

    def capacity_terms(self) -> list[tuple[int, float]]:
        """What counts the usable capacity, in the plan's columns. [Wh]"""
        return self._terms(np.flatnonzero(self.capacity), self.capacity)

    def _terms(self, columns: NDArray[np.intp], weights: Floats) -> list[tuple[int, float]]:
        at = columns if self.case.columns is None else self.case.columns[columns]
        return [(int(j), float(weights[c])) for j, c in zip(at, columns, strict=True)]

    def of(self, counts: Floats) -> Counts:
        """The side that a kit's counts have, shape (n_classes,)."""
        own = self.case.own(counts)
        each = [round(float(self.pieces[k][j] @ own[j])) for k, j in zip(self.kind, self.columns, strict=True)]
        return np.array(each, dtype=np.int64)

    # -- what they need ----------------------------------------------------------------

    def need_wh(self, side: Counts) -> float:
        """Usable capacity without which no kit with that side passes; infinite where none does. [Wh]"""
        key = side.tobytes()
        if key not in self._needs:
            self._needs[key] = self._in_order(self._needed_wh(side))
        return self._needs[key]

    def each_need_wh(self, side: Counts) -> Floats:
        """Usable capacity without which no kit with that side survives a window, shape (n_windows,). [Wh]"""
        key = side.tobytes()
        if key not in self._each_need:
            self._each_need[key] = self._needed_wh(side)
        return self._each_need[key]

    def _needed_wh(self, side: Counts) -> Floats:
        conditions = replace(self.conditions, has_charge_limit=False)
        return needed_wh(conditions, self.plant(side), self.missing_share)

    def follow(self, side: Counts) -> float:
        """The need of a side with all that the judge knows; it is kept.

        The margin is concave in the capacity, so from below its tangents meet zero before it does.
        """
        layout, conditions = self.conditions.layout, self.conditions
        need = self.need_wh(side)
        plant = self.plant(side)
        plant[layout.charge_limit] = self.fixed.box[layout.charge_limit]
        for _ in range(_MOST_STEPS):
            if not np.isfinite(need):
                break
            plant[layout.capacity], plant[layout.missing] = need, self.missing_share * need
            verdict = simulate(conditions, plant)
            failing = np.flatnonzero(~verdict.survives)
            if len(failing) <= self.case.n_allowed:
                break
            slope = cuts(conditions, plant, verdict.lowest_step, failing).slope
            by_wh = slope[:, layout.capacity] + self.missing_share * slope[:, layout.missing]
            short = -verdict.margin_wh[failing]
            each = np.where(by_wh > 0.0, short / np.where(by_wh > 0.0, by_wh, 1.0), np.inf)
            more = float(np.sort(each)[::-1][self.case.n_allowed])
            if more <= 1e-6:
                break
            need += more
        self._needs[side.tobytes()] = need
        return need

    def _in_order(self, needs: Floats) -> float:
        return float(np.sort(needs)[::-1][self.case.n_allowed])

    def plant(self, side: Counts) -> Floats:
        """A kit with a side at its best, batteries apart, shape (n_coordinates of its own,)."""
        layout, of_case = self.conditions.layout, self.case.conditions.layout
        plant = np.zeros(layout.size)
        for c in np.flatnonzero(side):
            plant[layout.panel(int(self.unit[c]), int(self._place[c]))] += side[c] * self._size[c]
        demand_w = self.fixed.demand_w.copy()
        for u in np.unique(self.unit[side > 0]).tolist():
            plant[layout.limit(u)] = self.fixed.box[of_case.limit(u)]
            demand_w += self._idle_w[u]
        plant[_demands(layout)] = demand_w
        plant[layout.rated] = self.fixed.box[of_case.rated]
        return plant

    # -- sets of panels, whatever unit they are on -------------------------------------------

    def tangent(self, some: Counts) -> Tangent:
        """The tangent at a set of panels, shape (n_kinds,)."""
        key = some.tobytes()
        if key not in self.tangents:
            self.tangents[key] = self._tangent(some.astype(np.float64))
        return self.tangents[key]

    def _tangent(self, some: Floats) -> Tangent:
        conditions, layout = self._pooled, self._pooled.layout
        of_case = self.case.conditions.layout
        plant = np.zeros(layout.size)
        plant[layout.limit(0)] = sum(self.fixed.box[of_case.limit(u)] for u in range(of_case.n_units))
        panels = slice(layout.panel(0, 0), layout.panel(0, 0) + self.n_kinds)
        plant[panels] = some
        plant[_demands(layout)] = self.fixed.demand_w
        plant[layout.rated] = self.fixed.box[of_case.rated]
        need = self._in_order(needed_wh(conditions, plant, self.missing_share))
        plant[layout.capacity] = need if np.isfinite(need) else self.fixed.box[of_case.capacity]
        plant[layout.missing] = self.missing_share * plant[layout.capacity]
        verdict = simulate(conditions, plant)
        found = cuts(conditions, plant, verdict.lowest_step, np.arange(conditions.n_windows))
        by_wh = found.slope[:, layout.capacity] + self.missing_share * found.slope[:, layout.missing]
        held = found.slope.copy()
        held[:, [layout.capacity, layout.missing]] = 0.0
        held[:, panels] = 0.0
        short = -found.constant - held @ plant - 1e-5
        # where more capacity helps no window, nothing is known of it
        scale = np.where(by_wh > 1e-9, 1.0 / np.where(by_wh > 1e-9, by_wh, 1.0), 0.0)
        least, saved = short * scale, found.slope[:, panels] * scale[:, None]
        hardest = np.argsort(-(least - saved @ some), kind="stable")[: self.case.n_allowed + 1]
        return Tangent(least, saved, hardest)

    def at_least_wh(self, tangent: Tangent, sets: Counts) -> Floats:
        """What sets of panels need by a tangent, shape (n_sets,). [Wh]"""
        found = np.empty(len(sets))
        n = len(tangent.least)
        block = max(1, 4_000_000 // n)
        for i in range(0, len(sets), block):
            needs = tangent.least - sets[i : i + block] @ tangent.saved.T
            place = n - 1 - self.case.n_allowed
            found[i : i + block] = np.partition(needs, place, axis=1)[:, place]
        return found


def _demands(layout: Layout) -> slice:
    return slice(layout.demand(0), layout.demand(0) + layout.n_demands)


def _joins(case: Case) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp]]:
    """Own columns that bring power, and the unit and source of each."""
    layout = case.conditions.layout
    panels = case.matrix[layout.panel(0, 0) : layout.demand(0)]
    joins, at = np.nonzero(panels.T)
    source = np.full(case.matrix.shape[1], -1)
    source[joins] = at % max(1, layout.n_sources)
    return joins, at // max(1, layout.n_sources), source


def _best(
    conditions: Conditions,
    matrix: Floats,
    joins: NDArray[np.intp],
    source_of: NDArray[np.intp],
    first: int,
    pieces: Floats,
) -> tuple[int | None, float, Floats | None]:
    """The source and size of the join that passes most a panel in every step; where there is none, the most of each."""
    most: dict[int, float] = {}
    for j in joins.tolist():
        source = int(source_of[j])
        most[source] = max(most.get(source, 0.0), float(matrix[first + source, j] / pieces[j]))
    if len(most) == 1:
        return *most.popitem(), None
    by_sun = sorted(most, key=lambda s: -most[s] * float(np.sum(conditions.watts(s))))
    best = by_sun[0]
    top = most[best] * conditions.watts(best)
    if all(np.all(most[s] * conditions.watts(s) <= top + 1e-12) for s in by_sun[1:]):
        return best, most[best], None
    return None, 1.0, _most([top, *(most[s] * conditions.watts(s) for s in by_sun[1:])])


def _most(some: Iterable[Floats]) -> Floats:
    return reduce(np.maximum, some)


def can_hold(case: Case) -> bool:
    """Whether a case is of one plant, binds every kit, and each of its joins is of one kind on one unit."""
    if not isinstance(case.conditions, Conditions):
        return False
    if case.served is not None or case.within is not None or case.gone or case.less:
        return False
    layout = case.conditions.layout
    panels = case.matrix[layout.panel(0, 0) : layout.demand(0)]
    n_brought = np.count_nonzero(panels, axis=0)
    n_kinds = n_brought if case.pieces is None else np.count_nonzero(case.pieces, axis=0)
    brings_one = (n_brought == 0) | ((n_brought == 1) & (n_kinds == 1))
    charge_without_room = (case.matrix[layout.missing] != 0.0) & (case.matrix[layout.capacity] <= 0.0)
    return bool(np.all(brings_one) and np.all(case.matrix >= 0.0) and not np.any(charge_without_room))


def least_by_rows(weights: Floats, rows: Sequence[Row]) -> float:
    """What a nonnegative sum of counts is at least by any one of the rows."""
    least = 0.0
    for row in rows:
        if row.lower > 0.0:
            pays = min((weights[j] / c for j, c in row.terms if c > 0.0), default=0.0)
            least = max(least, row.lower * float(pays))
    return least
