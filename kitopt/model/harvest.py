"""One panel on one controller under a sky: watts that the controller could pass on.

Power is a size in watts times a shape over windows and steps. Few shapes serve many panels,
so a thousand windows of twenty panels on eight controllers fit in little memory.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Controller, Panel
from kitopt.sky.windows import Laid, Sky

Floats = NDArray[np.float64]

CHARGING_V_PER_NOMINAL_V = 1.04
"""Voltage of a battery being charged over its nominal voltage (13.3 V over 12.8 V)."""

VMP_PER_DEGC = -0.0035
"""Relative change of the voltage at maximum power per kelvin where the owner gave none for Voc;
between the median of the CEC list's 36-cell panels for Voc (-0.0033) and for power (-0.0045)."""

_LOSS_STEPS = 200
"""Lead losses at full sun are rounded up to steps of 1/200, so that panels share shapes."""


def charging_v(nominal_v: float) -> float:
    """Voltage at the terminals of a battery being charged. [V]"""
    return CHARGING_V_PER_NOMINAL_V * nominal_v


def laid(panel: Panel) -> Laid:
    """How a panel lies: only one that tilts can be aimed."""
    return "aimed" if panel.tilts else "flat"


@dataclass(frozen=True)
class Gain:
    """What some panels deliver to a controller: ``size_w`` times a shape of the book."""

    shape: int
    size_w: float


@dataclass
class ShapeBook:
    """The shapes met so far, each stored once.

    A shape is watts per watt at 1000 Wm⁻² and 25 °C, (n_windows, n_steps).
    """

    sky: Sky
    nominal_v: float
    shapes: list[Floats] = field(default_factory=list)
    _index: dict[tuple[object, ...], int] = field(default_factory=dict)
    _most: dict[Laid, tuple[float, float]] = field(default_factory=dict)

    def gain(self, panel: Panel, controller: Controller, *, n_joined: int = 1, lead_ohm: float = 0.0) -> Gain:
        """Power of some identical panels joined in parallel onto one controller.

        Parameters
        ----------
        n_joined : int
            Panels that share the lead; its loss grows with the square of their current.
        lead_ohm : float
            Resistance of both conductors from the panels to the controller. [Ω]
        """
        if controller.kind == "mppt":
            return self._tracked(panel, controller, n_joined, lead_ohm)
        return self._direct(panel, n_joined, lead_ohm)

    def _tracked(self, panel: Panel, controller: Controller, n_joined: int, lead_ohm: float) -> Gain:
        """Maximum-power tracking passes power: irradiance, heat and the lead count.

        P = G/1000 · P0 · (1 + γ·(T - 25)), NREL/TP-6A20-62641, less I²R in the lead.
        """
        rated_w = n_joined * panel.rated_w * panel.output_factor
        current_a = n_joined * panel.imp_a * panel.output_factor
        # rounded up: against the owner
        loss_steps = int(np.ceil(current_a**2 * lead_ohm / rated_w * _LOSS_STEPS - 1e-9)) if lead_ohm > 0 else 0
        way = laid(panel)
        key = ("tracked", way, panel.power_per_degc, loss_steps)
        if key not in self._index:
            sun = self.sky.poa_wm2[way] / 1000.0
            warm = np.maximum(0.0, 1.0 + panel.power_per_degc * (self.sky.panel_degc[way] - 25.0))
            # the current grows with the sun, the loss with its square; a panel never takes power
            shape = np.maximum(0.0, sun * warm - loss_steps / _LOSS_STEPS * sun**2)
            self._keep(key, shape)
        return Gain(self._index[key], rated_w * controller.efficiency)

    def _direct(self, panel: Panel, n_joined: int, lead_ohm: float) -> Gain:
        """A PWM controller passes the panel's current at the battery's voltage.

        Up to its voltage at maximum power a panel is a current source. Where the hot panel less
        the lead's drop cannot reach the battery, current falls along the line to open circuit.
        """
        way = laid(panel)
        at_v = charging_v(self.nominal_v)
        current_a = n_joined * panel.imp_a * panel.output_factor
        sun = self.sky.poa_wm2[way] / 1000.0
        per_degc = panel.voc_per_degc or VMP_PER_DEGC
        hottest_degc, brightest = self._extremes(way)
        if panel.vmp_v * (1.0 + per_degc * (hottest_degc - 25.0)) >= at_v + brightest * current_a * lead_ohm:
            key: tuple[object, ...] = ("direct", way)
        else:
            key = ("direct", way, panel.vmp_v, panel.voc_v, per_degc, round(current_a * lead_ohm, 4))
        if key not in self._index:
            share = np.ones_like(sun)
            if len(key) > 2:
                hot = 1.0 + per_degc * (self.sky.panel_degc[way] - 25.0)
                needed_v = at_v + sun * current_a * lead_ohm
                knee_v, open_v = panel.vmp_v * hot, panel.voc_v * hot
                share = np.clip((open_v - needed_v) / np.maximum(open_v - knee_v, 1e-6), 0.0, 1.0)
            self._keep(key, sun * share)
        return Gain(self._index[key], current_a * at_v)

    def _extremes(self, way: Laid) -> tuple[float, float]:
        """Hottest cells and brightest sun of all windows. [°C], [1000 Wm⁻²]"""
        if way not in self._most:
            self._most[way] = (float(np.max(self.sky.panel_degc[way])), float(np.max(self.sky.poa_wm2[way])) / 1000.0)
        return self._most[way]

    def _keep(self, key: tuple[object, ...], shape: Floats) -> None:
        full = np.ascontiguousarray(np.broadcast_to(shape, (self.sky.n_windows, shape.shape[1])))
        self._index[key] = len(self.shapes)
        self.shapes.append(full)
