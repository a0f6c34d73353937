"""Several kits at once, by trying every one: grab-kits, purchases, and one stock for several."""

from __future__ import annotations

import itertools
import random
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta

from kitopt.inventory.items import Battery, Controller, Inventory, Item
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky
from oracle.instances import Instance, random_instance
from oracle.losses import Losses
from oracle.search import Kit, legal_banks
from oracle.world import World

Counts = tuple[tuple[str, int], ...]


@dataclass(frozen=True)
class Task:
    """One operation under one sky, on a stock that others use too."""

    operation: Operation
    sky: Sky


@dataclass(frozen=True)
class Several:
    """Tasks on one inventory."""

    tasks: tuple[Task, ...]
    inventory: Inventory


def things_of(inventory: Inventory) -> list[Item]:
    """What is chosen from, by id."""
    return sorted((*inventory.batteries, *inventory.controllers, *inventory.panels), key=lambda item: item.id)


def every_kit(inventory: Inventory) -> Iterator[Kit]:
    """Every choice of counts, without loads and extras."""
    things = things_of(inventory)
    for numbers in itertools.product(*(range(thing.count + 1) for thing in things)):
        chosen = [(thing, n) for thing, n in zip(things, numbers, strict=True) if n > 0]
        yield Kit(
            tuple((thing.id, n) for thing, n in chosen),
            sum(n * thing.mass_g for thing, n in chosen),
            sum(n * (thing.price_cents or 0) for thing, n in chosen),
            sum(n for _, n in chosen),
            False,
        )


def working(task: Task, inventory: Inventory, share: float = 1.0) -> list[Kit]:
    """Every kit that works for a task as a whole, each of its pieces in use, at a share of the need."""
    world = World(task.operation, inventory, task.sky)
    losses = Losses(world, Instance(task.operation, inventory, task.sky))
    return [
        kit
        for kit in every_kit(inventory)
        if any(bank.passes(share) and losses.are_outlived(bank) for bank in legal_banks(world, kit))
    ]


def _within(part: Counts, whole: Counts, inventory: Inventory) -> bool:
    """Whether a kit can be taken out of a bag, all its batteries used."""
    bag, used = dict(whole), dict(part)
    for item_id, n in bag.items():
        if isinstance(inventory.by_id[item_id], Battery) and used.get(item_id, 0) != n:
            return False
    return all(bag.get(item_id, 0) >= n for item_id, n in used.items())


def bag_passes(bag: Counts, works: Sequence[Sequence[Kit]], inventory: Inventory) -> bool:
    """Whether every event finds a kit that works in the bag."""
    return all(any(_within(kit.counts, bag, inventory) for kit in kits) for kits in works)


def smallest_bags(several: Several, least: str) -> tuple[int | None, list[Counts]]:
    """The least mass or number of pieces, loads aside, and every bag that has it."""
    works = [working(task, several.inventory) for task in several.tasks]
    first: int | None = None
    found: list[Counts] = []
    for bag in sorted(every_kit(several.inventory), key=lambda kit: kit.values(least)):
        value = bag.values(least)[0]
        if first is not None and value > first:
            break
        if bag_passes(bag.counts, works, several.inventory):
            first = value
            found.append(bag.counts)
    return first, found


def _fit(kits: Sequence[Kit], stock: Mapping[str, int]) -> bool:
    used: dict[str, int] = {}
    for kit in kits:
        for item_id, n in kit.counts:
            used[item_id] = used.get(item_id, 0) + n
    return all(n <= stock.get(item_id, 0) for item_id, n in used.items())


def _least_mass(
    works: Mapping[int, Sequence[Kit]], together: Sequence[Sequence[int]], stock: Mapping[str, int]
) -> int | None:
    """Least mass of a kit each for some tasks, those of each group at the same time; None where it cannot be."""
    tasks = sorted(works)
    best: int | None = None

    def extend(place: int, chosen: dict[int, Kit], mass_g: int) -> None:
        nonlocal best
        if best is not None and mass_g >= best:
            return
        if place == len(tasks):
            best = mass_g
            return
        for kit in works[tasks[place]]:
            now = {**chosen, tasks[place]: kit}
            if all(_fit([now[t] for t in group if t in now], stock) for group in together):
                extend(place + 1, now, mass_g + kit.mass_g)

    extend(0, {}, 0)
    return best


@dataclass(frozen=True)
class Bought:
    """Unserved tasks, cost and mass of the best purchases."""

    unserved: int
    cost: int
    mass_g: int


