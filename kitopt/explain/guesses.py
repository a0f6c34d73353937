"""Limits that nobody read from a label and that keep something out."""

from __future__ import annotations

import math
from dataclasses import dataclass

from kitopt.choice import Choice, Solved
from kitopt.inventory.items import Battery
from kitopt.model.kit import Join
from kitopt.model.rules import delivered_a
from kitopt.operation.terms import NoSun


@dataclass(frozen=True)
class ShutOut:
    """A panel that an assumed charging limit keeps out.

    Attributes
    ----------
    battery : str
        Whose ``max_charge_a`` was left blank.
    assumed_a, needed_a : float
        What was assumed, and what would let the panel in through one of the controllers. [A]
    """

    battery: str
    assumed_a: float
    panel: str
    unit: str
    needed_a: float


def shut_out(choice: Choice) -> tuple[ShutOut, ...]:
    """Panels left at home that batteries of the kit, or all where there is none, may not take by a guess.

    In turn the battery in use takes all that the controllers deliver; in parallel no single limit decides.
    """
    guessed = {one.id for one in choice.inventory.assumed if one.column == "max_charge_a"}
    packed = {one.id for one in choice.packed}
    if choice.operation.batteries != "in turn" or not guessed or isinstance(choice.operation.need.weather, NoSun):
        return ()
    found = []
    for solved in choice.solved:
        if choice.bus is not None and solved.model.bus != choice.bus:
            continue
        least = {panel: way for panel, way in _least(solved).items() if panel not in packed}
        for battery in choice.inventory.batteries:
            if battery.id in guessed and (not packed or battery.id in packed) and _is_of(battery, solved):
                for panel, (needed_a, unit) in sorted(least.items()):
                    if needed_a > battery.max_charge_a + 1e-9:
                        found.append(ShutOut(battery.id, battery.max_charge_a, panel, unit, needed_a))
    return tuple(dict.fromkeys(found))


def _is_of(battery: Battery, solved: Solved) -> bool:
    return any(one.id == battery.id for one in solved.model.bus.batteries)


def _least(solved: Solved) -> dict[str, tuple[float, str]]:
    """The least that one of each panel makes a controller deliver, and which. [A]"""
    model, least = solved.model, dict[str, tuple[float, str]]()
    for j in model.join_columns:
        join = model.columns[j].meaning
        unit = model.units[join.unit] if isinstance(join, Join) else None
        if not isinstance(join, Join) or unit is None or model.columns[j].upper <= 0:
            continue
        if model.columns[model.unit_columns[join.unit]].upper > 0 and join.n_joined == 1:
            amps = min(unit.controller.max_charge_a, delivered_a(join, unit.controller, model.bus))
            if amps < least.get(join.panel.id, (math.inf, ""))[0]:
                least[join.panel.id] = (amps, unit.name)
    return least
