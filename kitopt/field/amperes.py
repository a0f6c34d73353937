"""Amperes that a panel should give with nothing wrong: now, by the hour, and step by step from its label."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.field.circuit import BYPASS, Supposed, most_power, seen
from kitopt.field.set_up import WIND_MS, SetUp, on_panel
from kitopt.field.suppose import MADE_BY, SUN_WM2
from kitopt.files.kept import Kept, kept
from kitopt.inventory.spreads import METER_SPREAD, NINETY_SPREADS

Floats = NDArray[np.float64]

FULL_FROM = 0.95
"""Charge from which a battery takes less and less; common practice, no source."""


def declared(set_up: SetUp, light_wm2: Floats, cell_degc: Floats) -> Supposed:
    """Set-ups as they are declared, in some light and heat, each of shape (n,)."""
    n = len(light_wm2)
    charge = set_up.charge_share
    takes = 1.0 if charge is None else float(np.clip((1.0 - charge) / (1.0 - FULL_FROM), 0.0, 1.0))
    whole, none, no = np.ones(n), np.zeros(n), np.zeros(n, dtype=bool)
    return Supposed(
        light_wm2=light_wm2,
        cell_degc=cell_degc,
        worth=whole * set_up.panel.output_factor,
        folds=np.full(n, 2),
        wiring=np.full(n, BYPASS),
        fold_light=whole,
        is_open=no,
        lead_ohm=whole * set_up.lead_ohm,
        more_ohm=none,
        passes_share=whole,
        held=np.zeros(n, dtype=np.int64),
        held_share=whole,
        takes_share=whole * takes,
        battery_v=whole * set_up.charging_v,
        fill_ohm=none,
        is_cut=no,
        is_broken=no,
        break_before=no,
        is_reversed=no,
    )


def spread_share(set_up: SetUp) -> float:
    """Relative standard deviation of the amperes that are expected: worth, sun and meter."""
    sun = SUN_WM2 / math.sqrt(3.0) / max(float(set_up.light.dni_wm2.max()), 4.0 * SUN_WM2)
    return math.sqrt(set_up.worth_spread**2 + sun**2 + 2.0 * METER_SPREAD**2)


def interval_a(set_up: SetUp, amps: float) -> tuple[float, float]:
    """Between which nine readings in ten lie. [A]"""
    spread = NINETY_SPREADS * spread_share(set_up)
    return amps * math.exp(-spread), amps * math.exp(spread)


def expected_a(set_up: SetUp, battery_v: float | None = None) -> float:
    """Amperes into the battery with nothing wrong; at its mean voltage while charging, or at the one given. [A]"""
    return waterfall(set_up, battery_v)[-1].after_a


def _lit(set_up: SetUp) -> tuple[Floats, Floats]:
    wm2, degc = on_panel(
        set_up.light,
        set_up.tilt_deg,
        set_up.azimuth_deg,
        lies=set_up.lies,
        air_degc=set_up.air_degc,
        wind_ms=np.asarray(WIND_MS),
    )
    return wm2[0], degc[0]


@dataclass(frozen=True)
class Step:
    """One step from the label to what is expected: amperes after it. [A]"""

    name: str
    after_a: float


def waterfall(set_up: SetUp, battery_v: float | None = None) -> tuple[Step, ...]:
    """From the label to what is expected, each step in amperes; the last is `expected_a`.

    Up to the heat a panel is taken at its best point: its current there through a controller that only switches, its
    power at the battery's voltage through one that tracks.
    """
    # of any battery's volts, so that the next reading finds all of it again
    volts = set_up.charging_v * _VOLTS

    def make() -> Kept:
        return Kept({"after_a": np.array([step.after_a for step in _steps(set_up)]), "at_a": _at_volts(set_up, volts)})

    found = kept(f"steps {set_up!r}", MADE_BY, make).arrays
    last_a = float(np.interp(set_up.charging_v if battery_v is None else battery_v, volts, found["at_a"]))
    return tuple(Step(name, float(a)) for name, a in zip(STEPS, (*found["after_a"], last_a), strict=True))


STEPS = ("label", "worth", "sun", "aim", "heat", "lead", "controller", "battery")
_VOLTS = np.linspace(0.8, 1.2, 41)
"""Shares of the mean voltage while charging, the last step's grid."""


def _at_volts(set_up: SetUp, volts: Floats) -> Floats:
    """Expected amperes over the battery's volts. [A]"""
    wm2, degc = _lit(set_up)
    whole = np.ones_like(volts)
    some = declared(set_up, wm2 * whole, degc * whole)
    some.battery_v = volts
    return seen(set_up, some).amps


def _steps(set_up: SetUp) -> list[Step]:
    """All steps but the battery's."""
    panel, tracks = set_up.panel, set_up.controller.kind == "mppt"
    label_a = panel.rated_w / set_up.charging_v if tracks else panel.imp_a

    def best_a(wm2: Floats, degc: Floats) -> float:
        volts, amps = most_power(panel, wm2 * panel.output_factor, degc)
        return float((volts * amps / set_up.charging_v if tracks else amps)[0])

    facing_wm2, _ = _lit(set_up.facing_sun())
    wm2, degc = _lit(set_up)
    cool = np.full_like(degc, 25.0)
    steps = [
        Step("label", label_a),
        Step("worth", label_a * panel.output_factor),
        Step("sun", best_a(facing_wm2, cool)),
        Step("aim", best_a(wm2, cool)),
        Step("heat", best_a(wm2, degc)),
    ]
    some = declared(set_up, wm2, degc)
    whole = np.ones_like(wm2)
    some.takes_share = whole
    with_lead = float(seen(set_up, some).amps[0])
    some.lead_ohm = 0.0 * whole
    bare = float(seen(set_up, some).amps[0])
    steps.append(Step("lead", steps[-1].after_a + with_lead - bare))
    return [*steps, Step("controller", with_lead)]
