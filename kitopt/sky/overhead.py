"""The sky over a place at some moments, as somebody who stands under it would call it."""

from __future__ import annotations

from dataclasses import fields
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.files.kept import Kept, kept
from kitopt.sky.clear_sky import ClearSky, Place, clear_sky
from kitopt.sky.light import Light
from kitopt.sky.shade import Horizon, above_horizon
from kitopt.sky.sun import Sun, sun_at

Array = NDArray[np.float64]
Overhead = Literal["clear", "hazy", "overcast"]

BEAM_AND_DIFFUSE: dict[str, tuple[float, float]] = {"clear": (1.0, 1.0), "hazy": (0.6, 1.4)}
"""Beam and diffuse light over those of the clear sky. Common practice, no source."""
OVERCAST_SHARE = 0.22
"""Light on the flat under a closed cover over that of the clear sky, all of it diffuse. Common practice, no source."""
DIFFUSE_OF_CLEAR = 0.2
"""Of a clear day's light on the flat, what does not come from the sun itself. Common practice, no source."""
SKIES: tuple[Overhead, ...] = ("clear", "hazy", "overcast")

HEADROOM = 1.3
"""A field's clear sky may be brighter than the climate's by this."""


def day_share(sky: Overhead) -> float:
    """What a sky that is named leaves of a clear day's light on the flat, as a forecast would say it."""
    if sky == "overcast":
        return OVERCAST_SHARE
    beam, diffuse = BEAM_AND_DIFFUSE[sky]
    return beam * (1.0 - DIFFUSE_OF_CLEAR) + diffuse * DIFFUSE_OF_CLEAR


def overhead(place: Place, at_s: Array, sky: Overhead = "clear", horizon: Horizon = ()) -> Light:
    """Light at some moments under a sky that is named.

    Parameters
    ----------
    at_s : ndarray, shape (n,)
        Seconds of universal time since 1970.
    horizon : tuple of (azimuth, height)
        What hides the sun itself. [deg]

    Returns
    -------
    Light
        Of one window and n steps.
    """
    at_s = np.asarray(at_s, dtype=np.float64)[None, :]

    def make() -> Kept:
        sun = sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
        return Kept({**vars(sun), **vars(clear_sky(at_s, place, sun))})

    made = kept(f"overhead {place!r} {at_s.ravel().tolist()}", ("sky",), make).arrays
    sun = Sun(*(made[one.name] for one in fields(Sun)))
    clear = ClearSky(*(made[one.name] for one in fields(ClearSky)))
    if sky == "overcast":
        dni, dhi = np.zeros_like(clear.dni_wm2), OVERCAST_SHARE * clear.ghi_wm2
    else:
        beam, diffuse = BEAM_AND_DIFFUSE[sky]
        dni, dhi = beam * clear.dni_wm2, diffuse * clear.dhi_wm2
    seen = above_horizon(sun, horizon).astype(np.float64)
    return Light(place, at_s, sun, clear, dni, dhi, headroom=HEADROOM, beam_share=seen)
