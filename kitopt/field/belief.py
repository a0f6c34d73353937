"""From readings to causes, by Bayes' rule over suppositions; and which reading would tell most in its time."""

from __future__ import annotations

import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.field.measures import BY_ID, MEASURES, Measure
from kitopt.field.set_up import SetUp
from kitopt.field.suppose import Suppositions, suppositions

Floats = NDArray[np.float64]

HIGHEST = 0.95
"""Nothing is ever said to be more likely."""
_TEMPER_FROM, _TEMPER = 3, 0.04
"""From the fourth reading on each weighs a little less: their errors are not independent, and what is said would be
surer than it is right."""
_N_BINS = 10
_FITS = 0.1
"""Where it is less likely that all readings are what the meter showed, they are doubted."""
_MAY_BE_SLIP = 0.25


@dataclass(frozen=True, eq=False)
class Belief:
    """What is thought of one set-up after some readings.

    Attributes
    ----------
    readings : mapping of str to float
        By the id of the measure; 1 and 0 for yes and no.
    """

    set_up: SetUp
    some: Suppositions
    readings: Mapping[str, float]

    @cached_property
    def weight(self) -> Floats:
        """Weight of each supposition, summing to 1."""
        fits = np.zeros(len(self.some.weight))
        for name, value in self.readings.items():
            fits = fits + np.log(np.maximum(BY_ID[name].likelihood(self.some, value), 1e-300))
        fits = fits / (1.0 + _TEMPER * max(len(self.readings) - _TEMPER_FROM, 0))
        weight = self.some.weight * np.exp(fits - fits.max())
        return np.asarray(weight / weight.sum())

    @cached_property
    def share(self) -> dict[str, float]:
        """Probability of each cause, summing to 1, the likeliest first; heat beyond the usual counts as normal."""
        sums: dict[str, float] = {}
        for cause, share in zip(
            self.some.causes, np.bincount(self.some.cause, self.weight, len(self.some.causes)), strict=True
        ):
            name = "normal" if cause.kind == "normal" else cause.id
            sums[name] = sums.get(name, 0.0) + float(share)
        return {name: sums[name] for name in sorted(sums, key=lambda one: -sums[one]) if sums[name] > 0.0}

    @cached_property
    def doubtful(self) -> tuple[str, ...]:
        """Readings that no cause gives, or not together: the measures of those that may be slips.

        A slip says nothing of the cause, so that the odds would go on as though it had not been read.
        """
        chances = {name: BY_ID[name].slipped(self.some, value) for name, value in self.readings.items()}
        none_slipped = self.weight * np.prod([1.0 - one for one in chances.values()], axis=0)
        if not chances or float(none_slipped.sum()) >= _FITS:
            return ()
        return tuple(name for name, one in chances.items() if float(self.weight @ one) >= _MAY_BE_SLIP)

    def told(self, name: str) -> float:
        """Probability as it is told: never above 95 %."""
        return min(self.share.get(name, 0.0), HIGHEST)

    def measure(self, name: str) -> Measure:
        """A measure by its id."""
        return BY_ID[name]

    def with_reading(self, name: str, value: float) -> Belief:
        """After one more reading."""
        return Belief(self.set_up, self.some, {**self.readings, name: value})

    def information(self, measure: Measure) -> float:
        """Expected gain in knowledge of the cause from one more reading. [bits]

        Outcomes are put into ten bins of equal weight; what chance alone would seem to tell is taken off.
        """
        chosen = self._likeliest
        weight = self.weight[chosen] / self.weight[chosen].sum()
        cause = self.some.cause[chosen]
        n_causes = len(self.some.causes)
        expected = measure.says(self.some)[chosen]
        if measure.is_yes_or_no:
            joint = np.stack(
                [np.bincount(cause, weight * p, minlength=n_causes) for p in (expected, 1.0 - expected)], axis=1
            )
        else:
            noise = np.random.default_rng(7).standard_normal(len(expected))
            outcome = expected + noise * measure.spread(expected)
            order = np.argsort(outcome, kind="stable")
            bins = np.empty(len(outcome), dtype=np.int64)
            bins[order] = np.minimum((np.cumsum(weight[order]) * _N_BINS).astype(np.int64), _N_BINS - 1)
            joint = np.bincount(cause * _N_BINS + bins, weight, minlength=n_causes * _N_BINS)
            joint = joint.reshape(n_causes, _N_BINS)
        apart = joint.sum(axis=1, keepdims=True) * joint.sum(axis=0, keepdims=True)
        filled = joint > 0.0
        bits = float((joint[filled] * np.log2(joint[filled] / apart[filled])).sum())
        if measure.is_yes_or_no:
            return max(bits, 0.0)
        n_effective = 1.0 / float((weight**2).sum())
        n_real = int((joint.sum(axis=1) > 0.01).sum())
        by_chance = (n_real - 1) * (_N_BINS - 1) / (2.0 * math.log(2.0) * max(n_effective, 1.0))
        return max(bits - by_chance, 0.0)

    @cached_property
    def _likeliest(self) -> NDArray[np.int64]:
        """Suppositions that matter still."""
        return np.flatnonzero(self.weight > 1e-4 * self.weight.max())

    def next_measures(self, without: Sequence[str] = ()) -> list[tuple[Measure, float]]:
        """Readings not taken yet with their bits, the one that tells most per second first."""
        flows = self.readings.get("amps", 1.0) > 0.05
        left = [
            (one, self.information(one))
            for one in MEASURES
            if one.id not in self.readings and one.id not in without and (flows or not one.needs_current)
        ]
        return sorted(left, key=lambda pair: -pair[1] / pair[0].seconds)


def believe(set_up: SetUp, readings: Mapping[str, float], some: Suppositions | None = None) -> Belief:
    """What is behind some readings.

    Parameters
    ----------
    some : Suppositions, optional
        Those of the set-up, where they are at hand.
    """
    return Belief(set_up, suppositions(set_up) if some is None else some, dict(readings))
