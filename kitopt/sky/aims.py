"""How panels that tilt are aimed: step by step, or once and for all."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.terms import Aim
from kitopt.sky.light import Light
from kitopt.sky.plane import plane_wm2
from kitopt.sky.sun import Sun, sun_at

Array = NDArray[np.float64]

_TILTS_DEG = np.arange(0.0, 91.0, 5.0)
_AZIMUTHS_DEG = np.arange(0.0, 360.0, 15.0)


@dataclass(frozen=True)
class Aimed:
    """Tilt and azimuth of the panels, broadcastable to (n_windows, n_steps), and the same in words."""

    tilt_deg: Array | float
    azimuth_deg: Array | float
    text: str


def fixed_text(tilt_deg: float, azimuth_deg: float, how: str = "") -> str:
    """A fixed aim in words."""
    return f"fixed at a tilt of {tilt_deg:g}° facing {azimuth_deg:g}° from true north{how}"


def follow_sun(sun: Sun, step_h: float, every_h: float, n_steps: int) -> Aimed:
    """Panels turned to the sun every few hours, counted from the start.

    Each time they are set to where the sun will be in the middle of the block, or in the middle of that part of it
    in which the sun is up. A block that is dark throughout waits for the next sunrise.

    Parameters
    ----------
    sun : Sun
        Arrays of shape (n_rows, n_ahead), from the start on to beyond the last block, so that the aim does not
        depend on where the operation ends.
    n_steps : int
        Steps for which aims are wanted.
    """
    n_rows, n_ahead = sun.zenith_deg.shape
    # a step belongs to the block in which it begins; the allowance is for sums of binary fractions
    block = np.floor(np.arange(n_ahead) * step_h / every_h + 1e-9).astype(np.int64)
    up = sun.zenith_deg < 90.0
    tilt = np.empty((n_rows, n_ahead))
    azimuth = np.empty((n_rows, n_ahead))
    rows = np.arange(n_rows)
    next_tilt, next_azimuth = np.zeros(n_rows), np.full(n_rows, 180.0)
    for number in range(int(block[-1]), -1, -1):
        steps = np.flatnonzero(block == number)
        lit = up[:, steps]
        n_lit = lit.sum(axis=1)
        # the middle step of the lit ones; with an even number, half way between the middle two
        order = np.cumsum(lit, axis=1)
        low = steps[np.argmax(order >= np.maximum((n_lit + 1) // 2, 1)[:, None], axis=1)]
        high = steps[np.argmax(order >= np.maximum(n_lit // 2 + 1, 1)[:, None], axis=1)]
        seen_tilt, seen_azimuth = _between(sun, rows, low, high)
        some = n_lit > 0
        tilt[:, steps] = np.where(some, seen_tilt, next_tilt)[:, None]
        azimuth[:, steps] = np.where(some, seen_azimuth, next_azimuth)[:, None]
        first_lit = steps[np.argmax(lit, axis=1)]
        next_tilt = np.where(some, np.minimum(sun.zenith_deg[rows, first_lit], 90.0), next_tilt)
        next_azimuth = np.where(some, sun.azimuth_deg[rows, first_lit], next_azimuth)
    return Aimed(tilt[:, :n_steps], azimuth[:, :n_steps], f"turned to the sun every {every_h:g} h")


def sun_ahead(light: Light, step_h: float, every_h: float) -> Sun:
    """Sun from the first step to a day beyond the last block, which finds the next sunrise."""
    n_steps = light.at_s.shape[1]
    n_more = int(np.ceil((every_h + 24.0) / step_h))
    further_s = light.at_s[:, -1:] + np.arange(1, n_more + 1) * step_h * 3600.0
    place = light.place
    more = sun_at(further_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    joined = (
        np.concatenate([near[:, :n_steps], far], axis=1)
        for near, far in (
            (light.sun.zenith_deg, more.zenith_deg),
            (light.sun.azimuth_deg, more.azimuth_deg),
            (light.sun.extra_wm2, more.extra_wm2),
        )
    )
    return Sun(*joined)


def _between(sun: Sun, rows: NDArray[np.int64], low: Array, high: Array) -> tuple[Array, Array]:
    """Direction half way between the sun at two steps, as tilt and azimuth."""
    east = north = height = np.zeros(len(rows))
    for step in (low, high):
        zenith = np.radians(sun.zenith_deg[rows, step])
        azimuth = np.radians(sun.azimuth_deg[rows, step])
        east = east + np.sin(zenith) * np.sin(azimuth)
        north = north + np.sin(zenith) * np.cos(azimuth)
        height = height + np.cos(zenith)
    tilt = np.degrees(np.arctan2(np.hypot(east, north), height))
    return np.clip(tilt, 0.0, 90.0), np.degrees(np.arctan2(east, north)) % 360.0


def best_fixed(light: Light, tilt_deg: float | None, azimuth_deg: float | None) -> tuple[float, float]:
    """Tilt and azimuth that gather most over the darkest third of the windows.

    Parameters
    ----------
    tilt_deg, azimuth_deg : float or None
        What the owner has settled; only the other is looked for.
    """
    flat_wm2 = plane_wm2(light, 0.0, 180.0)
    n_dark = max(1, -(-light.n_windows // 3))
    darkest = np.sort(np.argsort(flat_wm2.sum(axis=1), kind="stable")[:n_dark])
    lit = np.flatnonzero(flat_wm2[darkest].max(axis=0) > 0)
    dark = light.part(darkest, lit)
    default_azimuth = 180.0
    if lit.size == 0:
        return (0.0 if tilt_deg is None else tilt_deg, default_azimuth if azimuth_deg is None else azimuth_deg)
    tilts = _TILTS_DEG if tilt_deg is None else np.array([tilt_deg])
    azimuths = _AZIMUTHS_DEG if azimuth_deg is None else np.array([azimuth_deg])
    best = (-1.0, 0.0, default_azimuth)
    for tilt in tilts:
        for azimuth in azimuths:
            gathered = float(plane_wm2(dark, float(tilt), float(azimuth)).mean())
            # a hair's breadth of gain is noise: the smaller tilt, tried first, then keeps its place
            if gathered > best[0] * (1 + 1e-9):
                best = (gathered, float(tilt), float(azimuth))
            if tilt == 0.0:
                break
    return best[1], best[2]


def aim_panels(aim: Aim, light: Light, step_h: float, sample: Callable[[], Light]) -> Aimed:
    """Aims of the panels that tilt, as the operation says.

    Parameters
    ----------
    sample : callable
        Gives the windows from which a missing fixed aim is chosen; called only then.
    """
    if aim.mode == "flat":
        return Aimed(0.0, 180.0, "flat on the ground")
    if aim.mode == "re-aimed":
        return follow_sun(sun_ahead(light, step_h, aim.every_h), step_h, aim.every_h, light.at_s.shape[1])
    if aim.tilt_deg is not None and aim.azimuth_deg is not None:
        return Aimed(aim.tilt_deg, aim.azimuth_deg, fixed_text(aim.tilt_deg, aim.azimuth_deg))
    tilt, azimuth = best_fixed(sample(), aim.tilt_deg, aim.azimuth_deg)
    return Aimed(tilt, azimuth, fixed_text(tilt, azimuth, ", the best on the darkest third of days like these"))
