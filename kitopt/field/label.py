"""A panel whose label is lost: what it would say, by one reading."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kitopt.field.amperes import expected_a, spread_share
from kitopt.field.set_up import SetUp
from kitopt.inventory.spreads import NINETY_SPREADS


@dataclass(frozen=True)
class LabelRead:
    """What was read of a panel without a label, and the label of a panel of the usual worth that gives as much.

    Attributes
    ----------
    amps, expected_a : float
        Into the battery; and from the panel as it stands in the inventory. [A]
    rated_w, low_w, high_w : float
        Nine in ten lie between the last two. [W]
    """

    amps: float
    expected_a: float
    rated_w: float
    low_w: float
    high_w: float


def label_of(set_up: SetUp, amps: float, battery_v: float | None = None) -> LabelRead:
    """The label that a panel in a set-up would have by what it gives into the battery. [A], [V]"""
    expected = expected_a(set_up, battery_v)
    rated_w = set_up.panel.rated_w * amps / max(expected, 1e-6)
    away = math.exp(NINETY_SPREADS * spread_share(replace(set_up, worth_spread=0.0)))
    return LabelRead(amps, expected, rated_w, rated_w / away, rated_w * away)
