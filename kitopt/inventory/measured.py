"""What discharges teach of a battery's ampere-hours, and volts at both ends of a lead's ohms."""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import replace
from datetime import datetime
from statistics import median

import numpy as np

from kitopt.inventory.items import Assumed, Battery, CapacityTest, Lead, LeadTest, Measured
from kitopt.inventory.learned import FADES_PER_YEAR, GOOD_SHARE, NINETY, likelihood, n_of, years_before
from kitopt.inventory.names import READINGS
from kitopt.inventory.spreads import CAPACITY_SPREAD, METER_SPREAD

TOLD_SPREAD = 0.03
"""Relative spread of a battery's ampere-hours where the owner has given them. Common practice, no source."""
DISCHARGE_SPREAD = 0.03
"""What heat and current do to one discharge, on top of the meter; common practice, no source."""
END_SPREAD_V = 0.02
"""What a cheap meter is off by at either end of a lead; common practice, no source. [V]"""
LONGEST_WIDTH = 1.5
"""Nothing lies further from what is expected than by this power of e, either way; a spoiled reading lies anywhere."""

_GRID = np.linspace(-LONGEST_WIDTH, LONGEST_WIDTH, 1201)


def quantiles(
    found: Sequence[tuple[float, float, datetime]], prior: tuple[float, float] | None = None
) -> tuple[float, float, float]:
    """The 5th, 50th and 95th percentile of a value that some readings tell.

    Parameters
    ----------
    found : sequence of (value, relative spread, moment)
        At least one; each may be spoiled, and older ones count less.
    prior : (mean, relative spread), optional
        What is thought before any reading; nothing when None.
    """
    middle = median(value for value, _, _ in found) if prior is None else prior[0]
    total = np.zeros(len(_GRID)) if prior is None else -0.5 * (_GRID / prior[1]) ** 2
    newest = max(at for _, _, at in found)
    for value, own, at in found:
        spread = math.hypot(own, FADES_PER_YEAR * years_before(newest, at))
        total = total + likelihood(math.log(value / middle) - _GRID, spread, GOOD_SHARE, 2.0 * LONGEST_WIDTH)
    share = np.cumsum(np.exp(total - total.max()))
    low, half, high = (middle * math.exp(float(np.interp(q * share[-1], share, _GRID))) for q in NINETY)
    return low, half, high


def capacity(battery: str, declared_ah: float, is_assumed: bool, tests: Iterable[CapacityTest]) -> Measured:
    """Of one battery, what is declared weighed with its own discharges. [Ah]"""
    spread = math.hypot(METER_SPREAD, DISCHARGE_SPREAD)
    own = [(one.discharged_ah, spread, one.at) for one in tests if one.battery == battery]
    found = quantiles(own, (declared_ah, CAPACITY_SPREAD if is_assumed else TOLD_SPREAD))
    return Measured(battery, "battery", declared_ah, is_assumed, *found, len(own))


def resistance(lead: str, tests: Iterable[LeadTest]) -> Measured:
    """Of one lead, both conductors. [Ω]"""
    own = [
        (one.lost_v / one.amps, math.hypot(METER_SPREAD, math.sqrt(2.0) * END_SPREAD_V / one.lost_v), one.at)
        for one in tests
        if one.lead == lead
    ]
    return Measured(lead, "lead", None, False, *quantiles(own), len(own))


def batteries_taken_up(
    batteries: Iterable[Battery], assumed: Iterable[Assumed], tests: Sequence[CapacityTest]
) -> tuple[tuple[Battery, ...], list[Measured]]:
    """Batteries with the ampere-hours that plans count with."""
    guessed = {one.id for one in assumed if one.column == "measured_ah"}
    read = {one.battery for one in tests}
    known = {b.id: capacity(b.id, b.measured_ah, b.id in guessed, tests) for b in batteries if b.id in read}
    return tuple(replace(b, measured_ah=known[b.id].middle) if b.id in known else b for b in batteries), [
        *known.values()
    ]


def leads_taken_up(leads: Iterable[Lead], tests: Sequence[LeadTest]) -> tuple[tuple[Lead, ...], list[Measured]]:
    """Leads with the ohms that plans count with."""
    read = {one.lead for one in tests}
    known = {lead.id: resistance(lead.id, tests) for lead in leads if lead.id in read}
    return tuple(replace(one, read_ohm=known[one.id].middle) if one.id in known else one for one in leads), [
        *known.values()
    ]


def said(one: Measured) -> Assumed:
    """What is to be said of it beside what is assumed."""
    column, scale, unit, digits = ("measured_ah", 1.0, "Ah", 3) if one.kind == "battery" else ("mohm", 1000.0, "mΩ", 3)
    low, middle, high = (f"{scale * value:.{digits}g}" for value in (one.low, one.middle, one.high))
    rule = f"learned from {n_of(one.n_readings, 'reading')}, 9 in 10 within {low} to {high} {unit}"
    return Assumed(READINGS, one.item, column, middle, rule, is_learned=True)
