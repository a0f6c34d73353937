"""Set-ups of a panel, a controller and a battery with one fault, or none, and what a meter reads on them.

Written apart from kitopt's own: the curve of one diode by pvlib's `bishop88` over sections of cells, parameters fitted
here, the light on the panel by an even sky and a rule for the glass, heat by the nominal operating temperature. The
ranges of severity were fixed before anything was written that names a cause. They and the noise of meters are common
practice, no source.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from typing import Any

import numpy as np
import pvlib
from numpy.typing import NDArray

Floats = NDArray[np.float64]

CAUSES = (
    *("aim", "haze", "dirt", "shade", "open-section", "lead", "connector", "limit", "not-tracking", "full", "cold"),
    *("nothing", "polarity", "meter-zero", "weak"),
)
"""Fifteen faults, each of which can lose 15 %: heat beyond the usual cannot through PWM."""

LEAST_LOSS = 0.15
DECLARED_WORTH = 0.80
METER = 0.03
"""Standard deviation of a meter's gain; amperes and short circuit are read on the same one."""
SUN_WM2 = 100.0
"""The beam is off what a clear sky gives by anything up to this. [Wm⁻²]"""


@dataclass(frozen=True)
class SetUp:
    """What its owner knows of it.

    Attributes
    ----------
    beam_wm2, diffuse_wm2 : float
        What a clear sky gives now, facing the sun and on the flat. [Wm⁻²]
    is_facing : bool
        Facing the sun, else flat.
    """

    rated_w: float
    vmp_v: float
    imp_a: float
    voc_v: float
    isc_a: float
    kind: str
    sun_high_deg: float
    beam_wm2: float
    diffuse_wm2: float
    is_facing: bool
    air_degc: float
    lead_ohm: float
    battery_ah: float


@dataclass(frozen=True)
class Truth:
    """What is really there; the plain values are those of a healthy one."""

    cause: str
    worth: float
    beam_off_wm2: float
    gain: float
    charge_share: float
    wind_ms: float
    n_sections: int
    wiring: str
    off_deg: float = 0.0
    off_towards_deg: float = 0.0
    beam_share: float = 1.0
    diffuse_share: float = 1.0
    kept_share: float = 1.0
    shaded_light: float = 1.0
    is_open: bool = False
    lead_more_ohm: float = 0.0
    connector_ohm: float = 0.0
    is_inside_ends: bool = False
    limit_share: float = 1.0
    tracks: str = "well"
    held_share: float = 0.93
    takes_share: float = 1.0
    is_at_float: bool = False
    cells_degc: float = 20.0
    cold_v: float = 14.4
    is_cold: bool = False
    break_at: str = ""
    is_reversed: bool = False
    zero_a: float = 0.0


@dataclass(frozen=True)
class Read:
    """Readings without noise."""

    amps: float
    battery_v: float
    panel_v: float
    voc_v: float
    isc_a: float
    pen_deg: float
    lead_ends_v: float


def a_set_up(draw: np.random.Generator, cause: str) -> SetUp:
    """A set-up on which the cause can be."""
    rated_w = float(draw.choice([50.0, 80.0, 100.0, 120.0]))
    vmp_v = {50.0: 18.0, 80.0: 18.5, 100.0: 19.0, 120.0: 19.0}[rated_w]
    imp_a = rated_w / vmp_v
    kind = "mppt" if cause == "not-tracking" else str(draw.choice(["pwm", "mppt"]))
    high = float(draw.uniform(35.0, 70.0))
    air = float(draw.uniform(-4.0, 5.0)) if cause == "cold" else float(draw.uniform(8.0, 30.0))
    return SetUp(
        *(rated_w, vmp_v, imp_a, 1.21 * vmp_v, 1.07 * imp_a, kind, high),
        beam_wm2=820.0 + 2.2 * (high - 35.0),
        diffuse_wm2=float(draw.uniform(85.0, 125.0)),
        is_facing=bool(draw.random() < 0.7),
        air_degc=air,
        lead_ohm=float(draw.uniform(0.05, 0.2)),
        battery_ah=float(draw.choice([10.0, 20.0, 30.0])),
    )


