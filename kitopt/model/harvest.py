"""One panel on one controller under a sky: what the controller could pass on, in amperes times nominal volts.

Power is a size in watts times a shape over windows and steps, times what the panel is worth in each window over its
mean. Few shapes serve many panels, so a thousand windows of twenty panels on eight controllers fit in little memory.
"""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field
from typing import NamedTuple, TypeVar

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.plant import Source
from kitopt.inventory.items import Controller, Panel
from kitopt.operation.clock import Steps
from kitopt.sky.windows import Laid, Sky

Floats = NDArray[np.float64]

VMP_PER_DEGC = -0.0035
"""Relative change of the voltage at maximum power per kelvin where the owner gave none for Voc;
between the median of the CEC list's 36-cell panels for Voc (-0.0033) and for power (-0.0045)."""

Degc = TypeVar("Degc", float, Floats)

HEADROOM_V = 1.0
"""So far above the battery a panel must stand for tracking to gain anything on it; common practice, no source. [V]"""

_MOST_BYTES = 60_000_000
"""Shapes that are kept with a sky: many guesses at panels make many of them."""

_LOSS_STEPS = 200
"""Lead losses at full sun are rounded up to steps of 1/200, so that panels share shapes."""


def laid(panel: Panel) -> Laid:
    """How a panel lies: only one that tilts can be aimed."""
    return "aimed" if panel.tilts else "flat"


def volts_share(panel: Panel, degc: Degc) -> Degc:
    """Voltage of a panel's cells at a temperature over that at 25 °C."""
    return 1.0 + (panel.voc_per_degc or VMP_PER_DEGC) * (degc - 25.0)


def highest_v(panel: Panel, controller: Controller, degc: float) -> tuple[float, float]:
    """Highest voltage at which a panel gives current through a controller, and that of the open panel. [V]

    Tracking holds it at its voltage at maximum power; otherwise it is pulled down from open circuit.
    """
    share = volts_share(panel, degc)
    return (panel.vmp_v if controller.kind == "mppt" else panel.voc_v) * share, panel.voc_v * share


class Gain(NamedTuple):
    """What some panels deliver to a controller: ``size_w`` times a source of the book."""

    source: int
    size_w: float


