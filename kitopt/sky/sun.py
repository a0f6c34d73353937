"""Where the sun is, and what it would give without an atmosphere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.calendar import days_of_year
from kitopt.sky.from_pvlib import spa

Array = NDArray[np.float64]

SOLAR_CONSTANT_WM2 = 1366.1
"""ASTM E490-00. [Wm⁻²]"""

_DELTA_T_S = 67.0
"""Terrestrial less universal time, in these years. [s]"""
_REFRACTION_DEG = 0.5667
"""How far the air lifts a setting sun. [deg]"""


@dataclass(frozen=True)
class Sun:
    """Sun seen from one place; every array has the shape of the moments asked for.

    Attributes
    ----------
    zenith_deg : ndarray
        Angle from straight up, as seen through the air (refraction included). [deg]
    azimuth_deg : ndarray
        Clockwise from true north. [deg]
    extra_wm2 : ndarray
        Irradiance facing the sun outside the atmosphere. [Wm⁻²]
    """

    zenith_deg: Array
    azimuth_deg: Array
    extra_wm2: Array

    @property
    def cos_zenith(self) -> Array:
        """Cosine of the zenith angle, zero when the sun is down."""
        return np.maximum(np.cos(np.radians(self.zenith_deg)), 0.0)


def sun_at(
    at_s: Array,
    latitude_deg: float,
    longitude_deg: float,
    altitude_m: float = 0.0,
    *,
    pressure_pa: float | None = None,
    air_degc: float = 12.0,
) -> Sun:
    """Position of the sun.

    Parameters
    ----------
    at_s : ndarray, any shape
        Seconds of universal time since 1970; give the middle of each interval.
    pressure_pa : float, optional
        Only bends the light near the horizon; found from the altitude when not given. [Pa]

    References
    ----------
    .. [1] I. Reda and A. Andreas, "Solar position algorithm for solar radiation applications,"
       NREL/TP-560-34302, 2003 (revised 2008).
    .. [2] J. W. Spencer, "Fourier series representation of the position of the sun," Search, vol. 2, 1971.
    """
    # many windows look at the same moments; each is computed once
    moments, where = np.unique(at_s, return_inverse=True)
    moments = np.round(moments * 1000) / 1000
    pressure = pressure_at(altitude_m) if pressure_pa is None else pressure_pa
    found = spa().solar_position(
        moments, latitude_deg, longitude_deg, altitude_m, pressure / 100, air_degc, _DELTA_T_S, _REFRACTION_DEG, 1
    )
    extra = extra_wm2(days_of_year(np.floor(moments / 86400.0).astype(np.int64)))
    where = where.reshape(at_s.shape)
    return Sun(found[0][where], found[4][where], extra[where])


def pressure_at(altitude_m: float) -> float:
    """Usual pressure of the air at an altitude. [Pa]

    References
    ----------
    .. [1] "A quick derivation relating altitude to air pressure," Portland State Aerospace Society, version 1.03, 2004.
    """
    return float(100 * ((44331.514 - altitude_m) / 11880.516) ** (1 / 0.1902632))


def extra_wm2(day: NDArray[Any]) -> Array:
    """Irradiance facing the sun outside the atmosphere, by the day of the year. [Wm⁻²]

    References
    ----------
    .. [1] J. W. Spencer, "Fourier series representation of the position of the sun," Search, vol. 2, 1971.
    """
    angle = _day_angle(day)
    near = 1.00011 + 0.034221 * np.cos(angle) + 0.00128 * np.sin(angle)
    near = near + 0.000719 * np.cos(2 * angle) + 7.7e-05 * np.sin(2 * angle)
    return np.asarray(SOLAR_CONSTANT_WM2 * near, dtype=np.float64)


def declination_rad(day: NDArray[Any]) -> Array:
    """Height of the sun over the equator, by the day of the year, Spencer as above; in radians."""
    angle = _day_angle(day)
    given = 0.006918 - 0.399912 * np.cos(angle) + 0.070257 * np.sin(angle)
    given = given - 0.006758 * np.cos(2.0 * angle) + 0.000907 * np.sin(2.0 * angle)
    return np.asarray(given - 0.002697 * np.cos(3.0 * angle) + 0.00148 * np.sin(3.0 * angle), dtype=np.float64)


def ahead_of_clock_min(day: NDArray[Any]) -> Array:
    """Minutes by which the sun is ahead of mean time, by the day of the year, Spencer as above."""
    angle = _day_angle(day)
    given = 0.0000075 + 0.001868 * np.cos(angle) - 0.032077 * np.sin(angle)
    given = given - 0.014615 * np.cos(2.0 * angle) - 0.040849 * np.sin(2.0 * angle)
    return np.asarray(1440.0 / 2 / np.pi * given, dtype=np.float64)


def _day_angle(day: NDArray[Any]) -> Array:
    return np.asarray((2.0 * np.pi / 365.0) * (np.asarray(day, dtype=np.float64) - 1))


def incidence_cos(sun: Sun, tilt_deg: Array | float, azimuth_deg: Array | float) -> Array:
    """Cosine of the angle between the sun and the normal of a panel, negative from behind.

    Parameters
    ----------
    tilt_deg : array_like
        0 lies flat, 90 stands upright; broadcast against the sun. [deg]
    azimuth_deg : array_like
        Where it faces, clockwise from true north. [deg]
    """
    tilt, zenith = np.radians(tilt_deg), np.radians(sun.zenith_deg)
    around = np.cos(np.radians(sun.azimuth_deg - np.asarray(azimuth_deg)))
    both = np.cos(tilt) * np.cos(zenith) + np.sin(tilt) * np.sin(zenith) * around
    return np.asarray(np.clip(both, -1, 1), dtype=np.float64)


def outside_day_whm2(latitude_deg: float, day: NDArray[np.integer[Any]]) -> Array:
    """Energy that a flat square metre would get on days of the year outside the atmosphere. [Wh m⁻²]

    References
    ----------
    .. [1] J. W. Spencer, "Fourier series representation of the position of the sun," Search, vol. 2, 1971.
    """
    return outside_flat_whm2(latitude_deg, np.degrees(declination_rad(day)), extra_wm2(day))


def outside_flat_whm2(latitude_deg: float, declination_deg: Array, normal_wm2: Array) -> Array:
    """Daily energy on the flat outside the atmosphere under a given sun; zero in polar night. [Wh m⁻²]

    With latitude φ, declination δ and sunset angle ω: H₀ = (24/π)·G·(cos φ cos δ sin ω + ω sin φ sin δ).

    Parameters
    ----------
    normal_wm2 : ndarray
        Irradiance facing the sun. [Wm⁻²]

    References
    ----------
    .. [1] J. A. Duffie and W. A. Beckman, *Solar Engineering of Thermal Processes*, equation 1.10.3.
    """
    latitude, declination = np.radians(latitude_deg), np.radians(declination_deg)
    sunset = np.arccos(np.clip(-np.tan(latitude) * np.tan(declination), -1.0, 1.0))
    flat = np.cos(latitude) * np.cos(declination) * np.sin(sunset) + sunset * np.sin(latitude) * np.sin(declination)
    return np.asarray(24.0 / np.pi * normal_wm2 * np.maximum(flat, 0.0), dtype=np.float64)
