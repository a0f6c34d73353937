"""Light on a tilted panel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.light import Light
from kitopt.sky.split import LOWEST_SUN_DEG
from kitopt.sky.sun import Sun, incidence_cos

Array = NDArray[np.float64]

ALBEDO = 0.2
"""Share of light that the ground sends back; grass and bare soil."""

_LOWEST_COS = float(np.cos(np.radians(85.0)))
"""Light from around a sun lower than 5° is not amplified further, as in Perez et al., Solar Energy 44, 1990."""


def plane_wm2(light: Light, tilt_deg: Array | float, azimuth_deg: Array | float) -> Array:
    """Irradiance in the plane of a panel. [Wm⁻²]

    Beam, sky by Hay and Davies (part of the diffuse light comes from around the sun), and the ground at 0.2. At low
    sun the models divide by almost nothing: beam beyond 87° is none, and no plane gets more than one that faces the
    sun under the clear sky, times the light's headroom.

    Parameters
    ----------
    light : Light
    tilt_deg, azimuth_deg : array_like
        Of the panel; broadcast against (n_windows, n_steps). [deg]

    Returns
    -------
    ndarray, shape (n_windows, n_steps)

    References
    ----------
    .. [1] J. E. Hay and J. A. Davies, "Calculations of the solar radiation incident on an inclined surface,"
       Proc. First Canadian Solar Radiation Data Workshop, 1980.
    """
    sun, clear = light.sun, light.clear
    facing = np.maximum(incidence_cos(sun, tilt_deg, azimuth_deg), 0.0)
    dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, np.minimum(light.dni_wm2, sun.extra_wm2), 0.0)
    total = _on_plane(sun, dni, light.dhi_wm2, tilt_deg, facing)
    clear_dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, clear.dni_wm2, 0.0)
    most = _on_plane(sun, clear_dni, clear.dhi_wm2, np.minimum(sun.zenith_deg, 90.0), np.ones_like(clear_dni))
    # light on the flat is data, not a model's answer: the limit never falls below it
    limit = light.headroom * np.maximum(most, dni * sun.cos_zenith + light.dhi_wm2)
    return np.minimum(total, limit)


def _on_plane(sun: Sun, dni_wm2: Array, dhi_wm2: Array, tilt_deg: Array | float, facing: Array) -> Array:
    """Irradiance on a plane that sees the sun at an angle with cosine `facing`. [Wm⁻²]"""
    import pvlib

    # a low sun counts as less of a bright spot, so that its light is not amplified without end, nor any of it lost
    bright_wm2 = dni_wm2 * np.minimum(sun.cos_zenith / _LOWEST_COS, 1.0)
    beam_ratio = facing / np.maximum(sun.cos_zenith, 1e-3)
    # given the ratio, the azimuth is not looked at
    sky = pvlib.irradiance.haydavies(tilt_deg, None, dhi_wm2, bright_wm2, sun.extra_wm2, projection_ratio=beam_ratio)
    ground = pvlib.irradiance.get_ground_diffuse(tilt_deg, dhi_wm2 + dni_wm2 * sun.cos_zenith, ALBEDO)
    return np.asarray(dni_wm2 * facing + sky + ground, dtype=np.float64)
