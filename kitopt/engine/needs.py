"""What each window asks of a battery beside a panel side, whatever the confidence.

A *side* is how many panels of each kind hang on each unit. All joins of one kind to one unit are a *class*, here at
the best power that any of them passes: what a side asks for is then asked of every kit that has it, or less than that.
"""

from __future__ import annotations

import math
from collections.abc import Iterable
from dataclasses import dataclass, replace
from functools import reduce

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case
from kitopt.engine.judge import Flow, cuts, flow_of, needed_wh, simulate
from kitopt.engine.plant import Conditions, Layout, Source
from kitopt.engine.tangents import Tangent

Floats = NDArray[np.float64]
Counts = NDArray[np.int64]
_BySource = tuple[tuple[int, float], ...]

_MOST_STEPS = 50
"""So often the need of a side is followed along the judge's slope."""
_FEW, _MORE = 64, 8
"""A tangent is of no fewer of the windows that are hardest where it touches, and of so many times as many as may fail:
of twice as many it tells too little elsewhere."""
_MOST_KEPT = 500_000
"""Numbers that are kept of the needs of one kit's sides."""
_MOST_AT_ONCE = 100_000
"""Steps that are reckoned at once: more leave the processor's cache."""


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


def in_order(needs: Floats, n_allowed: int) -> float:
    """What is needed where the so many that need most may fail."""
    place = len(needs) - 1 - n_allowed
    return float(np.partition(needs, place)[place])