def a_truth(draw: np.random.Generator, set_up: SetUp, cause: str) -> Truth:
    """A fault, or a healthy set-up for the cause "normal"; severities are drawn as the table of causes has them."""
    n = int(draw.choice([2, 3, 4]))
    found = Truth(
        cause,
        worth=DECLARED_WORTH * float(draw.normal(1.0, 0.05)),
        beam_off_wm2=float(draw.uniform(-SUN_WM2, SUN_WM2)),
        gain=float(draw.normal(1.0, METER)),
        charge_share=float(draw.uniform(0.15, 0.9)),
        wind_ms=float(draw.uniform(0.5, 3.0)),
        n_sections=n,
        wiring=str(draw.choice(["bypass", "series", "parallel"], p=[0.5, 0.3, 0.2])),
        cells_degc=set_up.air_degc + float(draw.uniform(-2.0, 4.0)),
    )
    more: dict[str, Any] = {}
    if cause == "aim":
        low, high = (20.0, 70.0) if set_up.is_facing else (12.0, 45.0)
        more = {"off_deg": float(draw.uniform(low, high)), "off_towards_deg": float(draw.uniform(0.0, 360.0))}
    elif cause == "haze":
        more = {"beam_share": float(draw.uniform(0.10, 0.75)), "diffuse_share": float(draw.uniform(0.9, 1.7))}
    elif cause == "dirt":
        more = {"kept_share": 1.0 - float(draw.uniform(0.08, 0.50))}
    elif cause == "shade":
        some = (0.0, 0.3) if draw.random() < 0.6 else (0.3, 0.8)
        more = {"shaded_light": float(draw.uniform(*some))}
    elif cause == "open-section":
        more = {"is_open": True, "wiring": str(draw.choice(["bypass", "parallel"]))}
    elif cause == "lead":
        more = {"lead_more_ohm": 2.6 / set_up.imp_a * math.exp(math.log(1.8) * draw.normal())}
    elif cause == "connector":
        ohm = 3.0 / set_up.imp_a * math.exp(math.log(2.2) * draw.normal())
        more = {"connector_ohm": ohm, "is_inside_ends": bool(draw.random() < 0.5)}
    elif cause == "limit":
        more = {"limit_share": float(draw.uniform(0.35, 0.82))}
    elif cause == "not-tracking":
        more = {"tracks": str(draw.choice(["low", "high"])), "held_share": float(draw.uniform(0.90, 0.975))}
    elif cause == "full":
        at_float = bool(draw.random() < 0.3)
        more = {"takes_share": 0.0 if at_float else float(draw.uniform(0.03, 0.65)), "is_at_float": at_float}
        more["charge_share"] = 1.0
    elif cause == "cold":
        more = {"is_cold": True, "cold_v": float(draw.uniform(14.2, 14.6)), "cells_degc": float(draw.uniform(-5, -0.5))}
    elif cause == "nothing":
        more = {"break_at": str(draw.choice(["panel", "battery"]))}
    elif cause == "polarity":
        more = {"is_reversed": True}
    elif cause == "meter-zero":
        more = {"zero_a": -float(draw.uniform(0.1, 0.7))}
    elif cause == "weak":
        more = {"worth": found.worth * float(draw.uniform(0.45, 0.82))}
    return replace(found, **more)


def healthy_twin(truth: Truth) -> Truth:
    """The same day, meter and panel without the fault."""
    worth = truth.worth if truth.cause != "weak" else DECLARED_WORTH
    charge = 0.6 if truth.cause == "full" else truth.charge_share
    return Truth(
        *("normal", worth, truth.beam_off_wm2, truth.gain, charge, truth.wind_ms, truth.n_sections, truth.wiring)
    )


def a_fault(draw: np.random.Generator, cause: str) -> tuple[SetUp, Truth]:
    """A set-up with a fault that loses at least 15 % of the amperes."""
    while True:
        set_up = a_set_up(draw, cause)
        truth = a_truth(draw, set_up, cause)
        if cause == "normal":
            return set_up, truth
        usual_a = read(set_up, healthy_twin(truth)).amps
        if read(set_up, truth).amps <= (1.0 - LEAST_LOSS) * usual_a:
            return set_up, truth


