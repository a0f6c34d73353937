"""Energy that the panels of a kit could give and that nothing takes."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.judge import simulate, unit_power_w
from kitopt.model.kit import Unit
from kitopt.model.rules import delivered_a

_MUCH_WH = 1e6


@dataclass(frozen=True)
class ThrownAway:
    """Medians over the windows.

    Attributes
    ----------
    units : tuple of Unit
        Controllers whose panels can give more than they pass.
    offered_wh : float
        What the panels of all controllers could give. [Wh]
    above_limit_wh : float
        What exceeds the controllers' limits. [Wh]
    when_full_wh : float
        What finds the battery full, as energy that would have been stored. [Wh]
    """

    units: tuple[Unit, ...]
    offered_wh: float
    above_limit_wh: float
    when_full_wh: float


def thrown_away(choice: Choice) -> ThrownAway | None:
    """What a chosen kit throws away; None without a kit or without panels."""
    made = choice.made
    if made is None or not choice.joins:
        return None
    each = [_of_one(store) for store in choice.stores]
    units = dict.fromkeys(unit for clipped, _ in each for unit in clipped)
    offered_wh, above_wh, full_wh = (float(one) for one in np.median(np.sum([wh for _, wh in each], axis=0), axis=1))
    return ThrownAway(tuple(units), offered_wh, above_wh, max(0.0, full_wh))


def _of_one(choice: Choice) -> tuple[list[Unit], Floats]:
    """Of one store the controllers that clip, and the energies in their order, shape (3, n_windows). [Wh]"""
    made = choice.made
    assert made is not None
    conditions, plant = made.base
    layout = conditions.layout
    offered_wh = np.zeros(conditions.n_windows)
    above_wh = np.zeros(conditions.n_windows)
    clipped: list[Unit] = []
    for u, unit in enumerate(made.model.units):
        joins = [(join, n) for join, _, n in choice.joins if join.unit == u]
        if not joins:
            continue
        power_w = unit_power_w(conditions, plant, u)
        above_w = np.maximum(0.0, power_w - plant[layout.limit(u)])
        offered_wh += power_w @ conditions.step_h
        above_wh += above_w @ conditions.step_h
        rated_a = sum(n * delivered_a(join, unit.controller, made.model.bus) for join, n in joins)
        if rated_a > unit.controller.max_charge_a or bool(np.any(above_w > 0.5)):
            clipped.append(unit)
    # the same charge at the start, and room without end: what the ceiling cost
    roomy = plant.copy()
    roomy[layout.capacity] += _MUCH_WH
    roomy[layout.missing] += _MUCH_WH
    full_wh = simulate(conditions, roomy).charge_wh[:, -1] - simulate(conditions, plant).charge_wh[:, -1]
    return clipped, np.stack([offered_wh, above_wh, full_wh])
