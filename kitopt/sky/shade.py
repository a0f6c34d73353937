"""What stands in the sun's way: a local horizon, and hours of shade."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.terms import Span
from kitopt.sky.sun import Sun

Array = NDArray[np.float64]


def horizon_deg(azimuth_deg: Array, horizon: Sequence[tuple[float, float]]) -> Array:
    """Height of the local horizon, linear between the points given, all the way round. [deg]

    Parameters
    ----------
    horizon : sequence of (azimuth, height)
        Degrees clockwise from true north, and degrees above the level; empty means an open horizon.
    """
    if not horizon:
        return np.full(np.shape(azimuth_deg), -90.0)
    points = sorted((azimuth % 360.0, height) for azimuth, height in horizon)
    azimuths, heights = (np.array(side, dtype=np.float64) for side in zip(*points, strict=True))
    return np.interp(np.asarray(azimuth_deg) % 360.0, azimuths, heights, period=360.0)


def shaded_share(local_hours: Array, step_h: float, spans: Sequence[Span]) -> Array:
    """Share of each step that lies in hours of shade.

    Parameters
    ----------
    local_hours : ndarray, shape (n_steps,)
        Wall clock in the middle of each step, hours after midnight.
    """
    start_min = (local_hours - step_h / 2) * 60.0
    shaded_min = np.zeros_like(local_hours)
    for span in spans:
        length_min = (span.end_min - span.start_min) % 1440 or (1440 if span.end_min != span.start_min else 0)
        for day in (-1440, 0, 1440):
            begin = span.start_min + day
            overlap = np.minimum(start_min + step_h * 60, begin + length_min) - np.maximum(start_min, begin)
            shaded_min += np.maximum(overlap, 0.0)
    return np.minimum(shaded_min / (step_h * 60.0), 1.0)


def beam_share(sun: Sun, horizon: Sequence[tuple[float, float]], shaded: Array) -> Array:
    """Share of the beam that reaches the panels. Diffuse light is not cut.

    Parameters
    ----------
    shaded : ndarray, shape (n_steps,)
        Share of each step in the shade.

    Returns
    -------
    ndarray, shape of the sun's
    """
    clear_of_hills = 90.0 - sun.zenith_deg >= horizon_deg(sun.azimuth_deg, horizon)
    return np.where(clear_of_hills, 1.0 - shaded, 0.0)
