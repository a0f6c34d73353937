"""One diode: the parameters of a panel's curve, from its label, over light and heat. Needs numpy alone."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Panel

Floats = NDArray[np.float64]

ISC_PER_DEGC = 0.0005
"""Relative change of the short-circuit current of crystalline silicon per kelvin; from memory."""
VOC_PER_DEGC = -0.0033
"""Relative change of the open-circuit voltage per kelvin where the owner gave none: median of the module list that the
CEC publishes."""

_BOLTZMANN_EV = 8.617333262e-05
_GAP_EV, _GAP_PER_DEGC = 1.121, -0.0002677
_REFERENCE_K = 298.15


@dataclass(frozen=True)
class Label:
    """A panel's curve at 1000 Wm⁻² and 25 °C.

    Attributes
    ----------
    made_a, saturation_a : float
        Current made by the light, and of the diode backwards. [A]
    series_ohm, shunt_ohm : float
        In the way, and beside. [Ω]
    slope_v : float
        Voltage over which the diode's current grows e-fold. [V]
    made_per_degc : float
        Change of the made current per kelvin; the short circuit's. [A]
    """

    made_a: float
    saturation_a: float
    series_ohm: float
    shunt_ohm: float
    slope_v: float
    made_per_degc: float


class Diode(NamedTuple):
    """The same in some light and heat, in the order in which pvlib takes them; arrays of one shape."""

    made_a: Floats
    saturation_a: Floats
    series_ohm: float
    shunt_ohm: Floats
    slope_v: Floats


@lru_cache(maxsize=256)
def label_of(panel: Panel) -> Label:
    """Parameters from the four points and two coefficients of a label.

    References
    ----------
    .. [1] E. I. Batzelis, "Simple PV performance equations theoretically well founded on the single-diode model,"
       IEEE Journal of Photovoltaics, vol. 7, no. 5, 2017, equations 9 to 15.
    """
    per_degc = VOC_PER_DEGC if panel.voc_per_degc is None else panel.voc_per_degc
    depth = (1.0 - per_degc * _REFERENCE_K) / (50.1 - ISC_PER_DEGC * _REFERENCE_K)
    w = _lambert_of_exp(1.0 / depth + 1.0)
    slope_v = depth * panel.voc_v
    series_ohm = (slope_v * (w - 1.0) - panel.vmp_v) / panel.imp_a
    beside_a = panel.isc_a * (1.0 - 1.0 / w) - panel.imp_a
    shunt_ohm = slope_v * (w - 1.0) / beside_a
    made_a = (1.0 + series_ohm / shunt_ohm) * panel.isc_a
    return Label(
        made_a, made_a * float(np.exp(-1.0 / depth)), series_ohm, shunt_ohm, slope_v, ISC_PER_DEGC * panel.isc_a
    )


def _lambert_of_exp(exponent: float) -> float:
    """W(e^x): the w with w + ln w = x, by Newton."""
    w = exponent - np.log(exponent)
    for _ in range(20):
        w -= (w + np.log(w) - exponent) / (1.0 + 1.0 / w)
    return float(w)


def in_light(label: Label, light_wm2: Floats, cell_degc: Floats) -> Diode:
    """A panel's parameters in some light and heat.

    Parameters
    ----------
    light_wm2, cell_degc : ndarray
        Irradiance in its plane above zero [Wm⁻²], temperature of its cells [°C]; broadcast.

    References
    ----------
    .. [1] W. De Soto, S. A. Klein and W. A. Beckman, "Improvement and validation of a model for photovoltaic array
       performance," Solar Energy, vol. 80, no. 1, 2006.
    """
    kelvin = np.asarray(cell_degc, dtype=np.float64) + 273.15
    bright = np.asarray(light_wm2, dtype=np.float64) / 1000.0
    gap_ev = _GAP_EV * (1.0 + _GAP_PER_DEGC * (kelvin - _REFERENCE_K))
    grown = np.exp(_GAP_EV / (_BOLTZMANN_EV * _REFERENCE_K) - gap_ev / (_BOLTZMANN_EV * kelvin))
    with np.errstate(divide="ignore"):
        shunt_ohm = label.shunt_ohm / bright
    return Diode(
        bright * (label.made_a + label.made_per_degc * (kelvin - _REFERENCE_K)),
        label.saturation_a * (kelvin / _REFERENCE_K) ** 3 * grown,
        label.series_ohm,
        shunt_ohm,
        label.slope_v * kelvin / _REFERENCE_K,
    )