def best_purchase(
    several: Several,
    owned: Mapping[str, int],
    prices: Mapping[str, int],
    together: Sequence[Sequence[int]],
    budget: int | None,
) -> Bought | None:
    """The best of all purchases: least cost that serves most, or within a budget least mass for most."""
    works = {
        i: sorted(working(task, several.inventory), key=lambda k: k.mass_g) for i, task in enumerate(several.tasks)
    }
    offered = {i: item.count - owned.get(i, 0) for i, item in several.inventory.by_id.items() if i in prices}
    best: tuple[tuple[int, int, int], Bought] | None = None
    for numbers in itertools.product(*(range(offered[i] + 1) for i in sorted(offered))):
        extra = dict(zip(sorted(offered), numbers, strict=True))
        cost = sum(n * prices[i] for i, n in extra.items())
        if budget is not None and cost > budget:
            continue
        stock = {i: owned.get(i, 0) + extra.get(i, 0) for i in several.inventory.by_id}
        fitting = {t: [k for k in kits if _fit([k], stock)] for t, kits in works.items()}
        for size in range(len(works), 0, -1):
            masses = [
                m
                for some in itertools.combinations(sorted(works), size)
                if (m := _least_mass({t: fitting[t] for t in some}, together, stock)) is not None
            ]
            if masses:
                one = Bought(len(works) - size, cost, min(masses))
                order = (one.unserved, one.cost, one.mass_g) if budget is None else (one.unserved, one.mass_g, one.cost)
                if best is None or order < best[0]:
                    best = order, one
                break
    return None if best is None else best[1]


def fairest_shares(several: Several, together: Sequence[Sequence[int]], levels: Sequence[int]) -> list[int]:
    """Of all ways to share the stock out, the shares of which the smallest is largest, then the next; in percent."""
    stock = {i: item.count for i, item in several.inventory.by_id.items()}
    share_of: list[list[tuple[Kit, int]]] = []
    for task in several.tasks:
        best: dict[Counts, tuple[Kit, int]] = {}
        for level in levels:
            for kit in working(task, several.inventory, level / 100):
                best[kit.counts] = (kit, level)
        share_of.append(list(best.values()))
    best_sorted: list[int] = []
    for choice in itertools.product(*share_of):
        kits = [kit for kit, _ in choice]
        if all(_fit([kits[t] for t in group], stock) for group in together):
            best_sorted = max(best_sorted, sorted(level for _, level in choice))
    return best_sorted


# -- instances -----------------------------------------------------------------------------


def _thinned(inventory: Inventory, rng: random.Random, most: int) -> Inventory:
    """At most so many pieces, so that every choice can be tried."""
    things = [*inventory.batteries[:2], *inventory.controllers[:1], *inventory.panels[:2]]
    left = most
    counts = {}
    for thing in sorted(things, key=lambda item: (not isinstance(item, Battery), item.id)):
        counts[thing.id] = max(0, min(thing.count, left, 2 if not isinstance(thing, Controller) else 1))
        left -= counts[thing.id]

    def some(items: Sequence[Item]) -> tuple[Item, ...]:
        return tuple(replace(item, count=counts[item.id]) for item in items if counts.get(item.id, 0) > 0)

    return replace(
        inventory,
        batteries=some(inventory.batteries),
        controllers=some(inventory.controllers),
        panels=some(inventory.panels),
        extras=(),
    )  # type: ignore[arg-type]


def several(number: int, n_tasks: int, *, backup: bool = False) -> Several:
    """Tasks that differ in weather, load and need, on one small inventory."""
    rng = random.Random(50_000 + number)
    first = random_instance(rng, n_windows=10)
    inventory = _thinned(first.inventory, rng, 6)
    factor = rng.uniform(0.3, 1.0)
    fields = ("idle_a", "idle_w", "full_a", "full_w")
    loads = tuple(
        replace(x, count=10, **{f: factor * v for f in fields if (v := getattr(x, f)) is not None})
        for x in inventory.loads
    )
    # a standing kit is recharged, so dates of charging say nothing about it
    batteries = tuple(replace(b, charged_on=None if backup else b.charged_on) for b in inventory.batteries)
    inventory = replace(inventory, loads=loads, batteries=batteries)
    tasks = []
    kinds = rng.choice([("battery",), ("controller",), ()]) if backup else ()
    for t in range(n_tasks):
        scale = rng.choice([0.3, 0.6, 0.9, 1.0])
        poa = {way: scale * array for way, array in first.sky.poa_wm2.items()}
        use = first.operation.loads[0]
        uses = (replace(use, transmit_share=use.transmit_share * rng.choice([0.5, 1.0])), *first.operation.loads[1:])
        need = replace(first.operation.need, backup=kinds)
        operation = replace(first.operation, name=f"task {t}", loads=uses, need=need, mass_limit_g=None, least="mass")
        tasks.append(Task(operation, replace(first.sky, poa_wm2=poa)))
    return Several(tuple(tasks), inventory)


def dated(several_: Several, rng: random.Random) -> Several:
    """The tasks moved so that some overlap."""
    tasks = []
    start = several_.tasks[0].operation.start
    hours = several_.tasks[0].operation.hours
    for t, task in enumerate(several_.tasks):
        shift = timedelta(days=7 * t) if rng.random() < 0.5 else timedelta(hours=rng.choice([0.0, 0.5 * hours]))
        tasks.append(replace(task, operation=replace(task.operation, start=start + shift)))
    return replace(several_, tasks=tuple(tasks))


__all__ = [
    "Bought",
    "Several",
    "Task",
    "bag_passes",
    "best_purchase",
    "dated",
    "fairest_shares",
    "several",
    "smallest_bags",
    "things_of",
    "working",
]
