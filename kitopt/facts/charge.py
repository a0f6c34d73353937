"""Charge over time: the band of all spells, the hardest one survived, what is held back, and the nights."""

from __future__ import annotations

import itertools
import math
from dataclasses import dataclass

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.judge import simulate
from kitopt.field.site import site_of
from kitopt.operation.clock import steps_of

MOST_POINTS = 120
"""A picture as wide as a hand shows no more."""
SHARES = (0.0, 0.05, 0.5, 0.95, 1.0)
"""Of the spells that have less."""
_NIGHT_DEG = 90.833
"""Zenith angle of the sun's centre when its upper edge rises, with refraction. [deg]"""
_NIGHT_STEP_H = 1 / 12


@dataclass(frozen=True, eq=False)
class ChargeOverTime:
    """Ampere-hours above the depth that is never used, at some moments from the start to the end.

    Attributes
    ----------
    at_h : ndarray, shape (n,)
        Hours after the start. [h]
    quantiles_ah : ndarray, shape (len(SHARES), n)
        Below which those shares of the spells lie; never drawn below empty. [Ah]
    hardest_ah : ndarray, shape (n,), or None
        In the hardest spell that is survived. [Ah]
    held_ah : ndarray, shape (n,)
        What is held back, in that spell; where none is survived, in the one that holds back most. [Ah]
    full_ah : float
        [Ah]
    nights_h : tuple of (from, to)
        While the sun is down. [h]
    """

    at_h: Floats
    quantiles_ah: Floats
    hardest_ah: Floats | None
    held_ah: Floats
    full_ah: float
    nights_h: tuple[tuple[float, float], ...]


def charge_over_time(choice: Choice) -> ChargeOverTime:
    """Of a choice with one kit that is measured, in its own windows."""
    made = choice.made
    assert made is not None
    conditions, plant = made.base
    verdict = simulate(conditions, plant)
    volts = made.model.bus.nominal_v
    full_wh = float(plant[conditions.layout.capacity])
    start_wh = np.full((conditions.n_windows, 1), full_wh - float(plant[conditions.layout.missing]))
    charge_ah = np.maximum(np.concatenate([start_wh, verdict.charge_wh], axis=1), 0.0) / volts
    k = None if choice.lowest is None else choice.lowest.number
    every_wh = np.broadcast_to(verdict.held_wh, verdict.charge_wh.shape)
    held_wh = np.max(every_wh, axis=0) if k is None else every_wh[k]
    held_ah = np.concatenate([held_wh[:1], held_wh]) / volts
    at_h = steps_of(choice.operation).edges_s / 3600
    shown = np.unique(np.round(np.linspace(0, len(at_h) - 1, min(MOST_POINTS, len(at_h)))).astype(int))
    hardest = None if k is None else charge_ah[k][shown]
    return ChargeOverTime(
        at_h[shown],
        np.quantile(charge_ah[:, shown], SHARES, axis=0),
        hardest,
        held_ah[shown],
        full_wh / volts,
        nights(choice),
    )


def nights(choice: Choice) -> tuple[tuple[float, float], ...]:
    """When the sun is down, to five minutes. [h]"""
    hours = choice.operation.hours
    at_h: Floats = np.arange(0.0, math.ceil(hours / _NIGHT_STEP_H) + 1.0) * _NIGHT_STEP_H
    site = site_of(choice.operation, choice.operation.start)
    is_down = site.light(at_h).sun.zenith_deg[0] > _NIGHT_DEG
    changes = np.flatnonzero(np.diff(is_down.astype(int))) + 1
    edges = [0.0, *(min(float(at_h[i]), hours) for i in changes), hours]
    return tuple(
        (before, after)
        for n, (before, after) in enumerate(itertools.pairwise(edges))
        if bool(is_down[0]) == (n % 2 == 0) and after > before
    )
