"""What a cloudless sky would give, and how daylight is spread over a day."""

from __future__ import annotations

import warnings
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.sun import Sun, sun_at

Array = NDArray[np.float64]

_FINE_S = 600.0
"""Grid on which a day's clear sky is summed. [s]"""

_USUAL_TURBIDITY = 3.0
"""Taken where the turbidity map has a hole; a usual rural value."""


@dataclass(frozen=True)
class Place:
    """A point on the ground, north and east positive."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float


@dataclass(frozen=True)
class ClearSky:
    """A cloudless sky. Irradiances on the flat, facing the sun, and diffuse on the flat. [Wm⁻²]"""

    ghi_wm2: Array
    dni_wm2: Array
    dhi_wm2: Array


def clear_sky(at_s: Array, place: Place, sun: Sun) -> ClearSky:
    """Cloudless sky by the model of Ineichen and Perez, with the monthly turbidity that pvlib carries.

    Parameters
    ----------
    at_s : ndarray, any shape
        Moments, seconds of universal time since 1970; `sun` must be of the same moments.

    References
    ----------
    .. [1] P. Ineichen and R. Perez, "A new airmass independent formulation for the Linke turbidity coefficient,"
       Solar Energy, vol. 73, 2002.
    """
    import pandas as pd
    import pvlib

    days, where = np.unique(np.floor(at_s / 86400.0), return_inverse=True)
    noon = pd.DatetimeIndex((days * 86400 + 43200).astype("datetime64[s]"), tz="UTC")
    with warnings.catch_warnings():
        # pvlib asks for the day of the year under its old name, which pandas keeps until its version 4
        warnings.filterwarnings("ignore", ".*dayofyear", DeprecationWarning)
        map_of_days = pvlib.clearsky.lookup_linke_turbidity(noon, place.latitude_deg, place.longitude_deg)
    turbidity = np.asarray(map_of_days, dtype=np.float64)
    turbidity = np.where(turbidity > 0, turbidity, _USUAL_TURBIDITY)[where].reshape(at_s.shape)
    airmass = pvlib.atmosphere.get_absolute_airmass(
        pvlib.atmosphere.get_relative_airmass(sun.zenith_deg), pvlib.atmosphere.alt2pres(place.altitude_m)
    )
    # the model divides by the cosine of the zenith angle; at night that is zero over zero, and the answer is zero
    with np.errstate(divide="ignore", invalid="ignore"):
        given = pvlib.clearsky.ineichen(
            sun.zenith_deg, airmass, turbidity, altitude=place.altitude_m, dni_extra=sun.extra_wm2
        )
    up = sun.zenith_deg < 90.0
    ghi, dni, dhi = (
        np.where(up, np.nan_to_num(np.asarray(given[name], dtype=np.float64), posinf=0.0), 0.0)
        for name in ("ghi", "dni", "dhi")
    )
    return ClearSky(ghi, np.maximum(dni, 0.0), np.maximum(dhi, 0.0))


def clear_day_whm2(midnight_s: Array, length_s: Array, place: Place) -> Array:
    """Energy that a flat square metre gets on cloudless days. [Wh m⁻²]

    Parameters
    ----------
    midnight_s, length_s : ndarray, shape (n_days,)
        Where each day begins, seconds of universal time since 1970, and how long it is.
    """
    n_fine = int(np.ceil(float(np.max(length_s)) / _FINE_S))
    width_s = length_s / n_fine
    at_s = midnight_s[:, None] + (np.arange(n_fine) + 0.5) * width_s[:, None]
    sky = clear_sky(at_s, place, sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m))
    return np.asarray(sky.ghi_wm2.sum(axis=1) * width_s / 3600.0, dtype=np.float64)
