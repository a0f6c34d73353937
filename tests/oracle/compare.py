"""The program's answer in the oracle's words."""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
from numpy.typing import NDArray

from kitopt.choice import Choice, Packed, Solved
from kitopt.inventory.items import Battery, Controller
from kitopt.model.kit import Join, Unit
from oracle.judge import Bank
from oracle.legal import LoadedUnit, batteries_are_legal, charging_is_legal, unit_is_legal
from oracle.world import World

Floats = NDArray[np.float64]

CHOSEN_KINDS = ("battery", "controller", "panel")


def counts_of(packed: Sequence[Packed]) -> tuple[tuple[str, int], ...]:
    """What was chosen, without loads and extras, by id."""
    return tuple(sorted((p.id, p.count) for p in packed if p.kind in CHOSEN_KINDS))


def bank_of(world: World, packed: Sequence[Packed], joins: Sequence[tuple[Join, Unit, int]]) -> Bank:
    """The packed kit, plugged together as the program says; it must be complete and legal."""
    owned = world.inventory.by_id
    batteries = [(b, p.count) for p in packed if isinstance(b := owned[p.id], Battery)]
    plugged: dict[tuple[str, int], LoadedUnit] = {}
    for join, unit, n in joins:
        key = (unit.controller.id, unit.number)
        before = plugged.get(key, (unit.controller, []))[1]
        plugged[key] = (unit.controller, [*before, (join.panel, n * join.n_joined)])
    units: list[LoadedUnit] = list(plugged.values())
    for p in packed:
        thing = owned[p.id]
        if isinstance(thing, Controller):
            units += [(thing, [])] * (p.count - sum(1 for key in plugged if key[0] == p.id))
    n_panels = {p.id: p.count for p in packed if p.kind == "panel"}
    for _, panels in units:
        for panel, n in panels:
            n_panels[panel.id] -= n
    assert not any(n_panels.values()), "a packed panel is on no controller, or one on a controller is not packed"
    assert batteries_are_legal(world, batteries)
    assert all(unit_is_legal(world, c, joined, batteries[0][0].chemistry) for c, joined in units)
    assert charging_is_legal(world, batteries, units)
    return Bank(world, batteries, units)


def lowest_survived_wh(bank: Bank) -> tuple[int, float]:
    """How many windows a kit survives, and the lowest margin among them."""
    margins = [bank.margin_wh(k) for k in range(bank.world.n_windows)]
    survived = [m for m in margins if m >= -1e-5]
    return len(survived), min(survived)


def assert_agrees(choice: Choice, world: World) -> None:
    """The program's kit is legal, and fares as it says."""
    bank = bank_of(world, choice.packed, choice.joins)
    n_survived, margin_wh = lowest_survived_wh(bank)
    assert choice.survival is not None
    assert choice.lowest is not None
    assert choice.survival.survived == n_survived >= world.n_needed == choice.survival.needed
    assert abs(choice.lowest.margin_wh - margin_wh) < 1e-6 * max(1.0, bank.capacity_wh)


def column_counts(solved: Solved, batteries: list[tuple[Battery, int]], units: list[LoadedUnit]) -> Floats | None:
    """A plugged kit as counts of the model's columns; None where equal units stand in another order.

    Helper columns of rules stay 0: learned rows do not speak of them.
    """
    model = solved.model
    counts = np.zeros(len(model.columns))
    packed = {battery.id: n for battery, n in batteries}
    places: dict[str, list[int]] = {}
    for place, unit in enumerate(model.units):
        places.setdefault(unit.controller.id, []).append(place)
    watts: dict[str, list[float]] = {}
    joined: dict[tuple[int, str], int] = {}
    used = set()
    for controller, panels in units:
        place = places[controller.id][len(watts.setdefault(controller.id, []))]
        watts[controller.id].append(sum(n * p.rated_w for p, n in panels))
        used.add(place)
        joined |= {(place, p.id): n for p, n in panels}
    if any(list(w) != sorted(w, reverse=True) for w in watts.values()):
        return None
    for j, column in enumerate(model.columns):
        meaning = column.meaning
        if isinstance(meaning, Battery):
            counts[j] = packed.get(meaning.id, 0)
        elif isinstance(meaning, Unit):
            counts[j] = model.units.index(meaning) in used
        elif isinstance(meaning, Join) and meaning.n_joined == 1:
            counts[j] = joined.get((meaning.unit, meaning.panel.id), 0)
    return counts


def is_judged_by(solved: Solved, bank: Bank) -> bool:
    """Whether a kit's weakest battery sets just the thresholds of a class."""
    bus = solved.model.bus
    return (
        bank.chemistry,
        bank.nominal_v,
        bank.charge_efficiency,
        bank.discharge_efficiency,
        bank.lowest_charging_degc,
        bank.taper_h,
        bank.rated_w if bus.rated_w > 0 and bank.world.operation.batteries == "in turn" else bus.rated_w,
    ) == (
        bus.chemistry,
        bus.nominal_v,
        bus.charge_efficiency,
        bus.discharge_efficiency,
        bus.lowest_charging_degc,
        bus.taper_h,
        bus.rated_w,
    )
