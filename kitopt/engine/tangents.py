"""What panels need at the least by what is known elsewhere: need is convex in power, so its tangents are below it."""

from __future__ import annotations

from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

Counts = NDArray[np.int64]
Floats = NDArray[np.float64]
_ALL = slice(None)


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
