"""Two banks that charge apart: every kit tried, each bank a loop over its own hours, a window survived by both."""

from __future__ import annotations

import random
from collections.abc import Sequence
from dataclasses import replace

from kitopt.inventory.items import Battery, Controller, Panel
from oracle.instances import Instance, battery, drawing, near_the_best, random_instance
from oracle.judge import TOLERANCE_WH, Bank
from oracle.legal import LoadedUnit, batteries_are_legal, charging_is_legal, unit_is_legal
from oracle.search import Kit, assignments, kits_in_order
from oracle.world import World


def banks_of(
    world: World, batteries: Sequence[tuple[Battery, int]], units: Sequence[LoadedUnit]
) -> tuple[Bank, Bank] | None:
    """The two banks of some batteries, the one on the air first before the other; None where a rule forbids them."""
    if any(n % 2 for _, n in batteries):
        return None
    half = [(one, n // 2) for one, n in batteries]
    if not (batteries_are_legal(world, batteries) and batteries_are_legal(world, half)):
        return None
    if not charging_is_legal(world, half, units):
        return None
    first, second = Bank(world, half, units), Bank(world, half, units)
    for bank, is_first in ((first, True), (second, False)):
        on_air = [(n % 2 == 0) == is_first for n in world.n_swaps]
        # half of a fixed reserve lies in each
        bank.reserve_wh = world.operation.need.reserve_wh / 2
        # loads with the bank on the air; sun, and what controllers draw, with the other
        bank.load_w = [watts if on else bank.idle_w for watts, on in zip(bank.load_w, on_air, strict=True)]
        bank.idle_w = 0.0
        bank.units = [
            (limit_w, [(n, [[0.0 if on else w for w, on in zip(row, on_air, strict=True)] for row in rows])
                       for n, rows in panels])
            for limit_w, panels in bank.units
        ]  # fmt: skip
    return first, second


def margins_wh(banks: tuple[Bank, Bank]) -> list[float]:
    """The smaller of both margins in every window."""
    first, second = banks
    return [min(first.margin_wh(k), second.margin_wh(k)) for k in range(first.world.n_windows)]


def n_survived(banks: tuple[Bank, Bank]) -> int:
    """Windows that both survive."""
    return sum(margin >= -TOLERANCE_WH for margin in margins_wh(banks))


def _share_met(made: Instance, *, has_panels: bool) -> float:
    """The largest of some shares of the need that all even batteries meet, with all panels or none; 0 without any."""
    inventory = made.inventory
    things = (*inventory.batteries, *((*inventory.controllers, *inventory.panels) if has_panels else ()))
    counts = [(one.id, one.count // 2 * 2 if isinstance(one, Battery) else one.count) for one in things]
    kit = Kit(tuple((i, n) for i, n in counts if n), 0, 0, 0, has_unpriced=False)
    low, high = 0.0, 2.0
    for _ in range(7):
        middle = (low + high) / 2
        world = World(made.operation, drawing(middle, inventory), made.sky)
        low, high = (middle, high) if passes(world, kit) else (low, middle)
    return low


def passes(world: World, kit: Kit) -> bool:
    """Whether some way of plugging a kit together survives enough windows."""
    limit_g = world.operation.mass_limit_g
    if (limit_g is not None and kit.mass_g > limit_g) or (world.operation.least == "price" and kit.has_unpriced):
        return False
    chosen = [(world.inventory.by_id[item_id], n) for item_id, n in kit.counts]
    batteries = [(thing, n) for thing, n in chosen if isinstance(thing, Battery)]
    controllers = [(thing, n) for thing, n in chosen if isinstance(thing, Controller)]
    panels = [(thing, n) for thing, n in chosen if isinstance(thing, Panel)]
    if not batteries:
        return False
    for units in assignments(panels, controllers):
        if all(unit_is_legal(world, c, joined, batteries[0][0].chemistry) for c, joined in units):
            banks = banks_of(world, batteries, units)
            if banks is not None and n_survived(banks) >= world.n_needed:
                return True
    return False


def apart_answer(instance: Instance) -> tuple[int, set[tuple[tuple[str, int], ...]]] | None:
    """The least first objective of any kit, and the kits that have it; None where none works."""
    world = World(instance.operation, instance.inventory, instance.sky)
    first, kits = None, set()
    for kit in kits_in_order(world):
        value = kit.values(world.operation.least)[0]
        if first is not None and value > first:
            break
        if passes(world, kit):
            first = value
            kits.add(kit.counts)
    return None if first is None else (first, kits)


def with_banks(number: int) -> Instance:
    """An instance whose batteries charge apart, from few pieces, twice as many of each battery at least."""
    rng = random.Random(60_000 + number)
    made = random_instance(rng, n_windows=20)
    inventory, outing = made.inventory, made.operation
    batteries = [replace(one, count=rng.choice([2, 2, 3])) for one in inventory.batteries[:2]]
    capacity_ah = rng.choice([1.0, 2.0, 3.0])
    batteries.append(battery("b9", capacity_ah, count=rng.choice([1, 2]), mass_g=round(130 * capacity_ah)))
    panels = tuple(replace(one, count=1) for one in inventory.panels[:2])
    controllers = tuple(replace(one, count=1) for one in inventory.controllers[:1])
    stock = replace(inventory, batteries=tuple(batteries), panels=panels, controllers=controllers)
    start_min = 60 * outing.start.hour + outing.start.minute
    times = {
        (start_min + rng.randrange(15, int(60 * outing.hours), 15)) % 1440 for _ in range(rng.choice([1, 3, 5, 7]))
    }
    # else a bank that has had the sun is seldom needed again
    need = replace(outing.need, start_charge_share=rng.choice([1.0, 0.7, 0.5, 0.4]))
    limit_g = None if outing.mass_limit_g is None else outing.mass_limit_g + 1500
    outing = replace(outing, need=need, charge="apart", swap=tuple(sorted(times)), mass_limit_g=None, air_travel=False)
    found = Instance(outing, stock, made.sky)
    share = _share_met(found, has_panels=True)
    factor = near_the_best(rng, share, _share_met(found, has_panels=False)) if share > 0.0 else rng.uniform(0.1, 1.0)
    return Instance(replace(outing, mass_limit_g=limit_g), drawing(factor, stock), made.sky)
