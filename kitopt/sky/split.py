"""Parts global irradiance on the flat into what comes from the sun and what from the rest of the sky."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.clear_sky import ClearSky
from kitopt.sky.sun import Sun

Array = NDArray[np.float64]

LOWEST_SUN_DEG = 87.0
"""Zenith angle beyond which the beam counts as nothing: models divide by its cosine there. [deg]"""

_NEARLY_CLEAR_SHARE = 0.9
"""Above this share of the clear sky the split moves from the correlation to the clear sky's own."""


def diffuse_share(clearness: Array) -> Array:
    """Diffuse over global irradiance on the flat, from the hour's clearness (global over extraterrestrial).

    References
    ----------
    .. [1] D. G. Erbs, S. A. Klein and J. A. Duffie, "Estimation of the diffuse radiation fraction for hourly, daily
       and monthly-average global radiation," Solar Energy, vol. 28, no. 4, 1982, equation 1.
    """
    import pvlib

    # pvlib asks for irradiance and zenith; an overhead sun makes the clearness come out as it went in
    extra = float(pvlib.irradiance.get_extra_radiation(80))
    given = pvlib.irradiance.erbs(np.asarray(clearness) * extra, np.zeros_like(clearness), 80)
    level = np.asarray(clearness) * extra
    diffuse = np.asarray(given["dhi"], dtype=np.float64)
    return np.asarray(np.divide(diffuse, level, out=np.ones_like(level), where=level > 0), dtype=np.float64)


def split(ghi_wm2: Array, sun: Sun, clear: ClearSky) -> tuple[Array, Array]:
    """Beam facing the sun, and diffuse on the flat.

    The correlation of Erbs, except near the clear sky, where it makes too little beam of a low winter sun: there the
    clear sky's own split is approached. Beam is never more than under the clear sky, and none beyond 87° from
    straight up; what the beam loses goes to the diffuse part, so their sum on the flat stays what it was.

    Parameters
    ----------
    ghi_wm2 : ndarray, shape (n_windows, n_steps)
        Global irradiance on the flat. [Wm⁻²]
    sun, clear : Sun, ClearSky
        Arrays of shape (1, n_steps) or that of `ghi_wm2`.

    Returns
    -------
    dni_wm2, dhi_wm2 : ndarray
        Shape of `ghi_wm2`. [Wm⁻²]
    """
    cos_zenith = sun.cos_zenith
    outside = sun.extra_wm2 * np.maximum(cos_zenith, 1e-3)
    by_erbs = diffuse_share(np.clip(ghi_wm2 / outside, 0.0, 1.0))
    of_clear = ghi_wm2 / np.maximum(clear.ghi_wm2, 1e-9)
    clear_share = np.clip(clear.dhi_wm2 / np.maximum(clear.ghi_wm2, 1e-9), 0.0, 1.0)
    weight = np.clip((of_clear - _NEARLY_CLEAR_SHARE) / (1.0 - _NEARLY_CLEAR_SHARE), 0.0, 1.0)
    share = by_erbs + weight * (clear_share - by_erbs)
    beam = ghi_wm2 * (1.0 - share) / np.maximum(cos_zenith, 1e-3)
    has_beam = sun.zenith_deg < LOWEST_SUN_DEG
    dni = np.where(has_beam, np.minimum(beam, clear.dni_wm2), 0.0)
    return dni, np.maximum(ghi_wm2 - dni * cos_zenith, 0.0)
