"""Several kits at once, by trying every one: grab-kits, purchases, and one stock for several."""

from __future__ import annotations

import itertools
import random
from collections import Counter
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import timedelta
from functools import cache, partial

import numpy as np

from kitopt.inventory.items import Battery, Controller, Inventory, Item
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky
from oracle.instances import Instance, drawing, drawn, near_the_best
from oracle.judge import Bank, Passes, best_share_of
from oracle.losses import Losses, with_spares
from oracle.search import Kit, legal_banks
from oracle.second import strict
from oracle.wired_instances import wired_instance
from oracle.wiring import Leads, wired_ways
from oracle.world import World

Counts = tuple[tuple[str, int], ...]

STORED_DAYS = 40
"""That a grab-kit lies between two charges."""


@dataclass(frozen=True)
class Task:
    """One operation under one sky, on a stock that others use too."""

    operation: Operation
    sky: Sky
    others: Sky | None = None
    """The windows of its second set."""


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
    for numbers in itertools.product(*(range(thing.count, -1, -1) for thing in things)):
        chosen = [(thing, n) for thing, n in zip(things, numbers, strict=True) if n > 0]
        yield Kit(
            tuple((thing.id, n) for thing, n in chosen),
            sum(n * thing.mass_g for thing, n in chosen),
            sum(n * (thing.price_cents or 0) for thing, n in chosen),
            sum(n for _, n in chosen),
            False,
        )


def _every_way(task: Task, inventory: Inventory, company: tuple[Battery, ...] = ()) -> Iterator[tuple[Kit, Passes]]:
    """Every kit that fits together for a task, leads and converters among it where there are any."""
    worlds = [World(task.operation, inventory, task.sky)]
    worlds += [] if task.others is None else [World(strict(task.operation), inventory, task.others)]
    for one in worlds:
        one.company = company
    world = worlds[0]
    if inventory.has_leads_file:
        leads, *later = map(Leads, worlds)
        for devices in every_kit(inventory):
            judged: dict[tuple[object, ...], Passes] = {}
            for way in wired_ways(leads, devices):
                if way.physics not in judged:
                    judged[way.physics] = _once(_all_of([way.bank(one).passes for one in (leads, *later)]))
                yield way.kit, judged[way.physics]
        return
    losses = Losses(world, Instance(task.operation, inventory, task.sky))
    for kit in every_kit(inventory):
        for bank in legal_banks(world, kit):
            banks = [bank, *(Bank(one, bank.batteries, bank.plugged) for one in worlds[1:])]
            # what is lost is not tried by the second set
            yield kit, _all_of([*(one.passes for one in banks), partial(losses.are_outlived, bank)])


def _all_of(some: Sequence[Passes]) -> Passes:
    return lambda share: all(passes(share) for passes in some)


def _once(passes: Passes) -> Passes:
    """The same judge, who remembers."""
    known: dict[float, bool] = {}

    def judge(share: float) -> bool:
        if share not in known:
            known[share] = passes(share)
        return known[share]

    return judge


def _best_shares(task: Task, inventory: Inventory) -> tuple[float, float]:
    """The largest share of a task's need that any kit meets, and that any kit without panels does."""
    ways = list(_every_way(task, inventory))
    panels = {panel.id for panel in inventory.panels}
    dark = (passes for kit, passes in ways if panels.isdisjoint(i for i, _ in kit.counts))
    return best_share_of(passes for _, passes in ways), best_share_of(dark)


def working(task: Task, inventory: Inventory, share: float = 1.0, *, company: tuple[Battery, ...] = ()) -> list[Kit]:
    """Every kit that works for a task as a whole, each of its pieces in use, at a share of the need."""
    found = {kit.counts: kit for kit, passes in _every_way(task, inventory, company) if passes(share)}
    return list(_needful(inventory, [(kit, 0) for kit in found.values()]))


def _needful(inventory: Inventory, kits: Sequence[tuple[Kit, int]]) -> dict[Kit, int]:
    """Leave out what another does with fewer pieces of what is not a battery, at no smaller level."""
    kept: dict[tuple[Counts, ...], list[tuple[dict[str, int], Kit, int]]] = {}
    for kit, level in sorted(kits, key=lambda one: (-one[1], one[0].n_items)):
        counts = dict(kit.counts)
        batteries = tuple((i, n) for i, n in kit.counts if isinstance(inventory.by_id[i], Battery))
        same = kept.setdefault((batteries,), [])
        if not any(all(n <= counts.get(i, 0) for i, n in other.items()) for other, _, _ in same):
            same.append((counts, kit, level))
    return {kit: level for same in kept.values() for _, kit, level in same}


def _within(part: Counts, whole: Counts) -> bool:
    """Whether a kit can be taken out of a bag."""
    bag = dict(whole)
    return all(bag.get(item_id, 0) >= n for item_id, n in part)


@dataclass(frozen=True)
class InABag:
    """What works for each task out of a bag with some batteries in it, the weakest of which judges every kit."""

    batteries: frozenset[str]
    works: tuple[tuple[Kit, ...], ...]

    def passes(self, bag: Counts) -> bool:
        """Whether every event finds a kit that works in the bag."""
        return all(any(_within(kit.counts, bag) for kit in kits) for kits in self.works)


