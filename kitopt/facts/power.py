"""Power in and out by the hour: what the sun brings over all spells, and what is drawn."""

from __future__ import annotations

import math
from dataclasses import dataclass

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.between import between
from kitopt.engine.judge import charging_w, demand_w

MOST_BARS = 60
SHARES = (0.05, 0.5, 0.95)


@dataclass(frozen=True, eq=False)
class PowerByHour:
    """Mean powers over spans of as many whole hours each, from the start; the last may be shorter.

    Attributes
    ----------
    every_h : int
        Length of a span. [h]
    in_w : ndarray, shape (len(SHARES), n)
        What controllers pass on, below which those shares of the spells lie; a full battery takes less. [W]
    out_w : ndarray, shape (n,)
        What is drawn. [W]
    """

    every_h: int
    in_w: Floats
    out_w: Floats


def power_by_hour(choice: Choice) -> PowerByHour:
    """Of a choice with one kit that is measured."""
    made = choice.made
    assert made is not None
    conditions, plant = made.base
    ends_h = np.concatenate([[0.0], np.cumsum(conditions.step_h)])
    every_h = math.ceil(float(ends_h[-1]) / MOST_BARS - 1e-9)
    edges_h = np.append(np.arange(0.0, float(ends_h[-1]) - 1e-9, every_h), ends_h[-1])

    def mean_w(power: Floats) -> Floats:
        return between(power * conditions.step_h, ends_h, edges_h) / np.diff(edges_h)

    brought = mean_w(charging_w(conditions, plant))
    return PowerByHour(every_h, np.quantile(brought, SHARES, axis=0), mean_w(demand_w(conditions, plant)))
