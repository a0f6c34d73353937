"""The chance to last from some charge at some time, and what should be left then at the least."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.judge import TOLERANCE_WH, least_charge_wh, simulate
from kitopt.field.now import Now, State, now_with
from kitopt.field.tripwires import limits_of
from kitopt.operation.clock import steps_of
from kitopt.operation.terms import Operation
from kitopt.sky import windows_for
from kitopt.sky.windows import Sky

LEVELS = 8
_MOST_ROWS = 18
_EVERY_H = (2, 3, 4, 6, 8, 12, 24, 48)


@dataclass(frozen=True, eq=False)
class Chances:
    """A table: rows are times, columns ampere-hours left above the depth that is never used.

    Attributes
    ----------
    at_h : ndarray, shape (n,)
        Hours after the start; the first is 0. [h]
    left_ah : ndarray, shape (LEVELS,)
        Falling from the most that any spell has to a little above the reserve. [Ah]
    chance : ndarray, shape (n, LEVELS)
        Share of the spells that are survived from there on with the loads as planned. [0–1]
    used_ah : ndarray, shape (2, n)
        Out since the start less what went in: half of all spells used no more, and 19 of 20. [Ah]
    """

    at_h: Floats
    left_ah: Floats
    chance: Floats
    used_ah: Floats


def chances(choice: Choice) -> Chances:
    """Of a choice with one kit that is measured."""
    made = choice.made
    assert made is not None
    conditions, plant = made.base
    volts, full_wh = made.model.bus.nominal_v, float(plant[conditions.layout.capacity])
    edges_h = steps_of(choice.operation).edges_s / 3600
    every_h = next((one for one in _EVERY_H if choice.operation.hours / one <= _MOST_ROWS), _EVERY_H[-1])
    steps = [
        int(np.searchsorted(edges_h[:-1], at - 1e-6)) for at in np.arange(0, choice.operation.hours - 0.5, every_h)
    ]
    steps = sorted({min(step, len(edges_h) - 2) for step in steps})
    least_wh = least_charge_wh(conditions, plant)[:, steps]
    start_wh = full_wh - float(plant[conditions.layout.missing])
    charge_wh = simulate(conditions, plant).charge_wh
    held_wh = conditions.reserve_share * full_wh + conditions.reserve_wh
    levels_wh = np.linspace(max(start_wh, float(np.max(charge_wh))), held_wh, LEVELS + 1)[:-1]
    before = np.concatenate([np.full((len(charge_wh), 1), start_wh), charge_wh], axis=1)[:, steps]
    chance = np.mean(least_wh[:, :, None] <= levels_wh + TOLERANCE_WH, axis=0)
    used_ah = np.quantile(start_wh - before, (0.5, 0.95), axis=0) / volts
    return Chances(edges_h[steps], levels_wh / volts, chance, used_ah)


def from_the_start(choice: Choice) -> Now:
    """What `kitopt now` says at the start, with the kit that was chosen: trip-wires and what to do."""
    made, operation = choice.made, choice.operation
    assert made is not None

    def sky_of(asked: Operation) -> Sky:
        # how loads are used changes no weather
        return choice.sky if asked.aim == operation.aim else windows_for(asked)

    return now_with(made.model, made.counts, operation, operation, State("used", 0.0), sky_of)


def act_below_ah(choice: Choice, now: Now, table: Chances) -> Floats:
    """What may have been used by each time of a table at the most, lest something is switched off; else NaN. [Ah]

    Trip-wires as `kitopt now` sets them, but at the table's own times.
    """
    made = choice.made
    assert made is not None
    edges_h = steps_of(choice.operation).edges_s / 3600
    steps = [int(np.searchsorted(edges_h, at - 1e-6)) for at in table.at_h]
    later = [n for n, step in enumerate(steps) if step > 0]
    found = np.full(len(steps), np.nan)
    if later:
        course = now.heeded.hand.course(now.action, lambda _: choice.sky)
        limits_wh, _ = limits_of(course, [steps[n] for n in later])
        start_ah = now.charge.low_share * now.charge.usable_ah
        found[later] = start_ah - limits_wh / made.model.bus.nominal_v
    return found