@dataclass
class ShapeBook:
    """The shapes met so far, each stored once; with those that other kits meet under the very same sky.

    A shape is watts per watt at 1000 Wm⁻² and 25 °C, (n_windows, n_steps). ``charging_v`` is the battery's voltage
    while it is charged; what reaches it is counted in amperes times ``nominal_v``.
    """

    sky: Sky
    steps: Steps
    nominal_v: float
    charging_v: float
    shapes: list[Floats] = field(default_factory=list)
    sources: list[Source] = field(default_factory=list)
    _places: dict[tuple[int, str], int] = field(default_factory=dict)
    _shares: dict[str, Floats | None] = field(default_factory=dict)
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
        # volts lost in the lead at full sun; rounded, so that equal leads of several controllers share shapes
        drop_v = round(n_joined * panel.imp_a * panel.output_factor * lead_ohm, 4)
        if controller.kind == "mppt":
            return self._tracked(panel, controller, n_joined, lead_ohm, drop_v)
        return self._direct(panel, controller, n_joined, drop_v)

    def _tracked(self, panel: Panel, controller: Controller, n_joined: int, lead_ohm: float, drop_v: float) -> Gain:
        """Maximum-power tracking passes power: irradiance, heat and the lead count.

        P = G/1000 · P0 · (1 + γ·(T - 25)), NREL/TP-6A20-62641, less I²R in the lead; at the battery that is
        P / charging voltage in amperes. A controller that only steps down passes no more than the panel's current
        where the panel hardly stands above the battery, and nothing where it stands below.
        """
        rated_w = n_joined * panel.rated_w * panel.output_factor
        current_a = n_joined * panel.imp_a * panel.output_factor
        # rounded up: against the owner
        loss_steps = math.ceil(current_a**2 * lead_ohm / rated_w * _LOSS_STEPS - 1e-9) if lead_ohm > 0 else 0
        way = laid(panel)
        alike: tuple[object, ...] = ("tracked", way, panel.power_per_degc, *self._start_key(panel, controller))
        key: tuple[object, ...] = (*alike, loss_steps)
        is_near = not controller.boost and not self._always_above(panel, panel.vmp_v, drop_v, HEADROOM_V)
        if is_near:
            # the panel's current at the battery over its rated power behind the controller
            current_share = panel.imp_a * self.charging_v / (panel.rated_w * controller.efficiency)
            key = (*key, panel.vmp_v, panel.voc_per_degc, drop_v, current_share, self.charging_v)

        def shape() -> Floats:
            sun = self.sky.useful_wm2[way] / 1000.0
            warm = np.maximum(0.0, 1.0 + panel.power_per_degc * (self.sky.panel_degc[way] - 25.0))
            # the current grows with the sun, the loss with its square; a panel never takes power
            passed = np.maximum(0.0, sun * warm - loss_steps / _LOSS_STEPS * sun**2)
            if is_near:
                above_v = self._volts(panel, panel.vmp_v) - sun * drop_v - self.charging_v
                passed = np.where(above_v < HEADROOM_V, np.minimum(passed, sun * current_share), passed)
                passed = np.where(above_v < 0.0, 0.0, passed)
            return self._once_started(panel, controller, passed)

        size_w = rated_w * controller.efficiency * self.nominal_v / self.charging_v
        # what more is lost in the lead, the less is passed in every step
        return Gain(self._source(self._place(key, shape), panel, None if is_near else alike, loss_steps), size_w)

    def _direct(self, panel: Panel, controller: Controller, n_joined: int, drop_v: float) -> Gain:
        """A PWM controller passes the panel's current at the battery's voltage.

        Up to its voltage at maximum power a panel is a current source. Where the hot panel less
        the lead's drop cannot reach the battery, current falls along the line to open circuit.
        """
        way = laid(panel)
        key: tuple[object, ...] = ("direct", way)
        is_near = not self._always_above(panel, panel.vmp_v, drop_v, 0.0)
        if is_near:
            key = (*key, panel.vmp_v, panel.voc_v, panel.voc_per_degc, drop_v, self.charging_v)
        key = (*key, *self._start_key(panel, controller))

        def shape() -> Floats:
            passed = self.sky.useful_wm2[way] / 1000.0
            if is_near:
                needed_v = self.charging_v + passed * drop_v
                knee_v, open_v = self._volts(panel, panel.vmp_v), self._volts(panel, panel.voc_v)
                passed = passed * np.clip((open_v - needed_v) / np.maximum(open_v - knee_v, 1e-6), 0.0, 1.0)
            return self._once_started(panel, controller, passed)

        size_w = n_joined * panel.imp_a * panel.output_factor * self.nominal_v
        return Gain(self._source(self._place(key, shape), panel), size_w)

    def _source(self, shape: int, panel: Panel, alike: object = None, loss: int = 0) -> int:
        """Number of the source that follows a shape in the share that a panel is worth.

        A worth is current. What its lead loses, and the drop in it, stay those of the mean.
        """
        if panel.id not in self._shares:
            self._shares[panel.id] = self.sky.worth_shares(panel)
        share = self._shares[panel.id]
        # panels whose worth is certain are alike
        key = (shape, "" if share is None else panel.id)
        if key not in self._places:
            self._places[key] = len(self.sources)
            self.sources.append(Source(shape, share, alike, loss))
        return self._places[key]

    def _volts(self, panel: Panel, at_25_v: float) -> Floats:
        """A voltage of the panel in every step, shape (n_windows or 1, n_steps). [V]"""
        return at_25_v * volts_share(panel, self.sky.panel_degc[laid(panel)])

    def _always_above(self, panel: Panel, at_25_v: float, drop_v: float, by_v: float) -> bool:
        """Whether a panel behind its lead stands that far above the battery even when hottest and brightest at once."""
        hottest_degc, brightest = self._extremes(laid(panel))
        return at_25_v * volts_share(panel, hottest_degc) >= self.charging_v + by_v + brightest * drop_v

    def _start_key(self, panel: Panel, controller: Controller) -> tuple[object, ...]:
        """What a start voltage adds to a shape's key: nothing where even the hottest panel starts."""
        start_v = controller.start_above_v
        hottest_degc, _ = self._extremes(laid(panel))
        if start_v is None or panel.voc_v * volts_share(panel, hottest_degc) > start_v:
            return ()
        return ("start", panel.voc_v, panel.voc_per_degc, start_v)

    def _once_started(self, panel: Panel, controller: Controller, shape: Floats) -> Floats:
        """The shape in the steps in which the open panel starts the controller, nothing in the others."""
        if not self._start_key(panel, controller):
            return shape
        return np.where(self._volts(panel, panel.voc_v) > (controller.start_above_v or 0.0), shape, 0.0)

    def _extremes(self, way: Laid) -> tuple[float, float]:
        """Hottest cells and brightest sun of all windows. [°C], [1000 Wm⁻²]"""
        if way not in self._most:
            degc, useful_wm2 = self.sky.panel_degc[way], self.sky.useful_wm2[way]
            self._most[way] = (float(np.max(degc)), float(np.max(useful_wm2)) / 1000.0)
        return self._most[way]

    def _place(self, key: tuple[object, ...], shape: Callable[[], Floats]) -> int:
        """Number of the shape that hangs on nothing but a key, over all windows and steps."""
        if key not in self._index:
            known, known_as = self.sky.shapes, (self.steps.cell.tobytes(), key)
            if known_as not in known:
                made = self.steps.spread(shape())
                made = np.ascontiguousarray(np.broadcast_to(made, (self.sky.n_windows, made.shape[1])))
                while known and (len(known) + 1) * made.nbytes > _MOST_BYTES:
                    del known[next(iter(known))]
                known[known_as] = made
            self._index[key] = len(self.shapes)
            self.shapes.append(known[known_as])
        return self._index[key]