# ---- light and heat


def light_wm2(set_up: SetUp, truth: Truth) -> tuple[float, float]:
    """Light in the panel's plane, and degrees between the panel and the sun. [Wm⁻²], [deg]"""
    zenith = math.radians(90.0 - set_up.sun_high_deg)
    sun = np.array([math.sin(zenith), 0.0, math.cos(zenith)])
    normal = sun if set_up.is_facing else np.array([0.0, 0.0, 1.0])
    if truth.off_deg:
        # turned away by an angle, towards any side
        aside = np.cross(normal, [0.0, 1.0, 0.0])
        aside /= np.linalg.norm(aside)
        other = np.cross(normal, aside)
        towards = math.radians(truth.off_towards_deg)
        turned = math.radians(truth.off_deg)
        normal = math.cos(turned) * normal + math.sin(turned) * (math.cos(towards) * aside + math.sin(towards) * other)
    cos = max(float(normal @ sun), 0.0)
    beam = (set_up.beam_wm2 + truth.beam_off_wm2) * truth.beam_share
    diffuse = set_up.diffuse_wm2 * truth.diffuse_share
    tilt_cos = max(float(normal[2]), 0.0)
    glass = max(1.0 - 0.05 * (1.0 / max(cos, 0.1) - 1.0), 0.0)
    ground = 0.2 * (beam * math.cos(zenith) + diffuse) * (1.0 - tilt_cos) / 2.0
    total = beam * cos * glass + 0.95 * diffuse * (1.0 + tilt_cos) / 2.0 + ground
    return total, math.degrees(math.acos(min(max(float(normal @ sun), -1.0), 1.0)))


def cell_degc(set_up: SetUp, truth: Truth, wm2: float) -> float:
    """Nominal operating temperature: 46 °C at 800 W/m², 20 °C and 1 m/s, hotter on the ground. [°C]"""
    rise = wm2 / 800.0 * 26.0 * (1.25 - 0.25 * truth.wind_ms / 1.0 * 0.6)
    return set_up.air_degc + rise * (1.0 if set_up.is_facing else 1.35)


# ---- the panel's curve


def _one_diode(set_up: SetUp, wm2: float, degc: float) -> tuple[float, float, float, float, float]:
    """Parameters of all cells in series, of the label's four points and an ideality of 1.15."""
    a_v = 36.0 * 1.15 * 0.02569
    shunt = 40.0 * set_up.vmp_v / set_up.imp_a
    saturation = (set_up.isc_a - set_up.voc_v / shunt) / math.expm1(set_up.voc_v / a_v)
    inner = (set_up.isc_a - set_up.imp_a - set_up.vmp_v / shunt) / saturation + 1.0
    series = max((a_v * math.log(inner) - set_up.vmp_v) / set_up.imp_a, 0.02)
    return tuple(
        float(value)
        for value in pvlib.pvsystem.calcparams_desoto(
            wm2, degc, 0.0005 * set_up.isc_a, a_v, set_up.isc_a, saturation, shunt, series
        )
    )


