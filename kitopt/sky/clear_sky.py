"""What a cloudless sky would give, and how daylight is spread over a day."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.calendar import days_of_year
from kitopt.sky.from_pvlib import monthly_turbidity
from kitopt.sky.sun import Sun, pressure_at, sun_at

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
       Solar Energy, vol. 73, 2002; 0.163 where the paper has 0.16268, as pvlib has it.
    .. [2] F. Kasten and A. T. Young, "Revised optical air mass tables and approximation formula," Applied Optics,
       vol. 28, 1989.
    """
    days, where = np.unique(np.floor(at_s / 86400.0), return_inverse=True)
    monthly = monthly_turbidity(place.latitude_deg, place.longitude_deg)
    turbidity = _daily(monthly, days.astype(np.int64))[where].reshape(at_s.shape)
    up = sun.zenith_deg < 90.0
    zenith_deg = np.where(up, sun.zenith_deg, 89.0)
    cos_zenith = np.cos(np.radians(zenith_deg))
    airmass = 1.0 / (cos_zenith + 0.50572 * (6.07995 + (90.0 - zenith_deg)) ** -1.6364)
    airmass = airmass * pressure_at(place.altitude_m) / 101325.0
    ghi, dni, dhi = _ineichen(cos_zenith, airmass, turbidity, place.altitude_m, sun.extra_wm2)
    return ClearSky(*(np.where(up, np.maximum(one, 0.0), 0.0) for one in (ghi, dni, dhi)))


def _daily(monthly: Array, days: NDArray[np.int64]) -> Array:
    """Turbidity of some days since 1970, straight between the middles of the months."""
    if not np.all(monthly > 0):
        monthly = np.where(monthly > 0, monthly, _USUAL_TURBIDITY)
    years, of_year = days.astype("datetime64[D]").astype("datetime64[Y]"), days_of_year(days)
    found = np.empty(len(days))
    for year in np.unique(years):
        starts = (year.astype("datetime64[M]") + np.arange(-1, 14)).astype("datetime64[D]")
        edges = (starts - year.astype("datetime64[D]")).astype(np.float64)
        middles = (edges[:-1] + edges[1:]) / 2.0
        at = years == year
        found[at] = np.interp(of_year[at], middles, np.concatenate([monthly[-1:], monthly, monthly[:1]]))
    return found


def _ineichen(
    cos_zenith: Array, airmass: Array, turbidity: Array, altitude_m: float, extra_wm2: Array
) -> tuple[Array, Array, Array]:
    """Global, beam and diffuse irradiance; airmass is that at the site's pressure. [Wm⁻²]"""
    low, high = np.exp(-altitude_m / 8000.0), np.exp(-altitude_m / 1250.0)
    scale, lost = 5.09e-05 * altitude_m + 0.868, 3.92e-05 * altitude_m + 0.0387
    passed = np.exp(-lost * airmass * (low + high * (turbidity - 1)))
    ghi = scale * extra_wm2 * cos_zenith * passed
    beam = extra_wm2 * ((0.664 + 0.163 / low) * np.exp(-0.09 * airmass * (turbidity - 1)))
    most = ghi * ((1 - (0.1 - 0.2 * np.exp(-turbidity)) / (0.1 + 0.882 / low)) / cos_zenith)
    dni = np.minimum(beam, np.maximum(most, 0.0))
    return ghi, dni, ghi - dni * cos_zenith


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
