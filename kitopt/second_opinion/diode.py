"""One diode: the parameters of a panel's curve, from its label, over light and heat."""

from __future__ import annotations

import warnings
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
    import pvlib

    per_degc = VOC_PER_DEGC if panel.voc_per_degc is None else panel.voc_per_degc
    made_per_degc = ISC_PER_DEGC * panel.isc_a
    with np.errstate(all="ignore"), warnings.catch_warnings():
        warnings.simplefilter("ignore")
        found = pvlib.ivtools.sdm.fit_desoto_batzelis(
            panel.vmp_v, panel.imp_a, panel.voc_v, panel.isc_a, made_per_degc, per_degc * panel.voc_v
        )
    return Label(
        float(found["I_L_ref"]),
        float(found["I_o_ref"]),
        float(found["R_s"]),
        float(found["R_sh_ref"]),
        float(found["a_ref"]),
        made_per_degc,
    )


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
    import pvlib

    with np.errstate(all="ignore"):
        made_a, saturation_a, _, shunt_ohm, slope_v = pvlib.pvsystem.calcparams_desoto(
            light_wm2,
            cell_degc,
            label.made_per_degc,
            label.slope_v,
            label.made_a,
            label.saturation_a,
            label.shunt_ohm,
            label.series_ohm,
        )
    return Diode(made_a, saturation_a, label.series_ohm, shunt_ohm, slope_v)
