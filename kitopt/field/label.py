"""A panel whose label is lost: what it would say, by one reading."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace

from kitopt.errors import BadInput, Fault
from kitopt.field.amperes import expected_a, spread_share
from kitopt.field.set_up import SetUp
from kitopt.field.verdict import NOTHING_A
from kitopt.inventory.spreads import NINETY_SPREADS

_BELOW_LIMIT = 0.95
"""What comes nearer to the controller's limit may be cut off by it."""
_NO_LIMIT_A = 1000.0


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
    """The label that a panel in a set-up would have by what it gives into the battery. [A], [V]

    Raises
    ------
    BadInput
        Where that is nothing, or all that the controller passes: neither says how large the panel is.
    """
    controller = set_up.controller
    most_a = _BELOW_LIMIT * set_up.most_a
    if not NOTHING_A < amps < most_a:
        text = f"found {amps:g} A, which says nothing of a panel without a label; need {NOTHING_A:g} to {most_a:.3g} A"
        text += f", or a controller that passes more than {controller.id}." if amps >= most_a else "."
        raise BadInput([Fault("--amps", None, None, text)])
    # what the panel of an unknown label is held to must not be what the controller passes at most
    expected = expected_a(
        replace(set_up, controller=replace(controller, max_charge_a=_NO_LIMIT_A, max_pv_w=None)), battery_v
    )
    rated_w = set_up.panel.rated_w * amps / max(expected, 1e-6)
    away = math.exp(NINETY_SPREADS * spread_share(replace(set_up, worth_spread=0.0)))
    return LabelRead(amps, expected, rated_w, rated_w / away, rated_w * away)
