"""What stands between the panels and the sky: a local horizon, and hours of shade."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.clock import share_of_steps
from kitopt.operation.terms import Operation, Span
from kitopt.sky.sun import Sun

Array = NDArray[np.float64]
Horizon = tuple[tuple[float, float], ...]

_TILTS_DEG = np.arange(0.0, 91.0, 10.0)
_AZIMUTHS_DEG = np.arange(0.0, 361.0, 15.0)


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


def shaded_share(operation: Operation, spans: tuple[Span, ...]) -> Array:
    """Share of each step that lies in some hours, shape (n_steps,)."""
    # no hours of shade is never in the shade; to the clock an empty list of spans means always
    if not spans:
        return np.zeros(operation.n_steps)
    # the clock stops with the operation, the weather of a part-empty last step does not
    whole = replace(operation, hours=operation.n_steps * operation.need.step_h)
    return share_of_steps(whole, spans)


def passing(operation: Operation) -> tuple[Array, Array]:
    """Shares of the beam and of the sky's light that pass what shades the site, each of shape (n_steps,).

    Hours of like shade are joined; where unlike ones overlap, what passes the one meets the other.
    """
    beam, diffuse = np.ones(operation.n_steps), np.ones(operation.n_steps)
    for passes in sorted({(one.beam_share, one.diffuse_share) for one in operation.site.shade}):
        alike = [one for one in operation.site.shade if (one.beam_share, one.diffuse_share) == passes]
        shaded = shaded_share(operation, tuple(span for one in alike for span in one.spans))
        beam, diffuse = beam * (1.0 - (1.0 - passes[0]) * shaded), diffuse * (1.0 - (1.0 - passes[1]) * shaded)
    return beam, diffuse


def above_horizon(sun: Sun, horizon: Sequence[tuple[float, float]]) -> NDArray[np.bool_]:
    """Whether the sun stands above the local horizon, shape of the sun's."""
    return np.asarray(90.0 - sun.zenith_deg >= horizon_deg(sun.azimuth_deg, horizon))


@dataclass(frozen=True)
class OpenSky:
    """Share of an even sky's light on a tilted plane that a local horizon leaves, by tilt and azimuth.

    Attributes
    ----------
    shares : ndarray, shape (n_tilts, n_azimuths)
        On a grid of 10° by 15°; the last azimuth is the first again.
    """

    shares: Array

    def share(self, tilt_deg: Array | float, azimuth_deg: Array | float) -> Array:
        """Straight between the points of the grid, shape of the two together. [0–1]"""
        at_tilt = np.clip(np.asarray(tilt_deg) / _TILTS_DEG[1], 0.0, len(_TILTS_DEG) - 1.0)
        at_azimuth = np.asarray(azimuth_deg) % 360.0 / _AZIMUTHS_DEG[1]
        low_tilt = np.minimum(at_tilt.astype(np.int64), len(_TILTS_DEG) - 2)
        low_azimuth = np.minimum(at_azimuth.astype(np.int64), len(_AZIMUTHS_DEG) - 2)
        up, round_ = at_tilt - low_tilt, at_azimuth - low_azimuth
        low = (1.0 - round_) * self.shares[low_tilt, low_azimuth] + round_ * self.shares[low_tilt, low_azimuth + 1]
        high = (1.0 - round_) * self.shares[low_tilt + 1, low_azimuth]
        high = high + round_ * self.shares[low_tilt + 1, low_azimuth + 1]
        return np.asarray((1.0 - up) * low + up * high)


@lru_cache(maxsize=8)
def open_sky(horizon: Horizon) -> OpenSky:
    """Add up an even sky over the directions above a horizon, each by the cosine to the plane and its solid angle."""
    azimuth, height = np.meshgrid(np.arange(2.5, 360.0, 5.0), np.arange(0.5, 90.0, 1.0))
    seen = height > np.maximum(horizon_deg(azimuth, horizon), 0.0)
    azimuth_rad, height_rad = np.radians(azimuth), np.radians(height)
    flat = np.cos(height_rad)
    towards = np.stack([flat * np.sin(azimuth_rad), flat * np.cos(azimuth_rad), np.sin(height_rad)]).reshape(3, -1)
    solid = flat.ravel()
    shares = np.empty((len(_TILTS_DEG), len(_AZIMUTHS_DEG)))
    for i, tilt in enumerate(np.radians(_TILTS_DEG)):
        for j, facing in enumerate(np.radians(_AZIMUTHS_DEG)):
            normal = np.array([np.sin(tilt) * np.sin(facing), np.sin(tilt) * np.cos(facing), np.cos(tilt)])
            light = np.maximum(normal @ towards, 0.0) * solid
            shares[i, j] = light[seen.ravel()].sum() / light.sum()
    return OpenSky(shares)
