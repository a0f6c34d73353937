"""Luck: how bright each day of each window is among its like, with bright and dark days in spells."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.calendar import N_DAYS

PERSISTENCE = 0.29
"""Correlation of one day's Gaussianised clearness with the next day's."""

_MEMORY_DAYS = 40
"""0.29 to this power is far below rounding."""


def day_ranks(seed: int, windows: NDArray[np.int64], days: NDArray[np.int64]) -> NDArray[np.float64]:
    """Rank of each day among its like, uniform on (0, 1), from darkest to brightest.

    Every window has a stream of its own, keyed by seed and window number, with one draw for each of 366 calendar
    days. So a window's weather stays what it is when hours, loads or the number of windows change. Neighbouring days
    are correlated by a first-order autoregression of Gaussian values, written as a sum over the days before, which
    closes the year into a ring. Only raw bits are taken from the generator: their sequence is fixed for good.

    Parameters
    ----------
    windows : ndarray, shape (n_windows,)
        Window numbers.
    days : ndarray, shape (n_days,)
        Days of the year, 0 to 365.

    Returns
    -------
    ndarray, shape (n_windows, n_days)

    References
    ----------
    .. [1] V. A. Graham, K. G. T. Hollands and T. E. Unny, "A time series model for K_t with application to global
       synthetic weather generation," Solar Energy, vol. 40, no. 2, 1988.
    """
    from scipy.special import ndtr, ndtri

    raw = np.empty((len(windows), N_DAYS), dtype=np.uint64)
    for row, window in enumerate(windows):
        key = np.array([seed % 2**64, int(window) % 2**64], dtype=np.uint64)
        raw[row] = np.random.Philox(key=key).random_raw(N_DAYS)
    back = (days[:, None] - np.arange(_MEMORY_DAYS)[None, :]) % N_DAYS
    needed, where = np.unique(back, return_inverse=True)
    # the half keeps the draw off 0 and 1, where the Gaussian is infinite
    uniform = ((raw[:, needed] >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
    shocks = ndtri(uniform)
    where = where.reshape(back.shape)
    level = np.zeros((len(windows), len(days)))
    # term by term: a matrix product may round differently for another number of windows
    for lag in range(_MEMORY_DAYS - 1, -1, -1):
        level = PERSISTENCE * level + shocks[:, where[:, lag]]
    return np.asarray(ndtr(np.sqrt(1.0 - PERSISTENCE**2) * level), dtype=np.float64)
