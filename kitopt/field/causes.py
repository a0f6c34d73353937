"""Why a panel reads low: every cause that is named, how likely before any reading, and how bad it can be.

A cause is a departure from what was declared. Heat as usual, what a switching controller cannot use, a declared aim
and the known lead are in what is expected, and are no causes. All shares are common practice, no source: no counts of
failures of such small kits have been published.
"""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

import numpy as np

from kitopt.field.circuit import BYPASS, PARALLEL
from kitopt.field.set_up import SetUp

COLD_AIR_DEGC = 6.0
"""Above this the cells of a battery are not taken to be too cold. [°C]"""

Draw = np.random.Generator
Changes = dict[str, Any]
Severity = Callable[[Draw, SetUp, int, Changes], Changes]


@dataclass(frozen=True)
class Cause:
    """One reason.

    Attributes
    ----------
    id : str
        One word.
    kind : str
        Causes of one kind are mended alike.
    prior : float
        Share of low readings that it is behind.
    severity : callable
        From usual values of n set-ups to those that it changes; names are those of `Supposed`, besides `turn_deg`,
        `beam`, `diffuse` and `heat_degc` for what comes before it, and `zero_a`, `cells_degc` for what comes after.
    """

    id: str
    kind: str
    prior: float
    severity: Severity


def _usual(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {}


def _aim(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"turn_deg": draw.uniform(12.0, 45.0, n) if set_up.lies else draw.uniform(20.0, 70.0, n)}


def _haze(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {
        "beam": usual["beam"] * draw.uniform(0.10, 0.75, n),
        "diffuse": usual["diffuse"] * draw.uniform(0.9, 1.7, n),
    }


def _heat(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"heat_degc": draw.uniform(8.0, 20.0, n) if set_up.lies else draw.uniform(15.0, 38.0, n)}


def _dirt(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"worth": usual["worth"] * (1.0 - draw.uniform(0.08, 0.50, n))}


def _shade(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    is_deep = draw.random(n) < 0.6
    return {"fold_light": np.where(is_deep, draw.uniform(0.0, 0.3, n), draw.uniform(0.3, 0.8, n))}


def _open(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"is_open": np.ones(n, dtype=bool), "wiring": np.where(draw.random(n) < 0.6, BYPASS, PARALLEL)}


def _lead(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    more = 2.6 / set_up.panel.imp_a * np.exp(np.log(1.8) * draw.standard_normal(n))
    return {"lead_ohm": usual["lead_ohm"] + more}


def _connector(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    more = 3.0 / set_up.panel.imp_a * np.exp(np.log(2.2) * draw.standard_normal(n))
    inside = draw.random(n) < 0.5
    return {"lead_ohm": usual["lead_ohm"] + more * inside, "more_ohm": more * ~inside}


def _limit(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"passes_share": draw.uniform(0.35, 0.82, n)}


def _not_tracking(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"held": draw.integers(1, 3, n), "held_share": draw.uniform(0.90, 0.975, n)}


def _full(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    at_float = draw.random(n) < 0.3
    full_v = set_up.charging_v * 14.35 / 13.4
    float_v = set_up.charging_v * 13.6 / 13.4
    volts = np.where(at_float, float_v + draw.uniform(-0.2, 0.2, n), full_v + draw.uniform(-0.15, 0.25, n))
    # one in ten has cut itself off at the top
    takes = np.where(at_float | (draw.random(n) < 0.1), 0.0, draw.uniform(0.03, 0.65, n))
    return {"takes_share": takes, "battery_v": volts}


def _cold(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    volts = set_up.charging_v / 13.4 * draw.uniform(14.2, 14.6, n)
    cells = set_up.battery.lowest_charging_degc - draw.uniform(0.3, 6.0, n)
    return {"is_cut": np.ones(n, dtype=bool), "battery_v": volts, "cells_degc": cells}


def _nothing(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"is_broken": np.ones(n, dtype=bool), "break_before": draw.random(n) < 0.5}


def _polarity(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"is_reversed": np.ones(n, dtype=bool)}


def _meter(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"zero_a": -draw.uniform(0.1, 0.7, n)}


def _weak(draw: Draw, set_up: SetUp, n: int, usual: Changes) -> Changes:
    return {"worth": usual["worth"] * draw.uniform(0.45, 0.82, n)}


CAUSES: tuple[Cause, ...] = (
    Cause("normal", "normal", 0.25, _usual),
    Cause("aim", "aim", 0.16, _aim),
    Cause("haze", "haze", 0.12, _haze),
    Cause("heat", "normal", 0.02, _heat),
    Cause("dirt", "weak", 0.05, _dirt),
    Cause("shade", "shade", 0.11, _shade),
    Cause("open-section", "shade", 0.03, _open),
    Cause("lead", "lead", 0.05, _lead),
    Cause("connector", "lead", 0.05, _connector),
    Cause("limit", "limit", 0.03, _limit),
    Cause("not-tracking", "limit", 0.03, _not_tracking),
    Cause("full", "full", 0.12, _full),
    Cause("cold", "cold", 0.10, _cold),
    Cause("nothing", "nothing", 0.05, _nothing),
    Cause("polarity", "polarity", 0.02, _polarity),
    Cause("meter-zero", "meter-zero", 0.03, _meter),
    Cause("weak", "weak", 0.05, _weak),
)
BY_ID = {cause.id: cause for cause in CAUSES}

ALIKE: tuple[tuple[str, str], ...] = (
    ("lead", "connector"),
    ("limit", "not-tracking"),
    ("haze", "weak"),
    ("haze", "dirt"),
    ("dirt", "weak"),
)
"""Pairs that the usual readings cannot tell apart: they are told as two."""


def prior_of(cause: Cause, set_up: SetUp) -> float:
    """How likely a cause is on this set-up before any reading; zero where it cannot be."""
    share = cause.prior
    if cause.id == "aim" and set_up.lies:
        share /= 2.0
    if cause.id == "cold" and set_up.air_degc >= COLD_AIR_DEGC:
        return 0.0
    if cause.id == "not-tracking" and set_up.controller.kind != "mppt":
        return 0.0
    if cause.id == "full" and set_up.charge_share is not None:
        # a battery that is told to be far from full can still have been counted wrong
        share *= 0.15 if set_up.charge_share < 0.85 else 2.0 if set_up.charge_share >= 0.95 else 1.0
    return share
