"""Every capacity that the batteries at hand can make, and what the cheapest of them cost."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.charging import Levels
from kitopt.engine.plan import Plan
from kitopt.engine.sides import Sides, more_of

Floats = NDArray[np.float64]
Places = NDArray[np.intp]

_MOST_SUMS = 20_000
_MOST_STEPS = 4_000
"""Numbers that are kept of what batteries cost at each capacity."""


class TooMany(Exception):
    """There are more sides than can be listed, or more capacities."""


class Banks:
    """What batteries can be packed together, by what sides leave of them.

    Attributes
    ----------
    columns : list of int
        The plan's columns of batteries.
    sums : ndarray, shape (n_sums,)
        Every capacity that they can make, in order. [Wh]
    levels : Levels
        Which of them sides rule out.

    Raises
    ------
    TooMany
    """

    def __init__(self, sides: Sides, plan: Plan) -> None:
        terms = sides.capacity_terms()
        self.columns, self._wh = [j for j, _ in terms], [wh for _, wh in terms]
        self._lower = [round(float(plan.lower[j])) for j in self.columns]
        self._upper = [round(float(plan.upper[j])) for j in self.columns]
        sums = np.zeros(1)
        for wh, upper in zip(self._wh, self._upper, strict=True):
            sums = np.unique(np.concatenate([sums, more_of(sums, wh, upper)]))
            if len(sums) > _MOST_SUMS:
                raise TooMany
        self.sums = sums
        self._before = [_before(sums, wh) for wh in self._wh]
        levels = self.levels = Levels(sides.case.charging, sides.needs)
        own = {int(j): at for at, j in enumerate(sides.case.in_plan().tolist())}
        self._until = [levels.from_which(own[j]) for j in self.columns]
        n_steps = min(len(sums), max(2, _MOST_STEPS // levels.n))
        self._steps = np.unique(np.linspace(0, len(sums) - 1, n_steps).astype(np.intp))
        made = np.where(np.isfinite(self._by_level([0.0] * len(terms))), sums, np.inf)
        following = np.minimum.accumulate(made[:, ::-1], axis=1)[:, ::-1]
        self._next_wh = np.append(following, np.full((levels.n, 1), np.inf), axis=1)

    @property
    def shape(self) -> tuple[int, int]:
        """Of what ``least`` gives: levels, and capacities that are told apart."""
        return self.levels.n, len(self._steps)

    def made(self, needs: Floats, level: Places) -> Floats:
        """The next capacity that can be made at a level; infinite where none can. [Wh]"""
        return np.asarray(self._next_wh[level, np.searchsorted(self.sums, needs - 1e-6)])

    def step(self, needs: Floats) -> Places:
        """Which of the capacities that are told apart is the last that is no more than what some needs make."""
        at = np.minimum(np.searchsorted(self.sums, needs - 1e-6), len(self.sums) - 1)
        return np.searchsorted(self._steps, at, side="right") - 1

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
        return np.asarray(np.maximum(least, by_wh * self.sums)[:, self._steps])

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


def _before(sums: Floats, wh: float) -> Places:
    """Where what is one battery less than each sum stands among them; past their end where there is no such."""
    at = np.minimum(np.searchsorted(sums, sums - wh - 1e-6), len(sums) - 1)
    return np.where(np.abs(sums[at] - (sums - wh)) < 1e-6, at, len(sums))
