"""Two circuits on one stock: every pair of kits tried, each window survived when both survive it."""

from __future__ import annotations

import random
from collections import Counter
from collections.abc import Callable
from dataclasses import replace
from functools import cache

from kitopt.inventory.items import Panel
from kitopt.operation.terms import LoadUse, Operation, Span
from oracle.instances import GENDERLESS, Instance, battery, drawing, load, random_instance
from oracle.search import Kit, kits_in_order, legal_banks
from oracle.wired_instances import mate, wired
from oracle.wiring import Leads, wired_ways
from oracle.world import World

Values = tuple[int, ...]


def of_circuit(operation: Operation, name: str) -> Operation:
    """The loads of one circuit, with no limit on their kit alone."""
    loads = tuple(use for use in operation.loads if use.circuit == name)
    return replace(operation, loads=loads, mass_limit_g=None)


def survived(world: World, kit: Kit) -> set[frozenset[int]]:
    """What windows a kit survives, by every way of plugging it together."""
    found = set()
    for bank in legal_banks(world, kit):
        windows = frozenset(k for k in range(world.n_windows) if bank.margin_wh(k) >= -1e-5)
        if len(windows) >= world.n_needed:
            found.add(windows)
    return found


def plain_kits(world: World) -> list[tuple[Kit, set[frozenset[int]]]]:
    """Every kit without leads that does, with the windows that it survives, the best first."""
    return [(kit, ways) for kit in kits_in_order(world) if (ways := survived(world, kit))]


def wired_kits(world: World) -> list[tuple[Kit, set[frozenset[int]]]]:
    """The same with leads and converters: every legal way to wire every kit, each tried in every window."""
    leads = Leads(world)
    found: dict[tuple[tuple[str, int], ...], tuple[Kit, set[frozenset[int]]]] = {}
    for devices in kits_in_order(world):
        judged: dict[tuple[object, ...], frozenset[int]] = {}
        for way in wired_ways(leads, devices):
            if way.physics not in judged:
                bank = way.bank(leads)
                judged[way.physics] = frozenset(k for k in range(world.n_windows) if bank.margin_wh(k) >= -1e-5)
            if len(judged[way.physics]) >= world.n_needed:
                found.setdefault(way.kit.counts, (way.kit, set()))[1].add(judged[way.physics])
    return sorted(found.values(), key=lambda one: one[0].values(world.operation.least))


def joint_answer(
    instance: Instance, kits_of: Callable[[World], list[tuple[Kit, set[frozenset[int]]]]] = plain_kits
) -> tuple[Values, set[tuple[tuple[str, int], ...]]] | None:
    """The least objectives of any pair of kits, and what such pairs take in all; None where no pair works."""
    operation, inventory = instance.operation, instance.inventory
    bare = replace(inventory, extras=())
    sides = [kits_of(World(of_circuit(operation, name), bare, instance.sky)) for name in ("", "small")]
    n_needed = World(of_circuit(operation, ""), bare, instance.sky).n_needed
    best: Values | None = None
    kits: set[tuple[tuple[str, int], ...]] = set()
    for one, its_ways in sides[0]:
        for other, other_ways in sides[1]:
            # the extras only add to it
            least = one.values(operation.least)[0] + other.values(operation.least)[0]
            if best is not None and least > best[0]:
                break
            total = Counter(dict(one.counts)) + Counter(dict(other.counts))
            if any(n > inventory.by_id[i].count for i, n in total.items()):
                continue
            has_panel = any(isinstance(inventory.by_id[i], Panel) for i in total)
            extras = [x for x in inventory.extras if not x.hangs_on or has_panel]
            whole = Kit(
                tuple(sorted(total.items())),
                one.mass_g + other.mass_g + sum(x.count * x.mass_g for x in extras),
                one.price_cents + other.price_cents + sum(x.count * (x.price_cents or 0) for x in extras),
                one.n_items + other.n_items + sum(x.count for x in extras),
                one.has_unpriced or other.has_unpriced,
            )
            if operation.mass_limit_g is not None and whole.mass_g > operation.mass_limit_g:
                continue
            if not any(len(mine & its) >= n_needed for mine in its_ways for its in other_ways):
                continue
            value = whole.values(operation.least)[:1]
            if best is None or value < best:
                best, kits = value, set()
            if value == best:
                kits.add(whole.counts)
    return None if best is None else (best, kits)


def wired_with_circuits(number: int) -> Instance:
    """An instance with leads, in which a fan has a circuit of its own, with a battery and leads that it may take."""
    # the first three take the oracle longest
    rng = random.Random(50_003 + number)
    made = wired(number + 3)
    station = made.operation.station_connector or GENDERLESS
    inventory, outing = made.inventory, made.operation
    share = rng.choice([0.3, 0.6, 1.0, 1.6])
    fan = load("fan", full_w=share * 2.0 * 12.8 / outing.hours, mass_g=100, connector=station)
    spare = battery("b9", 2.0, count=rng.choice([1, 2]), mass_g=260, connector=mate(station))
    outing = replace(outing, loads=(*outing.loads, LoadUse("fan", quiet="off", circuit="small")), air_travel=False)
    # what the others draw leaves some room
    loads = (*drawing(rng.uniform(0.3, 0.8), inventory).loads, fan)
    few = replace(inventory, batteries=(*inventory.batteries[:2], spare), panels=inventory.panels[:1], loads=loads)
    return replace(made, operation=outing, inventory=few)


@cache
def with_circuits(number: int) -> Instance:
    """An instance in which some load has a circuit of its own, from few pieces."""
    rng = random.Random(40_000 + number)
    made = random_instance(rng, n_windows=20)
    inventory = made.inventory
    batteries = [replace(one, count=min(2, one.count)) for one in inventory.batteries[:2]]
    capacity_ah = rng.choice([1.0, 2.0, 3.0])
    batteries.append(battery("b9", capacity_ah, count=rng.choice([1, 2]), mass_g=round(130 * capacity_ah)))
    if rng.random() < 0.3:
        batteries.append(battery("b8", 2.0, chemistry="agm", nominal_v=12.0, depth_share=0.5, mass_g=700))
    panels = tuple(replace(one, count=1) for one in inventory.panels[:2])
    controllers = tuple(replace(one, count=min(2, one.count)) for one in inventory.controllers[:1])
    # what the main loads draw leaves some room, and often the other circuit needs sun as well
    factor = rng.uniform(0.3, 0.9)
    loads = [*drawing(factor, inventory).loads]
    share = rng.choice([0.4, 0.8, 1.2, 2.0])
    loads.append(load("fan", full_w=share * capacity_ah * 12.8 / made.operation.hours, mass_g=100))
    spans = rng.choice([(), (), (Span(720, 1080),), (Span(1200, 375),)])
    uses = [*made.operation.loads, LoadUse("fan", spans=spans, quiet="off", circuit="small")]
    outing = replace(made.operation, loads=tuple(uses), air_travel=False)
    stock = replace(inventory, batteries=tuple(batteries), panels=panels, controllers=controllers, loads=tuple(loads))
    return Instance(outing, stock, made.sky)
