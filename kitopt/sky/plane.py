"""Light on a tilted panel, and what of it makes current."""

from __future__ import annotations

from dataclasses import dataclass

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


_DIFFUSE_TILTS_DEG = np.arange(0.0, 91.0, 15.0)
_DIFFUSE_SKY = np.array([0.9444, 0.9513, 0.9577, 0.9596, 0.9580, 0.9532, 0.9444])
_DIFFUSE_GROUND = np.array([0.0, 0.5466, 0.7597, 0.8557, 0.9036, 0.9295, 0.9444])
"""Share of an even sky's and of the ground's light that passes the glass, by tilt: B. Marion, Solar Energy 147, 2017,
over the same glass as the beam's; pvlib takes a second to add it up, so it stands here and a test adds it up anew."""


@dataclass(frozen=True)
class OnPlane:
    """Light in the plane of a panel by where it comes from, shape (n_windows, n_steps). [Wm⁻²]

    Attributes
    ----------
    beam_wm2 : ndarray
        From the sun and the glow around it.
    sky_wm2, ground_wm2 : ndarray
        From the rest of the sky, and from the ground.
    total_wm2 : ndarray
        All of it, within what the clear sky allows.
    """

    tilt_deg: Array | float
    facing: Array
    beam_wm2: Array
    sky_wm2: Array
    ground_wm2: Array
    total_wm2: Array


def plane_wm2(light: Light, tilt_deg: Array | float, azimuth_deg: Array | float) -> Array:
    """Irradiance in the plane of a panel, as for `light_on`. [Wm⁻²]"""
    return light_on(light, tilt_deg, azimuth_deg).total_wm2


def light_on(light: Light, tilt_deg: Array | float, azimuth_deg: Array | float) -> OnPlane:
    """Light in the plane of a panel.

    Beam, sky by Hay and Davies (part of the diffuse light comes from around the sun), and the ground at 0.2. What
    stands in the way takes the glow around the sun with the beam; a horizon hides the part of the even sky that lies
    behind it. At low sun the models divide by almost nothing: beam beyond 87° is none, and no plane gets more than
    one that faces the sun under the clear sky, times the light's headroom.

    Parameters
    ----------
    light : Light
    tilt_deg, azimuth_deg : array_like
        Of the panel; broadcast against (n_windows, n_steps). [deg]

    References
    ----------
    .. [1] J. E. Hay and J. A. Davies, "Calculations of the solar radiation incident on an inclined surface,"
       Proc. First Canadian Solar Radiation Data Workshop, 1980.
    """
    sun, clear = light.sun, light.clear
    facing = np.maximum(incidence_cos(sun, tilt_deg, azimuth_deg), 0.0)
    dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, np.minimum(light.dni_wm2, sun.extra_wm2), 0.0)
    beam, sky = _from_above(sun, dni, light.dhi_wm2, tilt_deg, facing)
    open_share: Array | float = 1.0
    open_flat: Array | float = 1.0
    if light.open_sky is not None:
        open_share, open_flat = light.open_sky.share(tilt_deg, azimuth_deg), light.open_sky.share(0.0, 0.0)
    beam, sky = beam * light.beam_share, sky * light.sky_share * open_share
    ground = _from_below(
        dni * sun.cos_zenith * light.beam_share + light.dhi_wm2 * light.sky_share * open_flat, tilt_deg
    )
    clear_dni = np.where(sun.zenith_deg < LOWEST_SUN_DEG, clear.dni_wm2, 0.0)
    upright = np.minimum(sun.zenith_deg, 90.0)
    most = sum(_from_above(sun, clear_dni, clear.dhi_wm2, upright, np.ones_like(clear_dni)))
    most = most + _from_below(clear.dhi_wm2 + clear_dni * sun.cos_zenith, upright)
    # light on the flat is data, not a model's answer: the limit never falls below it
    limit = light.headroom * np.maximum(most, dni * sun.cos_zenith + light.dhi_wm2)
    return OnPlane(tilt_deg, facing, beam, sky, ground, np.minimum(beam + sky + ground, limit))


def _from_above(
    sun: Sun, dni_wm2: Array, dhi_wm2: Array, tilt_deg: Array | float, facing: Array
) -> tuple[Array, Array]:
    """Light from around the sun and from the rest of the sky, on a plane that sees the sun so. [Wm⁻²]"""
    import pvlib

    # a low sun counts as less of a bright spot, so that its light is not amplified without end, nor any of it lost
    bright_wm2 = dni_wm2 * np.minimum(sun.cos_zenith / _LOWEST_COS, 1.0)
    beam_ratio = facing / np.maximum(sun.cos_zenith, 1e-3)
    # given the ratio, the azimuth is not looked at
    sky = pvlib.irradiance.haydavies(
        tilt_deg, None, dhi_wm2, bright_wm2, sun.extra_wm2, projection_ratio=beam_ratio, return_components=True
    )
    around, even = (np.asarray(sky[f"poa_{name}"], dtype=np.float64) for name in ("circumsolar", "isotropic"))
    return dni_wm2 * facing + around, even


def _from_below(ghi_wm2: Array, tilt_deg: Array | float) -> Array:
    """Light that the ground sends back onto a tilted plane. [Wm⁻²]"""
    import pvlib

    return np.asarray(pvlib.irradiance.get_ground_diffuse(tilt_deg, ghi_wm2, ALBEDO), dtype=np.float64)


def useful_wm2(light: Light, plane: OnPlane) -> Array:
    """What of the light makes current: less what the glass reflects, and what weak light is worth less. [Wm⁻²]

    References
    ----------
    .. [1] W. De Soto, S. A. Klein and W. A. Beckman, "Improvement and validation of a model for photovoltaic array
       performance," Solar Energy, vol. 80, 2006: the glass.
    .. [2] B. Marion, "Numerical method for angle-of-incidence correction factors for diffuse radiation incident
       photovoltaic modules," Solar Energy, vol. 147, 2017.
    .. [3] T. Huld, G. Friesen, A. Skoczek and others, "A power-rating model for crystalline silicon PV modules,"
       Solar Energy Materials and Solar Cells, vol. 95, 2011; heat is counted elsewhere, so the cells are at 25 °C.
    """
    import pvlib

    worth = pvlib.pvarray.huld(passed_wm2(plane), np.asarray(25.0), 1000.0, cell_type="csi", k_version="pvgis5")
    return np.maximum(np.asarray(worth, dtype=np.float64), 0.0)


def passed_wm2(plane: OnPlane) -> Array:
    """What of the light passes the glass, as for `useful_wm2`. [Wm⁻²]"""
    import pvlib

    through = np.asarray(pvlib.iam.physical(np.degrees(np.arccos(np.minimum(plane.facing, 1.0)))))
    tilt = np.asarray(plane.tilt_deg, dtype=np.float64)
    of_sky = np.interp(tilt, _DIFFUSE_TILTS_DEG, _DIFFUSE_SKY)
    of_ground = np.interp(tilt, _DIFFUSE_TILTS_DEG, _DIFFUSE_GROUND)
    whole = plane.beam_wm2 + plane.sky_wm2 + plane.ground_wm2
    passed = plane.beam_wm2 * through + plane.sky_wm2 * of_sky + plane.ground_wm2 * of_ground
    # within what the clear sky allows, as the whole is
    return np.asarray(passed * np.divide(plane.total_wm2, whole, out=np.ones_like(whole), where=whole > 0))