def in_bags(several: Several) -> list[InABag]:
    """For every set of batteries of one chemistry and voltage."""
    found = []
    owned = several.inventory.batteries
    for size in range(1, len(owned) + 1):
        for some in itertools.combinations(owned, size):
            if len({(b.chemistry, b.nominal_v) for b in some}) == 1:
                stock = replace(several.inventory, batteries=some)
                works = tuple(tuple(working(task, stock, company=some)) for task in several.tasks)
                found.append(InABag(frozenset(b.id for b in some), works))
    return found


def bag_passes(bag: Counts, several: Several, known: Sequence[InABag]) -> bool:
    """Whether every event finds a kit that works in the bag, judged by the weakest battery in it."""
    batteries = frozenset(i for i, _ in bag if isinstance(several.inventory.by_id[i], Battery))
    return any(one.batteries == batteries and one.passes(bag) for one in known)


def smallest_bags(several: Several, least: str) -> tuple[int | None, list[Counts]]:
    """The least mass or number of pieces, loads aside, and every bag that has it.

    A smallest bag has of each item what the event that takes most of it needs, and no more.
    """
    by_id = several.inventory.by_id
    first: int | None = None
    found: set[Counts] = set()
    for kits in itertools.chain.from_iterable(itertools.product(*one.works) for one in in_bags(several)):
        most: Counter[str] = Counter()
        for kit in kits:
            most |= Counter(dict(kit.counts))
        value = sum(n * (by_id[i].mass_g if least == "mass" else 1) for i, n in most.items())
        if first is not None and value > first:
            continue
        bag = tuple(sorted(most.items()))
        found = {bag} if value != first else found | {bag}
        first = value
    return first, sorted(found)


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
        for kit, passes in _every_way(task, several.inventory):
            for level in sorted(levels, reverse=True):
                if kit.counts in best and level <= best[kit.counts][1]:
                    break
                if passes(level / 100):
                    best[kit.counts] = (kit, level)
                    break
        share_of.append(list(_needful(several.inventory, list(best.values())).items()))
    best_sorted: list[int] = []
    for choice in itertools.product(*share_of):
        ranked = sorted(level for _, level in choice)
        if ranked > best_sorted and all(_fit([choice[t][0] for t in group], stock) for group in together):
            best_sorted = ranked
    return best_sorted


# -- instances -----------------------------------------------------------------------------


def _thinned(inventory: Inventory, most: int, n_controllers: int) -> Inventory:
    """At most so many pieces, so that every choice can be tried."""
    things = [*inventory.batteries[:2], *inventory.controllers[:1], *inventory.panels[:2]]
    left = most
    counts = {}
    for thing in sorted(things, key=lambda item: (not isinstance(item, Battery), item.id)):
        counts[thing.id] = max(0, min(thing.count, left, 2 if not isinstance(thing, Controller) else n_controllers))
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


@cache
def several(number: int, n_tasks: int, *, backup: bool = False) -> Several:
    """Tasks that differ in weather, load and need, on one small inventory; leads are among it in every second one.

    Some leads are owned once more than one outing needs, so that others have to make do with the second best.
    """
    rng = random.Random(50_000 + number)
    is_wired = number % 2 == 1
    first = wired_instance(rng) if is_wired else drawn(rng, n_windows=10)
    kinds = rng.choice([("battery",), ("controller",), ()]) if backup and not is_wired else ()
    inventory = _thinned(with_spares(first.inventory, kinds), 5 if is_wired else 6, 2 if "controller" in kinds else 1)
    loads = tuple(replace(x, count=10) for x in inventory.loads)
    leads = tuple(replace(x, count=x.count + (rng.random() < 0.3)) for x in inventory.leads)
    inventory = replace(inventory, loads=loads, leads=leads)
    tasks = []
    for t in range(n_tasks):
        scale = rng.choice([0.6, 0.9, 1.0])
        poa, useful = (
            {way: scale * array[:10] for way, array in by_way.items()}
            for by_way in (first.sky.poa_wm2, first.sky.useful_wm2)
        )
        use = first.operation.loads[0]
        uses = (replace(use, transmit_share=use.transmit_share * rng.choice([0.5, 1.0])), *first.operation.loads[1:])
        need = replace(first.operation.need, backup=kinds)
        operation = replace(first.operation, name=f"task {t}", loads=uses, need=need, mass_limit_g=None, least="mass")
        if backup:
            # a standing kit is recharged, so dates of charging say nothing about it
            operation = replace(operation, stored_days=float(STORED_DAYS))
        tasks.append(Task(operation, _first_windows(replace(first.sky, poa_wm2=poa, useful_wm2=useful), 10)))
    # what the hardest task's best kit can do, and what no kit without panels can for all of them
    share, dark = map(min, zip(*(_best_shares(task, inventory) for task in tasks), strict=True))
    factor = near_the_best(rng, share, dark) if share > 0.05 else rng.uniform(0.5, 1.4)
    return Several(tuple(tasks), drawing(factor, inventory))


def _first_windows(sky: Sky, n: int) -> Sky:
    """The same sky with so many windows."""
    return sky.only(np.arange(n))


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
    "STORED_DAYS",
    "Bought",
    "Several",
    "Task",
    "bag_passes",
    "best_purchase",
    "dated",
    "fairest_shares",
    "in_bags",
    "several",
    "smallest_bags",
    "things_of",
    "working",
]
