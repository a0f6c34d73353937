"""What failing windows have taught about one case, as rows for the integer program.

A kit passes a case when all but ``a`` of its windows have a margin of at least zero. Where a
cut's right-hand side is positive it is normalised to ``v @ plant >= 1``.

References
----------
.. [1] J. Luedtke, "A branch-and-cut decomposition algorithm for solving chance-constrained
   mathematical programs with finite support," Math. Program., vol. 146, 2014,
   doi:10.1007/s10107-013-0684-6.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, anyhow
from kitopt.engine.joint import cuts, simulate
from kitopt.engine.judge import TOLERANCE_WH, Verdict
from kitopt.engine.losses import Spared, whole_of
from kitopt.engine.needs import Fixed
from kitopt.engine.sides import Sides

Floats = NDArray[np.float64]

_SEPARATES = 1e-7
"""A normalised row must miss the point by this much to be worth adding."""
_KEPT_PER_WINDOW = 6
"""Cuts remembered for each window when rows are tightened."""


@dataclass(frozen=True, eq=False)
class FreeRow:
    """``v @ plant >= least``, valid whichever windows are given up.

    ``windows`` are those that it was made from, for reasons.
    """

    v: Floats
    least: float
    windows: tuple[int, ...]


@dataclass(frozen=True, eq=False)
class WindowRow:
    """``v @ plant >= least`` unless the window is given up."""

    window: int
    v: Floats
    least: float


@dataclass(frozen=True, eq=False)
class NormalCuts:
    """Cuts ``v @ plant >= 1`` of the windows that fail at one plant.

    Attributes
    ----------
    windows : ndarray of int, shape (n,)
    v : ndarray, shape (n, n_coordinates)
    plant : ndarray, shape (n_coordinates,)
    """

    windows: NDArray[np.intp]
    v: Floats
    plant: Floats


class CaseMemory:
    """The rows learned for one case."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self.free_rows: list[FreeRow] = []
        self.window_rows: list[WindowRow] = []
        self._pool_v: list[Floats] = []
        self._pool_window: list[int] = []
        self._n_kept: dict[int, int] = {}
        self._stacked = np.zeros((0, 0))
        self._stacked_used = np.zeros((0, 0))
        self._in_pool = np.zeros(0, dtype=np.intp)
        self._least: dict[tuple[bytes, bytes], tuple[int, float]] = {}
        self._sides: dict[tuple[bytes, bytes], Sides] = {}
        self._spared: dict[tuple[object, ...], Spared] = {}
        self.listings: list[Any] = []
        """Of the sides of this case and others, as the search keeps them."""

    def upper_of_coordinates(self, upper_counts: Floats) -> Floats:
        """Largest value that each coordinate can take, shape (n_coordinates,)."""
        upper = self.case.own(upper_counts)
        matrix = self.case.matrix
        return replace(matrix, values=np.maximum(matrix.values, 0.0)) @ upper

    def sides(self, fixed: Fixed) -> Sides:
        """The needs of this case's sides with nothing lost, kept by what they were reckoned for."""
        if fixed.key not in self._sides:
            self._sides[fixed.key] = Sides(whole_of(self.case), fixed)
        return self._sides[fixed.key]

    def spared(self, cases: Sequence[Case], fixed: Fixed, upper: Floats) -> Spared:
        """The needs of sides whichever of some cases of losses, this one first, it is; the latest is kept."""
        key = fixed.key, upper.tobytes(), tuple(map(id, cases))
        if key not in self._spared:
            self._spared = {key: Spared(cases, self.sides(fixed), upper)}
        return self._spared[key]

    @property
    def alone(self) -> tuple[CaseMemory, ...]:
        """Of a case of several plants what is known of each alone, which is asked of it as surely; else this one."""
        return self._parts or (self,)

    @cached_property
    def _parts(self) -> tuple[CaseMemory, ...]:
        return tuple(CaseMemory(replace(part, confidence=self.case.confidence)) for part in self.case.parts)

    @cached_property
    def _is_used(self) -> NDArray[np.bool_]:
        return self.case.whole_matrix.has_any[0]

    def judge(self, counts: Floats) -> Verdict:
        """Judge counts, whole or fractional."""
        return simulate(self.case.conditions, self.case.plant(counts))

    def passes(self, verdict: Verdict) -> bool:
        """Whether enough windows are survived."""
        return int(np.count_nonzero(verdict.survives)) >= self.case.n_needed

    def cuts_at(self, counts: Floats, verdict: Verdict | None = None) -> NormalCuts | None:
        """Normalised cuts of all windows that fail at some counts; None when one asks for nothing positive."""
        verdict = verdict if verdict is not None else self.judge(counts)
        plant = self.case.plant(counts)
        failing = np.flatnonzero(~verdict.survives)
        found = cuts(self.case.conditions, plant, verdict.lowest_step[failing], failing)
        # a window counts as survived a rounding below zero; its row must not be stricter
        need = -found.constant - TOLERANCE_WH
        if np.any(need <= 1e-3):
            return None
        v = np.where(self._is_used, found.slope, 0.0) / need[:, None]
        v[np.abs(v) < 1e-12] = 0.0
        return NormalCuts(failing, v, plant)

    def learn(self, counts: Floats, verdict: Verdict) -> bool:
        """Add binary-free rows that a failing kit breaks; False when none could be found."""
        a = self.case.n_allowed
        found = self.cuts_at(counts, verdict)
        if found is None:
            return self._learn_without_need(counts, verdict)
        failing, v = found.windows, found.v
        if len(failing) <= a:
            return False
        reached = v @ found.plant
        before = len(self.free_rows)
        self._remember(failing, v)
        if a == 0:
            worst = np.argsort(reached, kind="stable")
            for i in self._unlike(v, worst, 4):
                self.add_free(v[i], 1.0, (int(failing[i]),))
            return len(self.free_rows) > before
        for chosen in self._groups(v, reached, found.plant, a + 1):
            top = np.max(v[chosen], axis=0)
            if top @ found.plant < 1.0 - _SEPARATES:
                self.add_free(top, 1.0, tuple(int(w) for w in failing[chosen]))
        return len(self.free_rows) > before

    def learn_windows(self, counts: Floats, verdict: Verdict) -> None:
        """Add rows with binaries for the windows that a kit fails."""
        a = self.case.n_allowed
        found = self.cuts_at(counts, verdict)
        if found is None:
            return
        order = np.argsort(found.v @ found.plant, kind="stable")[: 2 * a + 2]
        self.window_rows.extend(WindowRow(int(found.windows[i]), found.v[i], 1.0) for i in order)

    def least_without(self, v: Floats, box: Floats) -> float:
        """A value that ``v @ plant`` reaches whatever ``a`` windows are given up.

        A window with a known cut w implies ``v @ plant >= ρ`` plus what is left of
        ``v - ρ·w`` at its worst over the box. The (a+1)-th largest such bound holds.
        """
        floor = anyhow(v, box)
        if not self._pool_v:
            return floor
        # a plan that allows more has a larger box, and there the same row may reach less
        key = (v.tobytes(), box.tobytes())
        known = self._least.get(key)
        if known is not None and known[0] == len(self._pool_v):
            return known[1]
        if len(self._stacked) != len(self._pool_v):
            self._stacked = np.asarray(self._pool_v)
            self._in_pool = np.flatnonzero(np.any(self._stacked != 0.0, axis=0))
            self._stacked_used = np.ascontiguousarray(self._stacked[:, self._in_pool])
        # coordinates that no pooled cut has leave v as it is there
        pool, part = self._stacked_used, v[self._in_pool]
        outside = np.minimum(v, 0.0) * box
        outside[self._in_pool] = 0.0
        nonnegative = np.all(pool >= 0.0, axis=0) & (part >= 0.0)
        with np.errstate(divide="ignore", invalid="ignore"):
            ratios = np.where(pool[:, nonnegative] > 0.0, part[nonnegative] / pool[:, nonnegative], np.inf)
        rho = np.min(ratios, axis=1, initial=np.inf)
        rho = np.where(np.isfinite(rho), np.minimum(rho, 1.0), 0.0)
        pulls = ~nonnegative
        left = np.minimum(part[pulls] - rho[:, None] * pool[:, pulls], 0.0) @ box[self._in_pool][pulls]
        best = np.full(self.case.conditions.n_windows, floor)
        np.maximum.at(best, np.asarray(self._pool_window), rho + left + float(np.sum(outside)))
        least = float(min(1.0, np.sort(best)[::-1][self.case.n_allowed]))
        self._least[key] = (len(self._pool_v), least)
        return least

    def _learn_without_need(self, counts: Floats, verdict: Verdict) -> bool:
        """Rows of windows some of whose cuts ask for nothing positive: kept in watt-hours, with a binary each."""
        plant = self.case.plant(counts)
        failing = np.flatnonzero(~verdict.survives)
        a = self.case.n_allowed
        if len(failing) <= a:
            return False
        found = cuts(self.case.conditions, plant, verdict.lowest_step[failing], failing)
        slope = np.where(self._is_used, found.slope, 0.0)
        need = -found.constant - TOLERANCE_WH
        for i in np.argsort(slope @ plant - need)[: a + 1]:
            scale = max(1.0, float(np.max(np.abs(slope[i]))))
            v, least, window = slope[i] / scale, float(need[i]) / scale, int(failing[i])
            if a == 0:
                self.add_free(v, least, (window,))
            else:
                self.window_rows.append(WindowRow(window, v, least))
        return True

    def _remember(self, windows: NDArray[np.intp], v: Floats) -> None:
        for window, row in zip(windows.tolist(), v, strict=True):
            kept = self._n_kept.get(window, 0)
            if kept < _KEPT_PER_WINDOW:
                self._n_kept[window] = kept + 1
                self._pool_v.append(row)
                self._pool_window.append(window)

    def add_free(self, v: Floats, least: float, windows: tuple[int, ...]) -> None:
        """Keep a row that holds whichever windows are given up."""
        self.free_rows.append(FreeRow(v, least, windows))

    @staticmethod
    def _unlike(v: Floats, order: NDArray[np.intp], most: int) -> list[int]:
        """The first few rows in an order that are not nearly multiples of one already taken."""
        taken: list[int] = []
        for i in order.tolist():
            norm = float(np.linalg.norm(v[i]))
            if all(float(v[i] @ v[j]) < 0.995 * norm * float(np.linalg.norm(v[j])) for j in taken):
                taken.append(i)
            if len(taken) == most:
                break
        return taken

    @staticmethod
    def _groups(v: Floats, reached: Floats, plant: Floats, size: int) -> list[NDArray[np.intp]]:
        """Sets of failing windows whose element-wise largest cut may still miss the point."""
        by_reach = np.argsort(reached, kind="stable")[:size]
        # grown one by one: always the window that lifts the element-wise maximum least at the point
        chosen = [int(by_reach[0])]
        top = v[chosen[0]].copy()
        free = np.ones(len(v), dtype=bool)
        free[chosen[0]] = False
        while len(chosen) < size:
            lifted = np.maximum(top, v) @ plant
            lifted[~free] = np.inf
            i = int(np.argmin(lifted))
            chosen.append(i)
            free[i] = False
            top = np.maximum(top, v[i])
        grown = np.asarray(chosen)
        return [by_reach] if set(chosen) == set(by_reach.tolist()) else [grown, by_reach]
