"""What is declared of a panel in the field: what it hangs on, where it looks, what the sky is called."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery, Controller, Panel
from kitopt.inventory.spreads import TOLD_SPREAD
from kitopt.model.bus import charging_v, class_of
from kitopt.sky.light import Light
from kitopt.sky.plane import OnPlane, light_on, passed_wm2
from kitopt.sky.temperature import grounded_panel_degc, open_panel_degc

Floats = NDArray[np.float64]

SWITCH_V = 0.2
"""Between the panel's and the battery's terminals of a controller that only switches; common practice. [V]"""
WIND_MS = 1.5
"""A light air. [m/s]"""
BACKED_DEGC = 6.0
"""By so much a folding panel, backed by cloth, is hotter in full sun than one with air behind it; common practice, no
source. [°C]"""


@dataclass(frozen=True)
class SetUp:
    """One panel on one controller and battery, here and now.

    Attributes
    ----------
    battery : Battery
        What is charged.
    lead_ohm : float
        Of the lead between panel and controller, contacts counted. [Ω]
    light : Light
        Of one window and one step: what the declared sky gives.
    tilt_deg, azimuth_deg : float
        Declared aim. [deg]
    lies : bool
        On the ground: hotter than in open air.
    air_degc : float
        Of the air. [°C]
    charge_share : float or None
        Declared charge of the battery.
    worth_spread : float
        Relative standard deviation of the panel's worth.
    """

    panel: Panel
    controller: Controller
    battery: Battery
    lead_ohm: float
    light: Light
    tilt_deg: float
    azimuth_deg: float
    lies: bool
    air_degc: float
    charge_share: float | None = None
    worth_spread: float = TOLD_SPREAD

    @property
    def switch_v(self) -> float:
        """Volts between a switching controller's terminals. [V]"""
        return SWITCH_V

    @property
    def most_a(self) -> float:
        """What the controller and the battery's charge limit let through at most. [A]"""
        controller = self.controller
        by_w = math.inf
        if controller.kind == "mppt" and controller.max_pv_w is not None:
            by_w = controller.efficiency * controller.max_pv_w / self.charging_v
        return min(controller.max_charge_a, by_w)

    @property
    def charging_v(self) -> float:
        """Mean voltage of the battery while it is charged. [V]"""
        return charging_v(class_of([self.battery]))

    @property
    def sun_deg(self) -> tuple[float, float]:
        """Zenith angle and azimuth of the sun. [deg]"""
        return float(self.light.sun.zenith_deg[0, 0]), float(self.light.sun.azimuth_deg[0, 0])

    def facing_sun(self) -> SetUp:
        """The same, turned to the sun."""
        zenith, azimuth = self.sun_deg
        return replace(self, tilt_deg=min(zenith, 90.0), azimuth_deg=azimuth, lies=False)


def on_panel(
    light: Light,
    tilt_deg: Floats | float,
    azimuth_deg: Floats | float,
    *,
    lies: bool,
    air_degc: Floats | float,
    wind_ms: Floats,
) -> tuple[Floats, Floats]:
    """Light that passes a panel's glass, and its cells' temperature. [Wm⁻²], [°C]"""
    plane: OnPlane = light_on(light, tilt_deg, azimuth_deg)
    if lies:
        return passed_wm2(plane), grounded_panel_degc(plane.total_wm2, np.asarray(air_degc), wind_ms)
    open_degc = open_panel_degc(plane.total_wm2, np.asarray(air_degc), wind_ms)
    return passed_wm2(plane), open_degc + BACKED_DEGC * plane.total_wm2 / 1000.0
