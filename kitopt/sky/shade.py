"""What stands in the sun's way: a local horizon, and hours of shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.clock import share_of_steps
from kitopt.operation.terms import Operation
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


def shaded_share(operation: Operation) -> Array:
    """Share of each step that lies in the site's hours of shade, shape (n_steps,)."""
    # no hours of shade is never in the shade; to the clock an empty list of spans means always
    if not operation.site.shade:
        return np.zeros(operation.n_steps)
    # the clock stops with the operation, the weather of a part-empty last step does not
    whole = replace(operation, hours=operation.n_steps * operation.need.step_h)
    return share_of_steps(whole, operation.site.shade)


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
