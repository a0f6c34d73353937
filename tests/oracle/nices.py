"""Loads that run where they can: every set of them tried, the set with the first of the file before any without it."""

from __future__ import annotations

import random
from collections.abc import Iterator
from dataclasses import dataclass, replace
from itertools import product

from kitopt.inventory.items import Load
from kitopt.operation.terms import LoadUse, Operation, Span
from oracle.instances import Instance, load, random_instance
from oracle.losses import backed_up_answer
from oracle.search import Answer
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


def served_answer(instance: Instance) -> Served:
    """The first set that some kit runs; that of the musts alone, without kits, where none does."""
    operation = instance.operation
    *_, bare = sets_in_order(operation)
    musts = _served(instance, bare, operation.mass_limit_g)
    if not musts.right.kits:
        return musts
    limits_g = [limit_g for limit_g in (operation.mass_limit_g,) if limit_g is not None]
    if operation.nice_at_most_g is not None:
        limits_g.append(musts.right.kits[0].mass_g + operation.nice_at_most_g)
    tries = (_served(instance, tried, min(limits_g, default=None)) for tried in sets_in_order(operation))
    return next(one for one in tries if one.right.kits)


def _served(instance: Instance, tried: Operation, limit_g: int | None) -> Served:
    outing = replace(tried, mass_limit_g=limit_g)
    ids = tuple(use.id for use in tried.loads if use.priority == "nice")
    right = backed_up_answer(replace(instance, operation=outing))
    return Served(ids, right, World(outing, instance.inventory, instance.sky))


def with_nices(number: int) -> Instance:
    """An instance with one to three nice loads, some of which its kits can run and others not."""
    rng = random.Random(20_000 + number)
    made = random_instance(rng, n_windows=20)
    # what must run leaves some room
    factor = rng.uniform(0.3, 1.0)
    fields = ("idle_a", "idle_w", "full_a", "full_w")
    musts = tuple(
        replace(x, **{f: factor * v for f in fields if (v := getattr(x, f)) is not None}) for x in made.inventory.loads
    )
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
    need = made.operation.need
    if rng.random() < 0.2:
        need = replace(need, backup=(rng.choice(["battery", "controller"]),))
    outing = replace(
        made.operation, loads=tuple(both), nice_at_most_g=rng.choice([None, None, 300, 800, 1500]), need=need
    )
    return Instance(outing, replace(made.inventory, loads=(*musts, *loads)), made.sky)
