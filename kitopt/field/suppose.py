"""Suppositions: so many set-ups of every cause, with all else as it may be, and what meters would read on them."""

from __future__ import annotations

from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.field.causes import CAUSES, Cause, Changes, prior_of
from kitopt.field.circuit import BYPASS, PARALLEL, SERIES, Seen, Supposed, seen
from kitopt.field.set_up import WIND_MS, SetUp, on_panel
from kitopt.files.kept import Kept, kept
from kitopt.inventory.spreads import METER_SPREAD
from kitopt.second_opinion.cells import CELLS, CHARGES

Floats = NDArray[np.float64]

N_EACH = 3000
"""Suppositions a cause; fewer starve when there are seven readings."""
SEED = 20260917
LEAST_LOSS = 0.10
"""What loses less is no fault: it would only take likelihood from "normal"."""

USUAL_AIM_SHARE = 0.8
"""Of panels that are as far off their aim as the table has it, those that lose a tenth or more, facing the sun."""

SUN_WM2 = 100.0
"""How far a clear sky's beam may be off, either way; common practice, no source. [Wm⁻²]"""
HEAT_SPREAD_DEGC = 6.0
"""How far cells are off what light and wind make of them; common practice, no source. [°C]"""


@dataclass(frozen=True)
class Suppositions:
    """Set-ups of all causes together, each array of shape (n,).

    Attributes
    ----------
    cause : ndarray of int
        Index in `causes`.
    weight : ndarray
        Prior of each, summing to 1.
    seen : Seen
        What meters without error would read.
    gain : ndarray
        Of the ammeter.
    zero_a : ndarray
        What it shows without any current. [A]
    off_deg : ndarray
        Between the panel and the sun. [deg]
    lead_ohm : ndarray
        Between the lead's ends. [Ω]
    cells_degc : ndarray
        Of the battery's cells. [°C]
    turned_share, cleaned_share, sky_share : ndarray
        Amperes over those now after turning 20° to the sun, and after wiping; light on a second panel held alike over
        what is expected there.
    is_dead_fold : ndarray of bool
        Whether covering one fold changes nothing.
    usual_a : float
        Median of the healthy ones. [A]
    """

    causes: tuple[Cause, ...]
    cause: NDArray[np.int64]
    weight: Floats
    seen: Seen
    gain: Floats
    zero_a: Floats
    off_deg: Floats
    lead_ohm: Floats
    cells_degc: Floats
    turned_share: Floats
    cleaned_share: Floats
    sky_share: Floats
    is_dead_fold: NDArray[np.bool_]
    usual_a: float

    def is_cause(self, *names: str) -> NDArray[np.bool_]:
        """Which of them have one of some causes."""
        numbers = [i for i, cause in enumerate(self.causes) if cause.id in names]
        return np.isin(self.cause, numbers)


MADE_BY = ("sky", "second_opinion", "field", "model", "inventory")
"""Folders whose code makes what is kept of the field."""


def suppositions(set_up: SetUp, n_each: int = N_EACH, seed: int = SEED) -> Suppositions:
    """Draw set-ups of every cause that can be here; those of a set-up that was asked about before are found again."""
    causes = tuple(cause for cause in CAUSES if prior_of(cause, set_up) > 0.0)

    def make() -> Kept:
        return _laid_down(_drawn(set_up, causes, n_each, seed))

    return _taken_up(causes, kept(f"suppositions {set_up!r} {n_each} {seed}", MADE_BY, make))


def _laid_down(some: Suppositions) -> Kept:
    plain = {name: getattr(some, name) for name in _PLAIN}
    arrays = {**plain, **some.seen._asdict()}
    # half as long numbers: what is kept should stay small, and what is just made must not differ from it
    return Kept({name: one.astype(np.float32) for name, one in arrays.items()}, some.usual_a)


def _taken_up(causes: tuple[Cause, ...], found: Kept) -> Suppositions:
    arrays = {name: one.astype(np.float64) for name, one in found.arrays.items()}
    return Suppositions(
        causes=causes,
        cause=arrays["cause"].astype(np.int64),
        seen=Seen(*(arrays[name] for name in Seen._fields)),
        is_dead_fold=arrays["is_dead_fold"] > 0.5,
        usual_a=float(found.facts),
        **{name: arrays[name] for name in _PLAIN if name not in ("cause", "is_dead_fold")},
    )


