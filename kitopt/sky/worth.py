"""What each panel is worth in each window, over its mean: nobody knows a panel's real output to the watt."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Panel
from kitopt.inventory.spreads import COMMON_SHARE
from kitopt.sky.draws import of_mean_one, worth_levels


@dataclass(frozen=True, eq=False)
class Numbered:
    """The windows of a sky by number, from which whatever is not weather is drawn.

    Attributes
    ----------
    numbers : ndarray of int, shape (n_windows,)
        A window keeps its number whatever else is asked for.
    """

    seed: int
    numbers: NDArray[np.int64]
    _levels: dict[str, NDArray[np.float64]] = field(default_factory=dict, init=False, repr=False)

    def only(self, windows: NDArray[np.intp]) -> Numbered:
        """Some of the windows, by place."""
        return Numbered(self.seed, self.numbers[windows])

    def worth_shares(self, panel: Panel) -> NDArray[np.float64] | None:
        """What a panel is worth in each window over its mean, shape (n_windows,); None where that is certain.

        Lognormal with mean one. Each panel has a stream of its own by its id, and all of an owner's have one in
        common.
        """
        if panel.worth_spread <= 0.0:
            return None
        own, common = (self._level(name) for name in (panel.id, ""))
        level = np.sqrt(1.0 - COMMON_SHARE) * own + np.sqrt(COMMON_SHARE) * common
        return of_mean_one(level, panel.worth_spread)

    def _level(self, name: str) -> NDArray[np.float64]:
        # asked for again with every class of batteries
        if name not in self._levels:
            self._levels[name] = worth_levels(self.seed, self.numbers, name)
        return self._levels[name]


def together(parts: Sequence[Numbered | None]) -> Numbered | None:
    """Windows of several parts of one sky; None where any has no numbers."""
    known = [one for one in parts if one is not None]
    if not known or len(known) < len(parts):
        return None
    return Numbered(known[0].seed, np.concatenate([one.numbers for one in known]))