def curve(set_up: SetUp, truth: Truth) -> tuple[Floats, Floats]:
    """Volts, rising, and the amperes at them, at the panel's own plug."""
    wm2, _ = light_wm2(set_up, truth)
    degc = cell_degc(set_up, truth, wm2)
    wm2 = max(wm2 * truth.worth * truth.kept_share, 1.0)
    n = truth.n_sections
    lights = np.ones(n)
    lights[0] = truth.shaded_light
    is_parallel = truth.wiring == "parallel"
    one = []
    for light in lights:
        made, saturation, series, shunt, a_v = _one_diode(set_up, wm2 * max(light, 1e-3), degc)
        share = 1.0 if is_parallel else 1.0 / n
        through = 1.0 / n if is_parallel else 1.0
        # in parallel each fold has all the volts and a part of the amperes
        params = (made * through, saturation * through, series * share / through, shunt * share / through, a_v * share)
        # above the default breakdown of -5.5 V, which has no part in it
        vd = np.linspace(-5.0 if not is_parallel else -1.0, 1.15 * set_up.voc_v * share, 1200)
        amps, volts, _ = pvlib.singlediode.bishop88(vd, *params)
        one.append((volts, amps))
    if is_parallel:
        volts = np.linspace(0.0, 1.1 * set_up.voc_v, 900)
        # a fold of its own diode takes nothing back
        parts = [np.maximum(np.interp(volts, v, a), 0.0) for v, a in one]
        if truth.is_open:
            parts[0] = np.zeros_like(volts)
        return volts, np.asarray(sum(parts))
    grid = np.linspace(0.0, 1.02 * max(float(np.interp(0.0, v, a)) for v, a in one), 900)
    total = np.zeros_like(grid)
    for number, (volts, amps) in enumerate(one):
        if truth.is_open and number == 0:
            total -= 0.5
            continue
        order = np.argsort(amps)
        at = np.interp(grid, amps[order], volts[order], left=volts[order][0], right=-40.0)
        # beyond its light the section is driven backwards; its bypass diode holds it at half a volt
        total += np.maximum(at, -0.5) if truth.wiring == "bypass" else at
    order = np.argsort(total)
    return total[order], grid[order]


# ---- the whole set-up


def _battery_v(truth: Truth, amps: float, set_up: SetUp) -> float:
    """LiFePO4 while it is charged: 13.0 to 13.5 V and what the current adds."""
    return 13.05 + 0.42 * truth.charge_share + amps * 0.6 / set_up.battery_ah


def read(set_up: SetUp, truth: Truth) -> Read:
    """What ideal meters would read; amperes with the offset of the one that is there."""
    volts, amps = curve(set_up, truth)
    _, off = light_wm2(set_up, truth)
    voc = float(np.interp(-1e-9, -amps, volts)) if amps[-1] <= 0 else float(volts[np.argmin(amps)])
    voc = float(volts[amps > 1e-4].max(initial=0.0)) if voc <= 0 else voc
    isc = float(np.interp(0.0, volts, amps))
    ohm = set_up.lead_ohm + truth.lead_more_ohm + truth.connector_ohm
    behind = volts - amps * ohm

    def at(v: float) -> float:
        order = np.argsort(behind)
        return max(float(np.interp(v, behind[order], amps[order], right=0.0)), 0.0)

    into, v_in, v_battery = 0.0, voc, 0.0
    v_battery = _battery_v(truth, 0.0, set_up)
    for _ in range(4):
        v_battery = _battery_v(truth, into, set_up)
        if set_up.kind == "pwm":
            v_in = v_battery + 0.25
            into = 0.99 * at(v_in)
        else:
            watts = np.where(behind > v_battery + 1.0, behind * amps, 0.0)
            best = int(watts.argmax())
            v_in = float(behind[best])
            if truth.tracks == "low":
                v_in = v_battery + 1.0
            elif truth.tracks == "high":
                v_in = truth.held_share * voc
            if watts[best] <= 0.0:
                v_in = voc
            into = 0.95 * v_in * at(v_in) / v_battery
    held = into
    if truth.limit_share < 1.0:
        held = truth.limit_share * into
    if truth.takes_share < 1.0:
        held = truth.takes_share * into
        v_battery = 13.6 if truth.is_at_float else 14.2 + 0.3 * (1.0 - truth.takes_share)
    if truth.is_cold:
        held, v_battery = 0.0, truth.cold_v
    is_dead = bool(truth.break_at) or truth.is_reversed
    if is_dead:
        held, v_battery = 0.0, _battery_v(truth, 0.0, set_up) - 0.1
    if held < into - 1e-9:
        # what is not taken lets the panel's volts rise; switching keeps the mean there
        need = held / max(into, 1e-9) * (at(v_in) if into else 0.0)
        order = np.argsort(behind)
        above = [v for v in behind[order] if v >= v_in and at(float(v)) <= need + 1e-6]
        v_in = float(above[0]) if above else voc
    if truth.break_at == "panel" or truth.is_reversed:
        v_in = 0.0
    elif truth.break_at == "battery":
        v_in = voc
    flows = at(v_in) if held > 0 else 0.0
    drop = flows * (set_up.lead_ohm + truth.lead_more_ohm + (truth.connector_ohm if truth.is_inside_ends else 0.0))
    return Read(
        amps=held + truth.zero_a,
        battery_v=v_battery,
        panel_v=v_in,
        voc_v=-voc if truth.is_reversed else voc,
        isc_a=isc,
        pen_deg=off,
        lead_ends_v=drop,
    )


