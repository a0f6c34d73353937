"""The operation's steps as moments: seconds of universal time, and what the local clock reads."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.clock import step_starts
from kitopt.operation.terms import Operation


@dataclass(frozen=True)
class Moments:
    """The steps of one operation.

    Attributes
    ----------
    middle_s : ndarray, shape (n_steps,)
        Middle of each step, seconds of universal time since 1970.
    local_days : tuple of date
        What the calendar on the site's wall shows in the middle of each step.
    local_hours : ndarray, shape (n_steps,)
        What the clock on the site's wall shows then, hours after midnight.
    """

    middle_s: NDArray[np.float64]
    local_days: tuple[date, ...]
    local_hours: NDArray[np.float64]


def moments_of(operation: Operation, earlier_h: float = 0.0) -> Moments:
    """Steps of an operation.

    Parameters
    ----------
    earlier_h : float
        Shifts every step this far back, which is how batteries look at the air. [h]
    """
    ahead_s = operation.need.step_h * 1800.0 - earlier_h * 3600.0
    middle_s = np.array([start.timestamp() + ahead_s for start in step_starts(operation)], dtype=np.float64)
    local = [datetime.fromtimestamp(second, UTC).astimezone(operation.site.timezone) for second in middle_s]
    hours = np.array([at.hour + at.minute / 60 + at.second / 3600 for at in local], dtype=np.float64)
    return Moments(middle_s, tuple(at.date() for at in local), hours)


def solar_days(at_s: NDArray[np.float64], longitude_deg: float) -> NDArray[np.int64]:
    """Mean solar day of each moment, counted from 1970-01-01.

    A day here runs from solar midnight to solar midnight, whatever the zone: one whole piece of daylight.

    Parameters
    ----------
    at_s : ndarray
        Seconds of universal time since 1970.

    Returns
    -------
    ndarray
        Same shape, whole days.
    """
    return np.floor((at_s + longitude_deg * 240.0) / 86400.0).astype(np.int64)
