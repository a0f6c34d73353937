"""What kept readings teach of each panel's worth: robust, by the day, with what an owner's panels have in common."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Assumed, Inventory, Panel, Reading
from kitopt.inventory.names import READINGS
from kitopt.inventory.spreads import COMMON_SHARE, METER_SPREAD, MODEL_SPREAD, NINETY_SPREADS, SUN_SPREAD

Floats = NDArray[np.float64]

GOOD_SHARE = 0.92
"""Of readings that look normal, those in which nothing was spoiled; common practice, no source."""
FADES_PER_YEAR = 0.03
"""Older readings count less: a panel may have changed by so much a year, either way."""
NINETY = (0.05, 0.5, 0.95)

_WORTHS = np.exp(np.linspace(math.log(0.2), math.log(1.3), 376))
_COMMON = np.linspace(-3.0, 3.0, 25)
_METER = np.linspace(-2.5, 2.5, 11)
_DAY = np.linspace(-2.5, 2.5, 21)
_LOG_WIDTH = math.log(1.5 / 0.03)
"""A spoiled reading lies anywhere in this span of logarithms."""


@dataclass(frozen=True)
class Worth:
    """What is known of one panel's worth.

    Attributes
    ----------
    declared : float
        What its owner told, or what is assumed.
    is_assumed : bool
        Which of the two.
    low, middle, high : float
        Median and 90 % interval after all readings.
    n_readings, n_days : int
        Readings of it, and the days that they are from.
    """

    panel: str
    declared: float
    is_assumed: bool
    low: float
    middle: float
    high: float
    n_readings: int
    n_days: int

    @property
    def spread(self) -> float:
        """Relative standard deviation."""
        return math.log(self.high / self.low) / (2.0 * NINETY_SPREADS)

    @property
    def mean(self) -> float:
        """Of the lognormal distribution with that middle and that spread."""
        return self.middle * math.exp(self.spread**2 / 2.0)

    @property
    def is_planned_with(self) -> bool:
        """Whether plans count with it: not where the owner told a worth and nothing was read of the panel."""
        return self.n_readings > 0 or self.is_assumed


def learn(inventory: Inventory, meter_spread: float) -> tuple[Worth, ...]:
    """What the kept readings of an inventory say of every panel, those without any too.

    Parameters
    ----------
    meter_spread : float
        Relative spread of what the owner's meter may be off by in every reading alike.
    """
    # of what was read before anything was learned
    return _learned(inventory.declared, inventory.readings, meter_spread)


def _learned(
    declared: Mapping[str, tuple[float, bool, float]], readings: Sequence[Reading], meter_spread: float
) -> tuple[Worth, ...]:
    prior = {name: (worth, spread) for name, (worth, _, spread) in declared.items()}
    found, told = worths(readings, prior, meter_spread), []
    for name, (worth, is_assumed, _) in declared.items():
        days = [one.at.date() for one in readings if one.panel == name]
        low, middle, high = found[name]
        told.append(Worth(name, worth, is_assumed, low, middle, high, len(days), len(set(days))))
    return tuple(told)


def taken_up(
    panels: Iterable[Panel],
    declared: Mapping[str, tuple[float, bool, float]],
    readings: Sequence[Reading],
    meter_spread: float = 0.0,
) -> tuple[tuple[Panel, ...], list[Assumed]]:
    """The panels as plans count with them once some readings are kept, and what is to be said of it.

    Parameters
    ----------
    declared : mapping of id to (worth, whether it is assumed, relative spread)
        Of every panel, as its file has it.
    """
    known = {one.panel: one for one in _learned(declared, readings, meter_spread) if one.is_planned_with}
    found = [
        replace(panel, output_factor=known[panel.id].mean, worth_spread=known[panel.id].spread)
        if panel.id in known
        else panel
        for panel in panels
    ]
    return tuple(found), [
        Assumed(READINGS, one.panel, "output_factor", f"{one.mean:.2f}", _rule(one), is_learned=True)
        for one in known.values()
    ]


def _rule(one: Worth) -> str:
    """What a worth was learned from, and how sure it is."""
    read = f"{n_of(one.n_readings, 'reading')} of {n_of(one.n_days, 'day')}"
    source = read if one.n_readings else "readings of your other panels"
    return f"learned from {source}, 9 in 10 within {one.low:.2f} to {one.high:.2f}"


def worths(
    readings: Sequence[Reading], prior: Mapping[str, tuple[float, float]], meter_spread: float = 0.0
) -> dict[str, tuple[float, ...]]:
    """The 5th, 50th and 95th percentile of each panel's worth.

    With θ the logarithm of a worth, m what the panels have in common, s the sun of a day and g the meter's gain, a
    reading is θ + s + g and its own error, or, where it was spoiled, anything. Sums over grids of all four.

    Parameters
    ----------
    prior : mapping of id to (mean, relative spread)
        Of every panel asked about.
    """
    newest = max((one.at for one in readings), default=None)
    log_worth = np.log(_WORTHS)
    gains = meter_spread * _METER if meter_spread > 0.0 else np.zeros(1)
    gain_weight = _bell(_METER) if meter_spread > 0.0 else np.ones(1)
    # of each panel: how well each worth explains its readings, under each gain of the meter
    fits = {name: np.stack([_fits(name, readings, newest, g) for g in gains]) for name in prior}
    given: dict[str, Floats] = {}
    evidence = np.log(gain_weight)[:, None] + np.log(_bell(_COMMON))[None, :]
    for name, (mean, spread) in prior.items():
        own = spread * math.sqrt(1.0 - COMMON_SHARE)
        shift = spread * math.sqrt(COMMON_SHARE) * _COMMON
        before = np.exp(-0.5 * ((log_worth[None, :] - math.log(mean) - shift[:, None]) / own) ** 2)
        before /= before.sum(axis=1, keepdims=True)
        joint = before[None, :, :] * np.exp(fits[name] - fits[name].max())[:, None, :]
        total = joint.sum(axis=2)
        evidence = evidence + np.log(np.maximum(total, 1e-300))
        given[name] = joint / np.maximum(total, 1e-300)[:, :, None]
    both = np.exp(evidence - evidence.max())
    both /= both.sum()
    found = {}
    for name, share in given.items():
        posterior = np.cumsum((both[:, :, None] * share).sum(axis=(0, 1)))
        found[name] = tuple(float(np.interp(q, posterior, _WORTHS)) for q in NINETY)
    return found


def _bell(at: Floats) -> Floats:
    weight = np.exp(-0.5 * at**2)
    return np.asarray(weight / weight.sum())


def years_before(newest: datetime, at: datetime) -> float:
    """How much older a reading is than the newest. [a]"""
    return (newest - at).total_seconds() / (365.25 * 86400.0)


def likelihood(away: Floats, spread: float, good: float, width: float) -> Floats:
    """Logarithm of how likely a reading is that lies so far away: near, or, where it was spoiled, anywhere in a width.

    Parameters
    ----------
    away : ndarray
        From what is expected, in logarithms.
    good : float
        How likely it is that nothing was spoiled.
    """
    fits = np.exp(-0.5 * (away / spread) ** 2) / (spread * math.sqrt(2.0 * math.pi))
    return np.asarray(np.log(good * fits + (1.0 - good) / width))


def n_of(n: int, word: str) -> str:
    """So many of something."""
    return f"{n} {word if n == 1 else f'{word}s'}"


def _fits(name: str, readings: Sequence[Reading], newest: datetime | None, gain: float) -> Floats:
    """Log-likelihood of each worth, the sun of each day integrated out, shape (n_worths,)."""
    total = np.zeros(len(_WORTHS))
    days: dict[object, list[Reading]] = {}
    for one in readings:
        if one.panel == name:
            days.setdefault(one.at.date(), []).append(one)
    for some in days.values():
        of_day = np.zeros((len(_DAY), len(_WORTHS)))
        for one in some:
            faded = FADES_PER_YEAR * years_before(newest or one.at, one.at)
            spread = math.sqrt(METER_SPREAD**2 + MODEL_SPREAD**2 + faded**2)
            expected = np.log(_WORTHS)[None, :] + (SUN_SPREAD * _DAY)[:, None] + gain
            away = math.log(max(one.worth, 0.03)) - expected
            of_day += likelihood(away, spread, GOOD_SHARE * one.normal, _LOG_WIDTH)
        top = of_day.max()
        total += top + np.log(_bell(_DAY) @ np.exp(of_day - top))
    return total