@dataclass
class Meter:
    """Someone who reads a set-up, and slips three times in a hundred."""

    set_up: SetUp
    truth: Truth
    draw: np.random.Generator
    exact: Read = field(init=False)

    def __post_init__(self) -> None:
        self.exact = read(self.set_up, self.truth)

    def _volts(self, volts: float) -> float:
        return volts * (1.0 + 0.005 * self.draw.normal()) + 0.01 * self.draw.normal()

    def _amps(self, amps: float) -> float:
        return amps * self.truth.gain + 0.02 * self.draw.normal()

    def _yes(self, chance: float) -> bool:
        return bool(self.draw.random() < chance)

    def _gain(self, truth: Truth) -> float:
        after = read(self.set_up, truth).amps
        return (self._amps(after) + 1e-9) / max(self._amps(self.exact.amps), 0.02)

    def see(self, what: str) -> float:
        """One reading by its name; looks and trials answer 1 for yes."""
        truth, exact = self.truth, self.exact
        if what == "amps":
            return self._amps(exact.amps - truth.zero_a) + truth.zero_a
        if what == "volts":
            return self._volts(exact.battery_v)
        if what == "panel-volts":
            return self._volts(exact.panel_v)
        if what == "cover":
            return truth.zero_a + 0.01 * self.draw.normal()
        if what == "pen":
            return abs(exact.pen_deg + 5.0 * self.draw.normal())
        if what == "isc":
            # the same meter, its offset with it
            return self._amps(exact.isc_a) + truth.zero_a
        if what == "voc":
            return self._volts(exact.voc_v)
        if what == "look":
            return float(self._yes(0.85 if truth.cause == "shade" else 0.04))
        if what == "wiggle":
            return float(self._yes(0.70 if truth.cause == "connector" else 0.03))
        if what == "replug":
            return float(self._yes(0.55 if truth.cause == "not-tracking" else 0.02))
        if what == "cells":
            return truth.cells_degc + self.draw.normal()
        if what == "lead-ends":
            return max(exact.lead_ends_v * (1.0 + 0.06 * self.draw.normal()) + 0.08 * self.draw.normal(), 0.0)
        if what == "load":
            # a load on: what the battery now refuses flows again
            return float(self._yes(0.9 if truth.cause == "full" else 0.04))
        if what == "turn":
            return self._gain(replace(truth, off_deg=max(truth.off_deg - 20.0, 0.0))) if truth.off_deg else 1.0
        if what == "clean":
            return self._gain(replace(truth, kept_share=1.0)) * (1.0 + 0.02 * self.draw.normal())
        if what == "folds":
            is_dead = truth.cause in ("shade", "open-section") and truth.shaded_light < 0.5
            return float(self._yes(0.85 if is_dead or truth.is_open else 0.05))
        if what == "second":
            light = light_wm2(self.set_up, truth)[0]
            usual = light_wm2(self.set_up, replace(healthy_twin(truth), beam_off_wm2=0.0))[0]
            return light / usual * (1.0 + 0.08 * self.draw.normal())
        if what == "wait":
            return float(self._yes(0.5 if truth.cause == "haze" else 0.03))
        raise KeyError(what)


def stratified(draw: np.random.Generator, n_faults: int, n_healthy: int) -> list[tuple[SetUp, Truth]]:
    """So many faults, each cause as often as the others, then so many healthy ones."""
    named = [CAUSES[i % len(CAUSES)] for i in range(n_faults)] + ["normal"] * n_healthy
    return [a_fault(draw, cause) for cause in named]
