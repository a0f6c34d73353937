"""What can be read or tried in the field: what it takes, how sure it is, and what each supposition says of it."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.field.suppose import Suppositions

Floats = NDArray[np.float64]

LEAST_ZERO_A = 0.1
"""What an ammeter shows of a covered panel from which on it is off; common practice, no source. [A]"""
SLIP = 0.03
"""Share of readings that are a slip of the hand, and say nothing."""


@dataclass(frozen=True)
class Measure:
    """One reading or trial.

    Attributes
    ----------
    id : str
        One word, as typed.
    unit : str
        Of its value; empty for yes (1) or no (0), "x" for a ratio.
    seconds : float
        What it takes.
    says : callable
        Expected value of each supposition, or the chance of a yes.
    spread : callable
        Standard deviation at some expected values.
    is_unplugged : bool
        Whether a plug has to be pulled: cover first.
    needs_current : bool
        Whether it says anything only while something flows.
    """

    id: str
    unit: str
    seconds: float
    says: Callable[[Suppositions], Floats]
    spread: Callable[[Floats], Floats]
    is_unplugged: bool = False
    needs_current: bool = False

    @property
    def is_yes_or_no(self) -> bool:
        """Whether its answer is yes or no."""
        return not self.unit

    def likelihood(self, some: Suppositions, value: float) -> Floats:
        """How well each supposition explains a value, up to a factor; a slip is always possible."""
        expected = self.says(some)
        if self.is_yes_or_no:
            return (1.0 - SLIP) * np.where(value > 0.5, expected, 1.0 - expected) + SLIP * 0.5
        spread = self.spread(expected)
        fits = np.exp(-0.5 * ((value - expected) / spread) ** 2) / (spread * np.sqrt(2.0 * np.pi))
        return np.asarray((1.0 - SLIP) * fits + self._slip(expected))

    def slipped(self, some: Suppositions, value: float) -> Floats:
        """The chance that a value is a slip, on each supposition; a yes or no is never told to be one."""
        if self.is_yes_or_no:
            return np.zeros(len(some.weight))
        return np.asarray(self._slip(self.says(some)) / self.likelihood(some, value))

    def _slip(self, expected: Floats) -> float:
        """Likelihood of a slip, which may show anything."""
        low, high = float(np.min(expected)), float(np.max(expected))
        return SLIP / max(high - low, float(np.max(self.spread(expected))))


def _chance(yes: float, no: float, *causes: str) -> Callable[[Suppositions], Floats]:
    """Chance of a yes: high for some causes, low for the others."""
    return lambda some: np.where(some.is_cause(*causes), yes, no)


def _both(*parts: float) -> Callable[[Floats], Floats]:
    """A fixed spread and one that grows with the value, as squares: (fixed, share, fixed of the model...)."""
    share, *fixed = parts
    return lambda value: np.sqrt((share * value) ** 2 + sum(one**2 for one in fixed))


def _amps(some: Suppositions) -> Floats:
    return some.gain * some.seen.amps + some.zero_a


def _isc(some: Suppositions) -> Floats:
    return some.gain * some.seen.isc_a + some.zero_a


def _yes_no(value: Floats) -> Floats:
    return np.sqrt(value * (1.0 - value))


MEASURES: tuple[Measure, ...] = (
    Measure("amps", "A", 10, _amps, _both(0.03, 0.02)),
    Measure("volts", "V", 10, lambda some: some.seen.volts, _both(0.005, 0.06)),
    Measure("look", "", 10, _chance(0.85, 0.04, "shade"), _yes_no),
    Measure("pen", "°", 10, lambda some: some.off_deg, _both(0.0, 5.0, 6.0)),
    Measure("cover", "A", 15, lambda some: some.zero_a, _both(0.0, 0.03)),
    Measure("cells", "°C", 20, lambda some: some.cells_degc, _both(0.0, 1.0)),
    Measure("wiggle", "", 20, _chance(0.70, 0.03, "connector"), _yes_no, needs_current=True),
    Measure("panel-volts", "V", 30, lambda some: some.seen.panel_v, _both(0.005, 0.5)),
    Measure("load", "", 30, _chance(0.90, 0.04, "full", "cold"), _yes_no),
    Measure("replug", "", 30, _chance(0.55, 0.02, "not-tracking"), _yes_no, needs_current=True, is_unplugged=True),
    Measure("voc", "V", 40, lambda some: some.seen.voc_v, _both(0.005, 0.35), is_unplugged=True),
    Measure(
        *("folds", "", 40, lambda some: np.where(some.is_dead_fold, 0.85, 0.05), _yes_no),
        needs_current=True,
    ),
    Measure("isc", "A", 60, _isc, _both(0.025, 0.03), is_unplugged=True),
    Measure(
        *("lead-ends", "V", 60, lambda some: some.seen.lead_a * some.lead_ohm, _both(0.06, 0.08)),
        needs_current=True,
    ),
    Measure("turn", "x", 60, lambda some: some.turned_share, _both(0.03, 0.02), needs_current=True),
    Measure("clean", "x", 90, lambda some: some.cleaned_share, _both(0.03, 0.02), needs_current=True),
    Measure("second", "x", 150, lambda some: some.sky_share, _both(0.10, 0.03)),
    Measure("wait", "", 300, _chance(0.50, 0.03, "haze"), _yes_no),
)
"""Seconds and spreads are common practice, no source; the spread of a value joins meter and model."""

BY_ID: Mapping[str, Measure] = {one.id: one for one in MEASURES}