class Needs:
    """The needs of the sides of one kit under some conditions, window by window."""

    def __init__(self, case: Case, fixed: Fixed) -> None:
        # what it is known by is held, so that nothing else can come to be in that place
        self.fixed, self._known_by, self._layout = fixed, (case.matrix, case.pieces), case.conditions.layout
        conditions, layout = case.conditions, case.conditions.layout
        joins, unit_of, source_of, brings = _joins(case)
        self.joined, kind_of = _panels(case, joins)
        self.columns: list[NDArray[np.intp]] = []
        unit, kind, size, place = [], [], [], []
        shapes, sources = list(conditions.shapes), list[Source]()
        # what is alike on several units is looked at, and lies in memory, once
        known: dict[_BySource, tuple[int, float]] = {}
        self.n_kinds = int(np.max(kind_of, initial=-1)) + 1
        a_panel = brings / np.where(self.joined > 0.0, self.joined, 1.0)
        for k in range(self.n_kinds):
            of_kind = np.flatnonzero(kind_of == k)
            for u in np.unique(unit_of[of_kind]).tolist():
                mine = joins[of_kind[unit_of[of_kind] == u]]
                most = _by_source(mine, source_of, a_panel)
                if most not in known:
                    best, watts, composed = _best(conditions, most)
                    if composed is None:
                        source = conditions.sources[best]
                    else:
                        source = Source(len(shapes))
                        shapes.append(composed)
                    at = next((i for i, one in enumerate(sources) if one is source), len(sources))
                    if at == len(sources):
                        sources.append(source)
                    known[most] = at, watts
                unit.append(u)
                kind.append(k)
                place.append(known[most][0])
                size.append(known[most][1])
                self.columns.append(mine)
        self.unit, self.kind = np.array(unit, dtype=np.intp), np.array(kind, dtype=np.intp)
        self._size, self._place = np.array(size), np.array(place, dtype=np.intp)
        self._conditions = replace(
            conditions,
            layout=Layout(layout.n_units, len(sources), layout.n_demands),
            shapes=tuple(shapes),
            sources=tuple(sources),
        )
        # all panels of a set on one unit that passes what all do, each at the best power of its classes
        pooled: list[Source] = []
        for k in range(self.n_kinds):
            mine = np.flatnonzero(self.kind == k)
            best, watts, composed = _best(self._conditions, _by_source(mine, self._place, self._size))
            if composed is None:
                source = self._conditions.sources[best]
                share = np.ones(conditions.n_windows) if source.share is None else source.share
                pooled.append(Source(source.shape, watts * share))
            else:
                pooled.append(Source(len(shapes)))
                shapes.append(composed)
        self._pooled = replace(
            conditions,
            layout=Layout(1, self.n_kinds, layout.n_demands),
            shapes=tuple(shapes),
            sources=tuple(pooled),
            has_charge_limit=False,
        )
        self.capacity = case.matrix.row(layout.capacity)
        has = self.capacity > 0.0
        missing = case.matrix.row(layout.missing)[has] / self.capacity[has]
        self.missing_share = float(np.min(missing)) if len(missing) else 0.0
        demands = case.matrix.some_rows(_demands(layout))
        self._idle_w = np.array(
            [
                np.min(demands[:, case.matrix.row(layout.limit(u)) > 0.0], axis=1, initial=np.inf)
                for u in range(layout.n_units)
            ]
        ).reshape(layout.n_units, layout.n_demands)
        self._idle_w[~np.isfinite(self._idle_w)] = 0.0
        self._without_limit = replace(self._conditions, has_charge_limit=False)
        # the coordinate that a panel of each class adds to
        own = self._conditions.layout
        self._panel = np.array([own.panel(u, at) for u, at in zip(unit, place, strict=True)], dtype=np.intp)
        others = [*(own.limit(u) for u in range(own.n_units)), *np.arange(own.size)[_demands(own)].tolist()]
        self._told = np.unique(np.array([*self._panel.tolist(), *others], dtype=np.intp))
        self._others = np.searchsorted(self._told, others)
        self._limit_w = np.array([fixed.box[layout.limit(u)] for u in range(layout.n_units)])
        self._known: dict[bytes, Floats] = {}
        self._tangents: dict[tuple[bytes, int], Tangent] = {}

    @classmethod
    def of(cls, case: Case, fixed: Fixed) -> Needs:
        """Those of a case, reckoned once for all cases of its conditions."""
        key = (fixed.key, id(case.matrix), id(case.pieces))
        if key not in case.conditions.known:
            case.conditions.known[key] = cls(case, fixed)
        found = case.conditions.known[key]
        assert isinstance(found, cls)
        return found

    @property
    def n_classes(self) -> int:
        """How many classes there are."""
        return len(self.columns)

    def each_wh(self, sides: Counts, windows: NDArray[np.intp] | None = None) -> Floats:
        """Usable capacity without which no kit with a side survives some windows, or each of all. [Wh]

        Parameters
        ----------
        sides : ndarray of int, shape (n_sides, n_classes)

        Returns
        -------
        ndarray, shape (n_sides, n)
            Infinite where none suffices.
        """
        conditions = self._without_limit
        asked = np.arange(conditions.n_windows) if windows is None else windows
        known = [self._known_of(side) for side in sides]
        new = [i for i, one in enumerate(known) if np.any(np.isnan(one[asked]))]
        # of a side alone what is known of some windows need not be reckoned again
        if len(new) == len(sides) == 1 and not np.all(np.isnan(known[0])):
            windows = asked[np.isnan(known[0][asked])]
        n = conditions.n_windows if windows is None else len(windows)
        at_once = max(1, _MOST_AT_ONCE // (max(1, n) * conditions.n_steps))
        for first in range(0, len(new), at_once):
            some = new[first : first + at_once]
            needs = needed_wh(conditions, self._plants(sides[some]), self.missing_share, windows)
            for i, of_side in zip(some, needs, strict=True):
                known[i][slice(None) if windows is None else windows] = of_side
        return np.array([one[asked] for one in known]).reshape(len(sides), len(asked))

    def _known_of(self, side: Counts) -> Floats:
        """What is known of the windows of a side, to be added to; what is not is no number."""
        key = side.tobytes()
        if key in self._known:
            return self._known[key]
        known = np.full(self._conditions.n_windows, np.nan)
        if len(self._known) * len(known) < _MOST_KEPT:
            self._known[key] = known
        return known

    def brings_no_more(self, case: Case, one: int, other: int) -> bool:
        """Whether a join of a panel to a unit passes no more than another in any step, all else being alike."""
        if self.joined[one] != self.joined[other]:
            return False
        panels = slice(self._layout.panel(0, 0), self._layout.demand(0))
        mine, its = case.matrix.column(one), case.matrix.column(other)
        if np.any(np.delete(mine, panels) != np.delete(its, panels)):
            return False
        (at,), (its_at,) = np.flatnonzero(mine[panels]), np.flatnonzero(its[panels])
        if at == its_at:
            return bool(mine[panels][at] <= its[panels][at])
        n, conditions = self._layout.n_sources, case.conditions
        watts, its_watts = conditions.watts(int(at) % n), conditions.watts(int(its_at) % n)
        return bool(np.all(mine[panels][at] * watts <= its[panels][its_at] * its_watts))

    def followed_wh(self, side: Counts, need_wh: float, n_allowed: int) -> float:
        """What a side needs so that no more windows fail, by all that the judge knows, from a need that is no more."""
        return self.followed_as_wired_wh(self._conditions, self.plant(side), need_wh, n_allowed)

    def followed_as_wired_wh(self, conditions: Conditions, plant: Floats, need_wh: float, n_allowed: int) -> float:
        """What a plant needs, with batteries at their best in all but their capacity, from a need that is no more."""
        # the margin is concave in the capacity, so from below its tangents meet zero before it does
        layout = conditions.layout
        plant = plant.copy()
        plant[layout.charge_limit] = self.fixed.box[self._layout.charge_limit]
        flow = flow_of(conditions, plant)
        for _ in range(_MOST_STEPS):
            if not np.isfinite(need_wh):
                break
            plant[layout.capacity], plant[layout.missing] = need_wh, self.missing_share * need_wh
            verdict = simulate(conditions, plant, flow=flow)
            failing = np.flatnonzero(~verdict.survives)
            if len(failing) <= n_allowed:
                break
            slope = cuts(conditions, plant, verdict.lowest_step[failing], failing, flow.of(failing)).slope
            by_wh = slope[:, layout.capacity] + self.missing_share * slope[:, layout.missing]
            short = -verdict.margin_wh[failing]
            each = np.where(by_wh > 0.0, short / np.where(by_wh > 0.0, by_wh, 1.0), np.inf)
            more = in_order(each, n_allowed)
            if more <= 1e-6:
                break
            need_wh += more
        return need_wh

    def tangent(self, counts: Counts | Floats, n_allowed: int) -> Tangent:
        """The tangent at a set of panels on whatever units, shape (n_kinds,), where so many windows may fail."""
        # many confidences share one
        n_asked = min(2 ** math.ceil(math.log2(max(_FEW, _MORE * (n_allowed + 1)))), self._conditions.n_windows)
        key = counts.tobytes(), n_asked
        if key not in self._tangents:
            self._tangents[key] = self._tangent(counts, n_allowed, n_asked)
        # it is below what is needed whatever is allowed, but other windows are the hardest
        return self._tangents[key].where(counts, n_allowed)

    def _tangent(self, counts: Counts | Floats, n_allowed: int, n_asked: int) -> Tangent:
        conditions, layout = self._pooled, self._pooled.layout
        of_case = self._layout
        plant = np.zeros(layout.size)
        plant[layout.limit(0)] = sum(self.fixed.box[of_case.limit(u)] for u in range(of_case.n_units))
        panels = np.arange(layout.panel(0, 0), layout.panel(0, 0) + self.n_kinds)
        plant[panels] = counts
        plant[_demands(layout)] = self.fixed.demand_w
        plant[layout.rated] = self.fixed.box[of_case.rated]
        flow = flow_of(conditions, plant)
        each_wh = needed_wh(conditions, plant, self.missing_share, flow=flow)
        hardest = np.argpartition(-each_wh, n_asked - 1)[:n_asked]
        touching = self._touching(flow.of(hardest), plant, in_order(each_wh, n_allowed), hardest, panels)
        # of the others no more is known than that nothing needs less than nothing
        least, saved = np.zeros(len(each_wh)), np.zeros((len(each_wh), self.n_kinds))
        least[hardest], saved[hardest] = touching.least, touching.saved
        return Tangent(least, saved)

    def tangent_of_side(self, side: Counts, n_allowed: int) -> Tangent:
        """The tangent at a side, of the windows that are hardest there, in what ``told`` makes of sides."""
        each_wh, plant = self.each_wh(side[None, :])[0], self.plant(side)
        hardest = np.argpartition(-each_wh, n_allowed)[: n_allowed + 1]
        need = in_order(each_wh, n_allowed)
        flow = flow_of(self._without_limit, plant, hardest)
        return self._touching(flow, plant, need, hardest, self._told).where(plant[self._told], n_allowed)

    def _touching(
        self, flow: Flow, plant: Floats, need: float, windows: NDArray[np.intp], by: NDArray[np.intp]
    ) -> Tangent:
        """The tangent of some windows at a plant that needs so much, by some coordinates that are not the battery's."""
        conditions, layout = flow.conditions, flow.conditions.layout
        plant[layout.capacity] = need if np.isfinite(need) else self.fixed.box[self._layout.capacity]
        plant[layout.missing] = self.missing_share * plant[layout.capacity]
        verdict = simulate(conditions, plant, windows, flow)
        found = cuts(conditions, plant, verdict.lowest_step, windows, flow)
        by_wh = found.slope[:, layout.capacity] + self.missing_share * found.slope[:, layout.missing]
        held = found.slope.copy()
        held[:, [layout.capacity, layout.missing, *by]] = 0.0
        short = -found.constant - held @ plant - 1e-5
        # where more capacity helps no window, nothing is known of it
        scale = np.where(by_wh > 1e-9, 1.0 / np.where(by_wh > 1e-9, by_wh, 1.0), 0.0)
        return Tangent(short * scale, found.slope[:, by] * scale[:, None])

    def told(self, sides: Counts) -> tuple[Floats, NDArray[np.intp]]:
        """What tangents at sides are in: what of the plants of some sides hangs on them, where that is not nothing.

        Returns
        -------
        told : ndarray, shape (n_sides, n)
        places : ndarray of int, shape (n,)
            Which of all that may hang on a side.
        """
        # few of many classes are in a side
        some = np.flatnonzero(np.any(sides, axis=0))
        panels, of_class = np.unique(self._panel[some], return_inverse=True)
        watts = np.zeros((len(panels), len(sides)))
        is_there = np.zeros((self._layout.n_units, len(sides)), dtype=bool)
        for c, at in zip(some.tolist(), of_class.tolist(), strict=True):
            watts[at] += self._size[c] * sides[:, c]
            is_there[self.unit[c]] |= sides[:, c] > 0
        limits_w = np.where(is_there.T, self._limit_w, 0.0)
        told = np.hstack([watts.T, limits_w, self.fixed.demand_w + is_there.T @ self._idle_w])
        return told, np.concatenate([np.searchsorted(self._told, panels), self._others])

    def _plants(self, sides: Counts) -> Floats:
        told, places = self.told(sides)
        plants = np.zeros((len(sides), self._conditions.layout.size))
        plants[:, self._told[places]] = told
        plants[:, self._conditions.layout.rated] = self.fixed.box[self._layout.rated]
        return plants

    def plant(self, side: Counts) -> Floats:
        """A kit with a side at its best, batteries apart, shape (n_coordinates of its own,)."""
        return np.asarray(self._plants(side[None, :])[0])


def _demands(layout: Layout) -> slice:
    return slice(layout.demand(0), layout.demand(0) + layout.n_demands)


def _joins(case: Case) -> tuple[NDArray[np.intp], NDArray[np.intp], NDArray[np.intp], Floats]:
    """Own columns that bring power, and the unit of each; the source and size of each column."""
    layout, matrix = case.conditions.layout, case.matrix
    is_join = matrix.is_in(slice(layout.panel(0, 0), layout.demand(0)))
    joins, at = matrix.columns[is_join], matrix.rows[is_join] - layout.panel(0, 0)
    source, brings = np.full(matrix.shape[1], -1), np.zeros(matrix.shape[1])
    source[joins], brings[joins] = at % max(1, layout.n_sources), matrix.values[is_join]
    return joins, at // max(1, layout.n_sources), source, brings


def _panels(case: Case, joins: NDArray[np.intp]) -> tuple[Floats, NDArray[np.intp]]:
    """How many panels each own column joins, and of which kind those of each join are, counted from 0."""
    if case.pieces is None:
        return np.bincount(joins, minlength=case.matrix.shape[1]).astype(np.float64), np.arange(len(joins))
    n_joined, kind = np.zeros(case.matrix.shape[1]), np.zeros(case.matrix.shape[1], dtype=np.intp)
    n_joined[case.pieces.columns], kind[case.pieces.columns] = case.pieces.values, case.pieces.rows
    return n_joined, np.unique(kind[joins], return_inverse=True)[1]


def _by_source(some: NDArray[np.intp], source_of: NDArray[np.intp], watts: Floats) -> _BySource:
    """The most that any of some joins, or classes, passes a panel, by source."""
    most: dict[int, float] = {}
    for source, size in zip(source_of[some].tolist(), watts[some].tolist(), strict=True):
        most[source] = max(most.get(source, 0.0), size)
    return tuple(most.items())


def _best(conditions: Conditions, by_source: _BySource) -> tuple[int, float, Floats | None]:
    """The source and size of what passes most in every step; where there is none, the most of each, of size one."""
    sources = conditions.sources
    likely = max(by_source, key=lambda one: (one[1], -sources[one[0]].loss))
    others = [one for one in by_source if one != likely and not sources[one[0]].brings_no_more(sources[likely[0]])]
    if not others:
        return *likely, None
    each = sorted(
        ((s, size, size * conditions.watts(s)) for s, size in (likely, *others)),
        key=lambda one: -float(np.sum(one[2])),
    )
    source, size, top = each[0]
    if all(np.all(watts <= top + 1e-12) for _, _, watts in each[1:]):
        return source, size, None
    return source, 1.0, _most(watts for _, _, watts in each)


def _most(some: Iterable[Floats]) -> Floats:
    return reduce(np.maximum, some)
