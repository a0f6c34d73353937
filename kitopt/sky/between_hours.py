"""From a record's intervals to an operation's steps, without gain or loss of energy."""

from __future__ import annotations

from math import gcd

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.clear_sky import ClearSky, clear_sky
from kitopt.sky.record import Record
from kitopt.sky.split import LOWEST_SUN_DEG
from kitopt.sky.sun import Sun, sun_at

Array = NDArray[np.float64]

_COARSEST_S = 1800
_FINEST_S = 300


def n_parts(interval_s: int, step_s: float, offset_s: float) -> int:
    """Into how many parts an interval is cut so that steps begin and end at a cut where that is possible."""
    shared = gcd(gcd(interval_s, round(step_s)), round(offset_s))
    part_s = min(max(shared, _FINEST_S), _COARSEST_S)
    while interval_s % part_s and part_s > 60:
        part_s -= 60
    return max(1, interval_s // part_s)


def light_over_steps(
    record: Record, first: NDArray[np.int64], offset_s: float, step_s: float, n_steps: int
) -> tuple[Array, Array]:
    """Beam and diffuse light over the steps of windows.

    Within an interval the light follows the clear sky; the interval's mean stays what the record says, for the beam
    facing the sun and for the diffuse light alike. Beam is kept out of those parts in which the sun stands lower
    than 3°, unless it does so throughout.

    Parameters
    ----------
    first : ndarray, shape (n_windows,)
        Interval in which each window starts.
    offset_s : float
        How far into that interval it starts. [s]

    Returns
    -------
    dni_wm2, dhi_wm2 : ndarray, shape (n_windows, n_steps)
    """
    parts = n_parts(record.interval_s, step_s, offset_s)
    part_s = record.interval_s / parts
    n_touched = int(np.ceil((offset_s + n_steps * step_s) / record.interval_s - 1e-9))
    touched = first[:, None] + np.arange(n_touched)[None, :]
    needed, where = np.unique(touched, return_inverse=True)
    where = where.reshape(touched.shape)
    sources = needed % record.n_intervals
    at_s = record.start_s + sources[:, None] * float(record.interval_s) + (np.arange(parts) + 0.5) * part_s
    place = record.place
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(at_s, place, sun)
    dni = record.dni_wm2[sources][:, None] * _shape(clear.dni_wm2, sun, LOWEST_SUN_DEG)
    dhi = record.dhi_wm2[sources][:, None] * _shape(clear.dhi_wm2, sun, 90.0)
    edges = np.asarray((offset_s + np.arange(n_steps + 1) * step_s) / part_s, dtype=np.float64)
    over = (len(first), -1)
    return mean_between(dni[where].reshape(over), edges), mean_between(dhi[where].reshape(over), edges)


def _shape(clear_wm2: Array, sun: Sun, lowest_deg: float) -> Array:
    """Course of the light through the parts of each interval, mean 1."""
    course = np.where(sun.zenith_deg < lowest_deg, clear_wm2, 0.0)
    # too little to give a course: wherever the sun is up, and failing that, evenly
    faint = course.mean(axis=1, keepdims=True) < 1.0
    course = np.where(faint, np.maximum(90.0 - sun.zenith_deg, 0.0), course)
    mean = course.mean(axis=1, keepdims=True)
    return np.asarray(np.divide(course, mean, out=np.ones_like(course), where=mean > 0), dtype=np.float64)


def mean_between(values: Array, edges: Array) -> Array:
    """Means of a staircase between edges.

    Parameters
    ----------
    values : ndarray, shape (n_rows, n_parts)
    edges : ndarray, shape (n_steps + 1,)
        Rising, counted in parts from the first one's beginning.

    Returns
    -------
    ndarray, shape (n_rows, n_steps)
    """
    total = np.concatenate([np.zeros((len(values), 1)), np.cumsum(values, axis=1)], axis=1)
    whole = np.minimum(np.floor(edges + 1e-9).astype(np.int64), values.shape[1])
    rest = np.maximum(edges - whole, 0.0)
    beyond = np.minimum(whole, values.shape[1] - 1)
    reached = total[:, whole] + rest * values[:, beyond]
    return np.asarray(np.maximum(np.diff(reached, axis=1), 0.0) / np.diff(edges))


def value_at(record: Record, values: Array, first: NDArray[np.int64], seconds: Array) -> Array:
    """Air or wind at moments of windows, straight between readings.

    Parameters
    ----------
    seconds : ndarray, shape (n_moments,)
        After the start of the window's first interval; may be negative. A typical year goes round; elsewhere the
        first and last reading stand in for what lies beyond.

    Returns
    -------
    ndarray, shape (n_windows, n_moments)
    """
    position = (seconds - record.air_lag_s) / record.interval_s
    low = np.floor(position)
    weight = position - low
    index = first[:, None] + low.astype(np.int64)[None, :]

    def pick(number: NDArray[np.int64]) -> Array:
        if record.is_typical:
            return values[number % record.n_intervals]
        return values[np.clip(number, 0, record.n_intervals - 1)]

    return np.asarray((1.0 - weight) * pick(index) + weight * pick(index + 1))


def sky_over_steps(record: Record, at_s: Array) -> tuple[Sun, ClearSky]:
    """Sun and clear sky of the record's place at moments of any shape."""
    place = record.place
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    return sun, clear_sky(at_s, place, sun)
