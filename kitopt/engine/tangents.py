"""What panels need at the least by what is known elsewhere: need is convex in power, so its tangents are below it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]
_ALL = slice(None)
_MOST_AT_ONCE = 500_000
"""Numbers that are in hand at a time."""


@dataclass(frozen=True, eq=False)
class Tangent:
    """What panels need at least, window by window: ``need[k] >= least[k] - saved[k] @ of``. [Wh]

    Attributes
    ----------
    least : ndarray, shape (n_windows,)
    saved : ndarray, shape (n_windows, n)
        By what it is told in: sets of panels, each kind by its number, or the plants of sides.
    hardest : ndarray of int, shape (n_allowed + 1,)
        The windows that need most where it touches.
    """

    least: Floats
    saved: Floats
    hardest: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def where(self, at: Counts | Floats, n_allowed: int) -> Tangent:
        """The same with the windows that are hardest where it touches, so many of which may fail."""
        hardest = np.argsort(-(self.least - self.saved @ at), kind="stable")[: n_allowed + 1]
        return replace(self, hardest=hardest)

    @cached_property
    def _of_hardest(self) -> tuple[Floats, Floats]:
        return self.least[self.hardest], np.ascontiguousarray(self.saved[self.hardest].T)

    @cached_property
    def _of_told(self) -> tuple[Floats, Floats]:
        """Of the windows of which anything is told; of the others it is that nothing needs less than nothing."""
        told = np.flatnonzero(np.any(self.saved, axis=1) | (self.least != 0.0))
        return self.least[told], np.ascontiguousarray(self.saved[told].T)

    def need_wh(self, sets: Counts | Floats, n_allowed: int) -> Floats:
        """What sets need at least where so many windows may fail, shape (n_sets,). [Wh]"""
        least, saved = self._of_told
        n_others = len(self.least) - len(least)
        if min(n_others, len(least)) <= n_allowed:
            least, saved, n_others = self.least, self.saved.T, 0
        found, block, place = np.empty(len(sets)), max(1, _MOST_AT_ONCE // len(least)), len(least) - 1 - n_allowed
        for i in range(0, len(sets), block):
            found[i : i + block] = np.partition(least - sets[i : i + block] @ saved, place, axis=1)[:, place]
        return np.maximum(found, 0.0) if n_others else found

    @cached_property
    def most_saved(self) -> Floats:
        """What a panel of each kind saves in any of the hardest windows at most, shape (n_kinds,). [Wh]"""
        return np.asarray(np.max(self._of_hardest[1], axis=1))

    def hardest_need_wh(self, sets: Counts | Floats, places: NDArray[np.intp] | slice = _ALL) -> Floats:
        """What sets need at least, since one of the hardest windows must be survived, shape (n_sets,). [Wh]

        Parameters
        ----------
        places : ndarray of int
            In which of what it is told in they are given; they have nothing of the others.
        """
        least, saved = self._of_hardest
        return np.asarray(np.min(least - sets @ saved[places], axis=1))
