"""Luck: how bright each day of each window is among its like, in spells, and what a window draws once for all."""

from __future__ import annotations

from collections.abc import Callable
from functools import lru_cache, wraps
from hashlib import sha256
from statistics import NormalDist

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.calendar import N_DAYS

PERSISTENCE = 0.33
"""Correlation of one day's Gaussianised clearness with the next day's: the mean of ten measured places (0.23 to 0.48);
Graham, Hollands and Unny (1988) give about 0.29."""

_BLOCK = 1024
"""Windows whose values of a stream by name are drawn at once."""

_MEMORY_DAYS = 40
"""0.33 to this power is far below rounding."""

_REMEMBERED = 128
"""Draws that are kept, of some hundred kilobytes each: no luck depends on the place, so many places share it."""

_DAYS, _PLACE, _AIR, _FORECAST, _WORTH = range(5)
"""Streams of one window, apart by the generator's counter: none moves when another is drawn from."""


Floats = NDArray[np.float64]
Draw = Callable[[int, NDArray[np.int64], NDArray[np.int64]], Floats]


def _remembered(draw: Draw) -> Draw:
    """The same draw, made once for the same windows, and read-only."""

    @lru_cache(maxsize=_REMEMBERED)
    def made(seed: int, windows: bytes, which: bytes) -> Floats:
        found = draw(seed, np.frombuffer(windows, np.int64), np.frombuffer(which, np.int64))
        found.flags.writeable = False
        return found

    @wraps(draw)
    def draws(seed: int, windows: NDArray[np.int64], which: NDArray[np.int64]) -> Floats:
        return made(seed, np.asarray(windows, np.int64).tobytes(), np.asarray(which, np.int64).tobytes())

    return draws


def _raw(seed: int, windows: NDArray[np.int64], stream: int, n: int) -> NDArray[np.uint64]:
    """Raw bits of each window's stream, shape (n_windows, n)."""
    counter = np.array([0, 0, 0, stream], dtype=np.uint64)
    raw = np.empty((len(windows), n), dtype=np.uint64)
    for row, window in enumerate(windows):
        key = np.array([seed % 2**64, int(window) % 2**64], dtype=np.uint64)
        raw[row] = np.random.Philox(key=key, counter=counter).random_raw(n)
    return raw


def _gaussian(raw: NDArray[np.uint64]) -> NDArray[np.float64]:
    """Standard Gaussian values from raw bits."""
    # the half keeps the draw off 0 and 1, where the Gaussian is infinite
    uniform = ((raw >> np.uint64(11)).astype(np.float64) + 0.5) * 2.0**-53
    # one by one, but with nothing to import, where a repeated command draws no more than what panels are worth
    found = np.fromiter(map(NormalDist().inv_cdf, uniform.ravel().tolist()), np.float64, uniform.size)
    return found.reshape(uniform.shape)


@_remembered
def _levels(seed: int, windows: NDArray[np.int64], which: NDArray[np.int64]) -> Floats:
    """Gaussian values of a stream, shape (n_windows, n): `which` holds its number and n."""
    stream, n = which.tolist()
    return _gaussian(_raw(seed, windows, stream, n))


def of_mean_one(level: NDArray[np.float64], spread: NDArray[np.float64] | float) -> NDArray[np.float64]:
    """Lognormal factors with mean one."""
    return np.asarray(np.exp(spread * level - np.square(spread) / 2.0), dtype=np.float64)


def place_factors(seed: int, windows: NDArray[np.int64], spread: float) -> NDArray[np.float64]:
    """How much clearer than the climate each window's place may be: lognormal with mean one, one draw a window.

    Parameters
    ----------
    spread : float
        Standard deviation of the factor's logarithm.

    Returns
    -------
    ndarray, shape (n_windows, 1)
    """
    return of_mean_one(_levels(seed, windows, np.array([_PLACE, 1])), spread)


def air_shifts_degc(seed: int, windows: NDArray[np.int64], spread_degc: float) -> NDArray[np.float64]:
    """How much warmer than usual each window is, shape (n_windows, 1). [°C]"""
    return spread_degc * _levels(seed, windows, np.array([_AIR, 1]))


def forecast_factors(seed: int, windows: NDArray[np.int64], spreads: NDArray[np.float64]) -> NDArray[np.float64]:
    """What comes of each day of a forecast, over what was said: lognormal with mean one, shape (n_windows, n_days).

    Parameters
    ----------
    spreads : ndarray, shape (n_days,)
        Standard deviation of each day's logarithm. A longer forecast leaves the first days as they were.
    """
    return of_mean_one(_levels(seed, windows, np.array([_FORECAST, len(spreads)])), spreads)


def worth_levels(seed: int, windows: NDArray[np.int64], name: str) -> NDArray[np.float64]:
    """A standard Gaussian value of each window, of a stream that a name has for itself, shape (n_windows,).

    One generator a name, entered at the window's number: a window keeps its value whichever others are asked for.
    """
    key = np.array([seed % 2**64, int.from_bytes(sha256(name.encode()).digest()[:8], "big")], dtype=np.uint64)
    levels = np.empty(len(windows))
    blocks = windows // _BLOCK
    for block in np.unique(blocks):
        # each step of the counter gives four values
        counter = np.array([int(block) * _BLOCK // 4 % 2**64, 0, 0, _WORTH], dtype=np.uint64)
        raw = np.random.Philox(key=key, counter=counter).random_raw(_BLOCK)
        mine = blocks == block
        levels[mine] = _gaussian(raw[windows[mine] % _BLOCK])
    return levels


@_remembered
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
    from scipy.special import ndtr

    raw = _raw(seed, windows, _DAYS, N_DAYS)
    back = (days[:, None] - np.arange(_MEMORY_DAYS)[None, :]) % N_DAYS
    needed, where = np.unique(back, return_inverse=True)
    shocks = _gaussian(raw[:, needed])
    where = where.reshape(back.shape)
    level = np.zeros((len(windows), len(days)))
    # term by term: a matrix product may round differently for another number of windows
    for lag in range(_MEMORY_DAYS - 1, -1, -1):
        level = PERSISTENCE * level + shocks[:, where[:, lag]]
    return np.asarray(ndtr(np.sqrt(1.0 - PERSISTENCE**2) * level), dtype=np.float64)
