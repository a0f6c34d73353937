"""Guesses that keep something out by a rule: told beside every answer, for they take no solve."""

from __future__ import annotations

import math
from collections.abc import Iterator
from dataclasses import dataclass

from kitopt.choice import Choice, Solved
from kitopt.explain.ruled_out import blocks_that_matter
from kitopt.inventory.items import Battery, Controller, Panel
from kitopt.model.kit import Join
from kitopt.model.rules import cold_voc_v, delivered_a
from kitopt.operation.terms import NoSun


@dataclass(frozen=True)
class ShutOut:
    """Something that a guess keeps out.

    Attributes
    ----------
    id, column, unit : str
        Whose cell was left blank, and the unit of what it holds.
    assumed, needed : float
        What was assumed, and what would let the thing in.
    kept : str
        What is kept out.
    where : str
        On which controller it may come in; empty where that is not the question.
    is_more : bool
        Whether that much or more is needed, not that much or less.
    """

    id: str
    column: str
    unit: str
    assumed: float
    kept: str
    where: str
    needed: float
    is_more: bool = True


def shut_out(choice: Choice) -> tuple[ShutOut, ...]:
    """What is left at home by a charging limit, a discharging limit or a panel's voltage that nobody read."""
    guessed = {(one.id, one.column) for one in choice.inventory.assumed}
    found = [*_by_charging(choice, {i for i, column in guessed if column == "max_charge_a"})]
    found += [one for one in _by_blocks(choice) if (one.id, one.column) in guessed]
    return tuple(dict.fromkeys(found))


def _by_blocks(choice: Choice) -> Iterator[ShutOut]:
    """What a rule forbids, and the value at which it would not."""
    owned, packed = choice.inventory.by_id, {one.id for one in choice.packed}
    for block in blocks_that_matter(choice):
        things = [owned[i] for i in block.items if i in owned]
        if len(things) != len(block.items) or {thing.id for thing in things} & packed:
            continue
        match (block.rule, things):
            case ("discharge-limit", [Battery() as battery]):
                limit = battery.max_discharge_a
                yield ShutOut(battery.id, "max_discharge_a", "A", limit, battery.id, "", choice.peak_a)
            case ("cold-voc", [Panel() as panel, Controller(max_pv_v=float() as most_v) as controller]):
                share = most_v / cold_voc_v(panel, choice.sky.coldest_degc)
                yield ShutOut(
                    *(panel.id, "voc_v", "V", panel.voc_v, panel.id, controller.id),
                    math.floor(10 * share * panel.voc_v + 1e-9) / 10,
                    is_more=False,
                )
            case _:
                pass


def _by_charging(choice: Choice, guessed: set[str]) -> Iterator[ShutOut]:
    """Panels left at home that batteries of the kit, or all where there is none, may not take by a guess.

    In turn the battery in use takes all that the controllers deliver; in parallel no single limit decides.
    """
    packed = {one.id for one in choice.packed}
    if choice.operation.batteries != "in turn" or not guessed or isinstance(choice.operation.need.weather, NoSun):
        return
    for solved in choice.solved:
        if choice.bus is not None and solved.model.bus != choice.bus:
            continue
        least = {panel: way for panel, way in _least(solved).items() if panel not in packed}
        for battery in choice.inventory.batteries:
            if battery.id in guessed and (not packed or battery.id in packed) and _is_of(battery, solved):
                for panel, (needed_a, unit) in sorted(least.items()):
                    if needed_a > battery.max_charge_a + 1e-9:
                        yield ShutOut(battery.id, "max_charge_a", "A", battery.max_charge_a, panel, unit, needed_a)


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