_PLAIN = (
    *("cause", "weight", "gain", "zero_a", "off_deg", "lead_ohm", "cells_degc"),
    *("turned_share", "cleaned_share", "sky_share", "is_dead_fold"),
)


def _drawn(set_up: SetUp, causes: tuple[Cause, ...], n_each: int, seed: int) -> Suppositions:
    draw = np.random.default_rng(seed)
    # all else is the same for every cause, so that what a fault loses is its own
    usual = _usual(draw, set_up, n_each)
    changes = [_changed(draw, set_up, cause, usual) for cause in causes]
    values = {name: np.concatenate([one[name] for one in changes]) for name in changes[0]}
    number = np.repeat(np.arange(len(causes)), n_each)
    tilt, azimuth = _turned(set_up, values["turn_deg"], values["turn_to_deg"])
    found, off_deg, sky = _seen(set_up, values, tilt, azimuth)
    healthy_a = found.amps[:n_each]
    keeps = number == 0
    keeps |= found.amps + values["zero_a"] <= (1.0 - LEAST_LOSS) * np.tile(healthy_a, len(causes))
    counts = np.bincount(number[keeps], minlength=len(causes))
    # a cause of which hardly any supposition loses enough is not behind a low reading here
    priors = np.array([prior_of(cause, set_up) for cause in causes]) * (counts >= max(20, n_each // 100))
    if "aim" in (names := [cause.id for cause in causes]):
        # where the sun stands so that turning hardly matters, aim is behind fewer low readings
        priors[names.index("aim")] *= min(counts[names.index("aim")] / n_each / USUAL_AIM_SHARE, 1.0)
    weight = np.where(keeps, (priors / np.maximum(counts, 1))[number], 0.0)
    keeps &= weight > 0.0

    def cut(values: NDArray[Any]) -> Any:
        return values[keeps]

    return Suppositions(
        causes,
        cut(number),
        cut(weight) / weight[keeps].sum(),
        Seen(*(cut(one) for one in found)),
        cut(values["gain"]),
        cut(values["zero_a"]),
        cut(off_deg),
        cut(values["lead_ohm"]),
        cut(values["cells_degc"]),
        cut(_after_turning(set_up, values, off_deg)),
        cut(values["cleaned_share"]),
        cut(sky),
        cut(values["is_open"] | (values["fold_light"] < 0.5)),
        float(np.median(healthy_a)),
    )


def _changed(draw: np.random.Generator, set_up: SetUp, cause: Cause, usual: Changes) -> Changes:
    """Usual values with a cause's changes."""
    changed = {**usual, **cause.severity(draw, set_up, len(usual["worth"]), usual)}
    if cause.id == "dirt":
        changed["cleaned_share"] = usual["worth"] / changed["worth"]
    return changed


def _usual(draw: np.random.Generator, set_up: SetUp, n: int) -> Changes:
    """Values of n set-ups on which all is as declared."""
    cells = CELLS[set_up.battery.chemistry]
    scale = set_up.battery.nominal_v / cells.nominal_v
    told = set_up.charge_share
    share = draw.uniform(0.1, 0.9, n) if told is None else np.clip(told + draw.uniform(-0.1, 0.1, n), 0.02, 0.98)
    beam_wm2 = max(float(set_up.light.dni_wm2[0, 0]), 1.0)
    return {
        "worth": set_up.panel.output_factor * (1.0 + set_up.worth_spread * draw.standard_normal(n)),
        "beam": np.maximum(1.0 + min(SUN_WM2 / beam_wm2, 0.5) * draw.uniform(-1.0, 1.0, n), 0.05),
        "diffuse": 1.0 + 0.15 * draw.standard_normal(n),
        "wind_ms": WIND_MS * np.exp(0.5 * draw.standard_normal(n)),
        "heat_degc": HEAT_SPREAD_DEGC * draw.standard_normal(n),
        "turn_deg": np.abs(3.0 * draw.standard_normal(n)),
        "turn_to_deg": draw.uniform(0.0, 360.0, n),
        "folds": draw.integers(2, 5, n),
        "wiring": draw.choice([BYPASS, SERIES, PARALLEL], size=n, p=[0.5, 0.3, 0.2]),
        "fold_light": np.ones(n),
        "is_open": np.zeros(n, dtype=bool),
        "lead_ohm": set_up.lead_ohm * (1.0 + 0.1 * draw.standard_normal(n)),
        "more_ohm": np.zeros(n),
        "passes_share": np.ones(n),
        "held": np.zeros(n, dtype=np.int64),
        "held_share": np.full(n, 0.93),
        "takes_share": np.ones(n),
        "battery_v": np.interp(share, CHARGES, cells.fed_v) * scale,
        "fill_ohm": np.full(n, cells.fill_ohm_ah * scale / max(set_up.battery.measured_ah, 1.0)),
        "is_cut": np.zeros(n, dtype=bool),
        "is_broken": np.zeros(n, dtype=bool),
        "break_before": np.zeros(n, dtype=bool),
        "is_reversed": np.zeros(n, dtype=bool),
        "zero_a": 0.01 * draw.standard_normal(n),
        "gain": 1.0 + METER_SPREAD * draw.standard_normal(n),
        "cells_degc": set_up.air_degc + draw.uniform(-2.0, 4.0, n),
        "cleaned_share": np.ones(n),
    }


def _turned(set_up: SetUp, by_deg: Floats, towards_deg: Floats) -> tuple[Floats, Floats]:
    """Tilt and azimuth of panels turned away from the declared aim. [deg]"""
    tilt, azimuth = np.radians(set_up.tilt_deg), np.radians(set_up.azimuth_deg)
    normal = np.array([np.sin(tilt) * np.sin(azimuth), np.sin(tilt) * np.cos(azimuth), np.cos(tilt)])
    down = np.array([np.cos(tilt) * np.sin(azimuth), np.cos(tilt) * np.cos(azimuth), -np.sin(tilt)])
    aside = np.array([np.cos(azimuth), -np.sin(azimuth), 0.0])
    by, to = np.radians(by_deg), np.radians(towards_deg)
    turned = np.outer(np.cos(by), normal) + np.sin(by)[:, None] * (
        np.outer(np.cos(to), down) + np.outer(np.sin(to), aside)
    )
    tilts = np.degrees(np.arccos(np.clip(turned[:, 2], -1.0, 1.0)))
    return tilts, np.degrees(np.arctan2(turned[:, 0], turned[:, 1])) % 360.0


def _seen(set_up: SetUp, values: Changes, tilt: Floats, azimuth: Floats) -> tuple[Seen, Floats, Floats]:
    """What meters would read, the angle to the sun, and the light over what is expected."""
    light = set_up.light
    here = replace(
        light,
        dni_wm2=light.dni_wm2 * values["beam"][:, None],
        dhi_wm2=light.dhi_wm2 * np.maximum(values["diffuse"], 0.3)[:, None],
    )
    wind = values["wind_ms"][:, None]
    how = {"lies": set_up.lies, "air_degc": set_up.air_degc, "wind_ms": wind}
    wm2, degc = on_panel(here, tilt[:, None], azimuth[:, None], **how)
    straight, _ = on_panel(here, set_up.tilt_deg, set_up.azimuth_deg, **how)
    told, _ = on_panel(light, set_up.tilt_deg, set_up.azimuth_deg, **{**how, "wind_ms": np.asarray(WIND_MS)})
    names = Supposed.__dataclass_fields__
    some = Supposed(
        light_wm2=wm2[:, 0],
        cell_degc=degc[:, 0] + values["heat_degc"],
        **{name: values[name] for name in names if name in values},
    )
    sun, around = (np.radians(one) for one in set_up.sun_deg)
    slope, facing = np.radians(tilt), np.radians(azimuth)
    cos = np.cos(slope) * np.cos(sun) + np.sin(slope) * np.sin(sun) * np.cos(around - facing)
    off_deg = np.degrees(np.arccos(np.clip(cos, -1.0, 1.0)))
    return seen(set_up, some), off_deg, straight[:, 0] / max(float(told[0, 0]), 1e-6)


def _after_turning(set_up: SetUp, values: Changes, off_deg: Floats) -> Floats:
    """Light after turning 20° towards the sun over that now: what amperes follow."""
    beam = set_up.light.dni_wm2[0, 0] * values["beam"]
    diffuse = set_up.light.dhi_wm2[0, 0] * np.maximum(values["diffuse"], 0.3)
    now = beam * np.maximum(np.cos(np.radians(off_deg)), 0.0) + 0.9 * diffuse
    then = beam * np.maximum(np.cos(np.radians(np.maximum(off_deg - 20.0, 0.0))), 0.0) + 0.9 * diffuse
    return np.asarray(then / np.maximum(now, 1e-6))
