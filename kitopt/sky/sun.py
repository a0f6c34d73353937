"""Where the sun is, and what it would give without an atmosphere."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]


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
    import pandas as pd
    import pvlib

    # many windows look at the same moments; each is computed once
    moments, where = np.unique(at_s, return_inverse=True)
    times = pd.DatetimeIndex(np.round(moments * 1000).astype("datetime64[ms]"), tz="UTC")
    pressure = pvlib.atmosphere.alt2pres(altitude_m) if pressure_pa is None else pressure_pa
    position = pvlib.solarposition.spa_python(
        times, latitude_deg, longitude_deg, altitude=altitude_m, pressure=pressure, temperature=air_degc
    )
    # by the day, not by the moment: pvlib would ask for it under a name that pandas warns of
    extra = np.asarray(pvlib.irradiance.get_extra_radiation(times.day_of_year), dtype=np.float64)
    where = where.reshape(at_s.shape)
    return Sun(
        np.asarray(position["apparent_zenith"], dtype=np.float64)[where],
        np.asarray(position["azimuth"], dtype=np.float64)[where],
        extra[where],
    )


def incidence_cos(sun: Sun, tilt_deg: Array | float, azimuth_deg: Array | float) -> Array:
    """Cosine of the angle between the sun and the normal of a panel, negative from behind.

    Parameters
    ----------
    tilt_deg : array_like
        0 lies flat, 90 stands upright; broadcast against the sun. [deg]
    azimuth_deg : array_like
        Where it faces, clockwise from true north. [deg]
    """
    import pvlib

    return np.asarray(
        pvlib.irradiance.aoi_projection(tilt_deg, azimuth_deg, sun.zenith_deg, sun.azimuth_deg), dtype=np.float64
    )


def outside_day_whm2(latitude_deg: float, day_of_year: NDArray[np.integer[Any]]) -> Array:
    """Energy that a flat square metre would get on days of the year outside the atmosphere. [Wh m⁻²]

    References
    ----------
    .. [1] J. W. Spencer, "Fourier series representation of the position of the sun," Search, vol. 2, 1971.
    """
    import pvlib

    day = np.asarray(day_of_year, dtype=np.float64)
    declination = np.asarray(pvlib.solarposition.declination_spencer71(day), dtype=np.float64)
    normal_wm2 = np.asarray(pvlib.irradiance.get_extra_radiation(day), dtype=np.float64)
    return outside_flat_whm2(latitude_deg, np.degrees(declination), normal_wm2)


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
