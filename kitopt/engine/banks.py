"""Every capacity that the batteries at hand can make, and what the cheapest of them cost."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.charging import Levels
from kitopt.engine.plan import Plan
from kitopt.engine.sides import MOST_SUMS, Sides, more_of

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_MOST_STEPS = 4_000
"""Numbers that are kept of what batteries cost at each capacity."""


class Banks:
    """What batteries can be packed together, by what sides leave of them.

    Attributes
    ----------
    columns : list of int
        The plan's columns of batteries.
    sums : ndarray, shape (n_sums,)
        Every capacity that they can make, in order. Where these are too many, steps that each battery is rounded up to:
        what is told then is a little less than what is true. [Wh]
    most_wh : float
        All of them together. [Wh]
    levels : Levels
        Which of them sides rule out.
    """

    def __init__(self, sides: Sides, plan: Plan) -> None:
        terms = sides.capacity_terms()
        self.columns, self._wh = [j for j, _ in terms], [wh for _, wh in terms]
        self._lower = [round(float(plan.lower[j])) for j in self.columns]
        self._upper = [round(float(plan.upper[j])) for j in self.columns]
        made = self._made()
        self._step_wh = 0.0
        if made is not None:
            self.most_wh = float(made[-1])
        else:
            self.most_wh = sum(wh * upper for wh, upper in zip(self._wh, self._upper, strict=True))
            # what no panel helps needs most, but for what controllers draw; beyond the last step nothing is told apart
            dark_wh = 2.0 * sides.need_wh(np.zeros(sides.n_classes, dtype=np.int64))
            made = np.linspace(0.0, min(self.most_wh, max(1.0, dark_wh)), _MOST_STEPS)
            self._step_wh = float(made[1])
        sums = self.sums = made
        self._before = [_before(sums, wh, self._step_wh) for wh in self._wh]
        levels = self.levels = Levels(sides.case.charging, sides.needs)
        own = {int(j): at for at, j in enumerate(sides.case.in_plan().tolist())}
        self._until = [levels.from_which(own[j]) for j in self.columns]
        n_steps = min(len(sums), max(2, _MOST_STEPS // levels.n))
        self._steps = np.unique(np.linspace(0, len(sums) - 1, n_steps).astype(np.intp))
        there = np.where(np.isfinite(self._by_level([0.0] * len(terms))), sums, np.inf)
        following = np.minimum.accumulate(there[:, ::-1], axis=1)[:, ::-1]
        self._next_wh = np.append(following, np.full((levels.n, 1), np.inf), axis=1)

    def _made(self) -> Floats | None:
        """Every capacity that can be made; None where there are too many."""
        sums = np.zeros(1)
        for wh, upper in zip(self._wh, self._upper, strict=True):
            sums = np.unique(np.concatenate([sums, more_of(sums, wh, upper)]))
            if len(sums) > MOST_SUMS:
                return None
        return sums

    @property
    def shape(self) -> tuple[int, int]:
        """Of what ``least`` gives: levels, and capacities that are told apart."""
        return self.levels.n, len(self._steps)

    def made(self, needs: Floats, level: Places) -> Floats:
        """The next capacity that can be made at a level; infinite where none can. [Wh]"""
        if not self._step_wh:
            return np.asarray(self._next_wh[level, np.searchsorted(self.sums, needs - 1e-6)])
        is_made = np.isfinite(self._next_wh[level, self._at(needs)]) & (needs <= self.most_wh + 1e-6)
        return np.where(is_made, needs, np.inf)

    def step(self, needs: Floats) -> Places:
        """Which of the capacities that are told apart is the last that is no more than what some needs make."""
        return np.searchsorted(self._steps, self._at(needs), side="right") - 1

    def _at(self, needs: Floats) -> Places:
        return np.minimum(np.searchsorted(self.sums, needs - 1e-6), len(self.sums) - 1)

    def least(self, costs: Floats, by_wh: float) -> Floats:
        """What the cheapest batteries add to a price by level and capacity, shape (n_levels, n_steps).

        Parameters
        ----------
        costs : ndarray
            Of each battery with what its capacity is worth by the price taken off.
        """
        each = [cost + by_wh * wh for cost, wh in zip(costs.tolist(), self._wh, strict=True)]
        # the price has in it what the linear program took of each
        taken = sum(min(c * low, c * up) for c, low, up in zip(costs.tolist(), self._lower, self._upper, strict=True))
        least = np.minimum.accumulate(self._by_level(each)[:, ::-1], axis=1)[:, ::-1] - taken
        return np.asarray(np.maximum(least, by_wh * np.maximum(0.0, self.sums - self._step_wh))[:, self._steps])

    def _by_level(self, each: list[float]) -> Floats:
        """The least cost of batteries of just each capacity, by level; infinite where there are none."""
        found = np.full((self.levels.n, len(self.sums)), np.inf)
        least = np.where(np.arange(len(self.sums)) == 0, 0.0, np.inf)
        order = sorted(range(len(each)), key=lambda b: -self._until[b])
        for level in reversed(range(self.levels.n)):
            while order and self._until[order[0]] > level:
                least = self._with(least, order[0], each[order.pop(0)])
            if not any(self._lower[b] for b in order):
                found[level] = least
        return found

    def _with(self, least: Floats, b: int, cost: float) -> Floats:
        layer, best = least, least if self._lower[b] == 0 else np.full(len(least), np.inf)
        for n in range(1, self._upper[b] + 1):
            layer = np.append(layer, np.inf)[self._before[b]] + cost
            if n >= self._lower[b]:
                best = np.minimum(best, layer)
        return best


def _before(sums: Floats, wh: float, step_wh: float) -> Places:
    """Where what is one battery less than each sum stands among them; past their end where there is no such.

    Where the sums are steps, a battery is as many of these as reach it, and more than is asked for will do.
    """
    if step_wh:
        return np.maximum(0, np.arange(len(sums)) - math.ceil(wh / step_wh - 1e-9))
    at = np.minimum(np.searchsorted(sums, sums - wh - 1e-6), len(sums) - 1)
    return np.where(np.abs(sums[at] - (sums - wh)) < 1e-6, at, len(sums))
