"""Days of the year, each with its own number: the 29th of February keeps one even when it is skipped."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

N_DAYS = 366

_LONG_YEAR = np.datetime64("2000-01-01")
_MONTH_LENGTHS = np.array([31, 29, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31])

MONTH_STARTS = np.concatenate([[0], np.cumsum(_MONTH_LENGTHS)])
"""First day of each month, counted from 0, and the end of the year."""

MONTH_MIDDLES = (MONTH_STARTS[:-1] + MONTH_STARTS[1:] - 1) / 2.0
"""Middle day of each month, counted from 0."""


def day_numbers(days: NDArray[np.int64]) -> NDArray[np.int64]:
    """Number of each day in a year of 366, from 0: the same for a date in every year.

    Parameters
    ----------
    days : ndarray
        Days since 1970-01-01.
    """
    dates = days.astype("datetime64[D]")
    months = dates.astype("datetime64[M]")
    of_month = (dates - months).astype(np.int64)
    return np.asarray(MONTH_STARTS[months.astype(np.int64) % 12] + of_month, dtype=np.int64)


def days_of_year(days: NDArray[np.int64]) -> NDArray[np.int64]:
    """Day of its own year, from 1, which is what the sun goes by.

    Parameters
    ----------
    days : ndarray
        Days since 1970-01-01.
    """
    dates = days.astype("datetime64[D]")
    return np.asarray((dates - dates.astype("datetime64[Y]")).astype(np.int64) + 1, dtype=np.int64)
