"""Light on a tilted panel."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.light import Light
from kitopt.sky.split import LOWEST_SUN_DEG
from kitopt.sky.sun import incidence_cos

Array = NDArray[np.float64]

ALBEDO = 0.2
"""Share of light that the ground sends back; grass and bare soil."""

_LOWEST_COS = float(np.cos(np.radians(LOWEST_SUN_DEG)))


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
    import pvlib

    sun = light.sun
    facing = np.maximum(incidence_cos(sun, tilt_deg, azimuth_deg), 0.0)
    dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, np.minimum(light.dni_wm2, sun.extra_wm2), 0.0)
    beam_ratio = facing / np.maximum(sun.cos_zenith, _LOWEST_COS)
    sky = pvlib.irradiance.haydavies(
        tilt_deg, azimuth_deg, light.dhi_wm2, dni, sun.extra_wm2, projection_ratio=beam_ratio
    )
    ground = pvlib.irradiance.get_ground_diffuse(tilt_deg, light.dhi_wm2 + dni * sun.cos_zenith, ALBEDO)
    total = np.asarray(dni * facing + sky + ground, dtype=np.float64)
    # light on the flat is data, not a model's answer: the limit never falls below it
    limit = light.headroom * np.maximum(light.clear.dni_wm2 + light.clear.dhi_wm2, dni * sun.cos_zenith + light.dhi_wm2)
    return np.minimum(total, limit)
