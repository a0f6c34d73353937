"""On and off by the minute, at a given share of a longer step: clouds before the sun, a key going down."""

from __future__ import annotations

from typing import Any

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def ranks(n_steps: int, n_minutes: int, rng: np.random.Generator) -> NDArray[np.intp]:
    """In which order the minutes of each step go on; neighbours tend to go together, for about three minutes.

    Returns
    -------
    ndarray of int, shape (n_steps, n_minutes)
        A permutation of 0 to n_minutes - 1 in each row.
    """
    luck = rng.random((n_steps, n_minutes + 2))
    smooth = luck[:, :-2] + luck[:, 1:-1] + luck[:, 2:]
    return np.argsort(np.argsort(smooth, axis=1), axis=1)


def on_share(share: NDArray[Any], rank: NDArray[np.intp], n_minutes: int) -> Floats:
    """Share of each minute that is on; over the step its mean is exactly `share`, both broadcast together. [0–1]"""
    return np.clip(share * n_minutes - rank, 0.0, 1.0)
