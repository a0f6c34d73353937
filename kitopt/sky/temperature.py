"""Temperatures of the air, of the batteries and of the panels."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

BATTERY_LAG_H = 3.0
"""The cells of a battery in its box have the temperature that the air had this long ago. [h]"""

_COLDEST_AT_H = 6.0
_WARMEST_AT_H = 15.0


def daily_air_degc(local_hours: Array, coldest_degc: float, warmest_degc: float) -> Array:
    """Air temperature on a usual day: half a cosine up from 06:00 to 15:00, half a cosine down to 06:00. [°C]

    Common practice, no source.
    """
    since = (np.asarray(local_hours, dtype=np.float64) - _COLDEST_AT_H) % 24.0
    rise_h = _WARMEST_AT_H - _COLDEST_AT_H
    phase = np.where(since <= rise_h, since / rise_h, 1.0 - (since - rise_h) / (24.0 - rise_h))
    return np.asarray(coldest_degc + (warmest_degc - coldest_degc) * (1.0 - np.cos(np.pi * phase)) / 2.0)


def kept_warm_degc(battery_degc: Array, floor_degc: float | None) -> Array:
    """Cells of batteries that are never let get colder than that; None where they are as the air. [°C]"""
    return battery_degc if floor_degc is None else np.maximum(battery_degc, floor_degc)


def open_panel_degc(poa_wm2: Array, air_degc: Array, wind_ms: Array | float) -> Array:
    """Cells of a panel with air on both sides. [°C]

    References
    ----------
    .. [1] D. Faiman, "Assessing the outdoor operating temperature of photovoltaic modules," Progress in
       Photovoltaics, vol. 16, no. 4, 2008.
    """
    import pvlib

    return np.asarray(pvlib.temperature.faiman(poa_wm2, air_degc, wind_ms, u0=25.0, u1=6.84), dtype=np.float64)


def grounded_panel_degc(poa_wm2: Array, air_degc: Array, wind_ms: Array | float) -> Array:
    """Cells of a panel that lies on the ground: its back is insulated, so it runs hotter. [°C]

    References
    ----------
    .. [1] D. L. King, W. E. Boyson and J. A. Kratochvil, "Photovoltaic array performance model," SAND2004-3535, 2004.
    """
    import pvlib

    back = pvlib.temperature.TEMPERATURE_MODEL_PARAMETERS["sapm"]["insulated_back_glass_polymer"]
    return np.asarray(pvlib.temperature.sapm_cell(poa_wm2, air_degc, wind_ms, **back), dtype=np.float64)
