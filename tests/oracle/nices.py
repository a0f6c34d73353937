"""Loads that run where they can: every set of them tried, the set with the first of the file before any without it."""

from __future__ import annotations

import random
from collections.abc import Callable, Iterator
from dataclasses import dataclass, replace
from functools import cache
from itertools import product

from kitopt.inventory.items import Load
from kitopt.operation.terms import LoadUse, Operation, Span
from oracle.instances import GENDERLESS, Instance, drawing, drawn, load
from oracle.losses import backed_up_answer, brought_close, with_spares
from oracle.search import Answer
from oracle.wired_instances import wired
from oracle.wiring import wired_answer
from oracle.world import World


@dataclass(frozen=True)
class Served:
    """The nice loads that run, and the best kits that run just these and the musts."""

    ids: tuple[str, ...]
    right: Answer
    world: World


def sets_in_order(operation: Operation) -> Iterator[Operation]:
    """The operation with every set of its nice loads; of two sets that with the first load that only one has."""
    for chosen in product((True, False), repeat=sum(use.priority == "nice" for use in operation.loads)):
        takes = iter(chosen)
        yield replace(operation, loads=tuple(use for use in operation.loads if use.priority == "must" or next(takes)))


def served_answer(instance: Instance, best: Callable[[Instance], Answer] = backed_up_answer) -> Served:
    """The first set that some kit runs, the best kits being given; that of the musts alone where none does."""
    operation = instance.operation
    *_, bare = sets_in_order(operation)
    musts = _served(instance, bare, operation.mass_limit_g, best)
    if not musts.right.kits:
        return musts
    limits_g = [limit_g for limit_g in (operation.mass_limit_g,) if limit_g is not None]
    if operation.nice_at_most_g is not None:
        limits_g.append(musts.right.kits[0].mass_g + operation.nice_at_most_g)
    most_g = min(limits_g, default=None)
    tries = (_served(instance, tried, most_g, best) for tried in sets_in_order(operation))
    return next(one for one in tries if one.right.kits)


def _served(instance: Instance, tried: Operation, limit_g: int | None, best: Callable[[Instance], Answer]) -> Served:
    outing = replace(tried, mass_limit_g=limit_g)
    ids = tuple(use.id for use in tried.loads if use.priority == "nice")
    right = best(replace(instance, operation=outing))
    return Served(ids, right, World(outing, instance.inventory, instance.sky))


@cache
def with_nices(number: int) -> Instance:
    """An instance with one to three nice loads, some of which its kits can run and others not."""
    rng = random.Random(20_000 + number)
    made = drawn(rng, n_windows=20)
    need = made.operation.need
    if rng.random() < 0.2:
        need = replace(need, backup=(rng.choice(["battery", "controller"]),))
    stock = with_spares(made.inventory, need.backup)
    # what must run leaves some room
    made = brought_close(rng, Instance(replace(made.operation, need=need), stock, made.sky), room=0.5)
    most_w = sum(battery.count * battery.usable_wh for battery in made.inventory.batteries) / made.operation.hours
    loads: list[Load] = []
    uses: list[LoadUse] = []
    for name in ("fan", "kettle", "beacon")[: rng.randint(1, 3)]:
        loads.append(load(name, full_w=most_w * rng.choice([0.05, 0.2, 0.6, 1.5]), mass_g=rng.choice([100, 400, 900])))
        spans = rng.choice([(), (Span(720, 1080),), (Span(1200, 375),)])
        uses.append(LoadUse(name, spans=spans, quiet="off", priority="nice"))
    both = [*made.operation.loads, *uses]
    if rng.random() < 0.5:
        rng.shuffle(both)
    outing = replace(made.operation, loads=tuple(both), nice_at_most_g=rng.choice([None, None, 300, 800, 1500]))
    return Instance(outing, replace(made.inventory, loads=(*made.inventory.loads, *loads)), made.sky)


def wired_with_nices(number: int) -> Instance:
    """An instance with leads, in which a fan is nice and so is the phone, where there is one."""
    rng = random.Random(30_000 + number)
    made = wired(number)
    station = made.operation.station_connector
    uses = [replace(use, priority="nice") if use.id == "phone" else use for use in made.operation.loads]
    share = rng.choice([0.1, 0.3, 0.6])
    most_w = sum(battery.count * battery.usable_wh for battery in made.inventory.batteries) / made.operation.hours
    loads = list(made.inventory.loads)
    if rng.random() < 0.7 or len(uses) == 1:
        plug = station if station is not None and rng.random() < 0.6 else GENDERLESS
        loads.append(load("fan", full_w=share * most_w, mass_g=200, connector=plug))
        uses.insert(rng.randint(0, len(uses)), LoadUse("fan", quiet="off", priority="nice"))
    # what must run leaves some room
    factor = rng.uniform(0.4, 1.0)
    outing = replace(made.operation, loads=tuple(uses), nice_at_most_g=rng.choice([None, None, None, 400]))
    return replace(made, operation=outing, inventory=drawing(factor, replace(made.inventory, loads=tuple(loads))))


def wired_served_answer(instance: Instance) -> Served:
    """The first set of nice loads that some kit with its leads runs."""
    return served_answer(instance, lambda one: wired_answer(World(one.operation, one.inventory, one.sky)))
