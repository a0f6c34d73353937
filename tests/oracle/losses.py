"""A kit without one of its units: every loss tried in turn."""

from __future__ import annotations

import random
from collections.abc import Iterator, Sequence
from dataclasses import replace
from functools import cache
from typing import Any

from kitopt.inventory.items import Battery, Inventory, Item
from oracle.instances import Instance, drawing, drawn, near_the_best
from oracle.judge import Bank, Passes, best_share_of
from oracle.legal import EPSILON, LoadedUnit, charging_is_legal
from oracle.search import Answer, Kit, kits_in_order, legal_banks
from oracle.world import World

Batteries = list[tuple[Battery, int]]


def _fewer(pieces: Sequence[tuple[object, int]], place: int) -> list[tuple[object, int]]:
    """One less of the thing in a place; the thing is gone with its last."""
    less = [(thing, n - (i == place)) for i, (thing, n) in enumerate(pieces)]
    return [(thing, n) for thing, n in less if n > 0]


def without_one(bank: Bank, kinds: Sequence[str]) -> Iterator[tuple[Batteries, list[LoadedUnit]]]:
    """What is left of a kit after each loss of a kind."""
    batteries, units = bank.batteries, bank.plugged
    if "battery" in kinds:
        for place in range(len(batteries)):
            yield _fewer(batteries, place), units  # type: ignore[misc]
    if "controller" in kinds:
        for place in range(len(units)):
            yield batteries, [*units[:place], *units[place + 1 :]]
    if "panel" in kinds:
        for place, (controller, panels) in enumerate(units):
            for which in range(len(panels)):
                left = _fewer(panels, which)
                yield batteries, [*units[:place], (controller, left), *units[place + 1 :]]  # type: ignore[list-item]


class Losses:
    """The loads that must run, in the same weather."""

    def __init__(self, world: World, instance: Instance) -> None:
        outing = instance.operation
        musts = tuple(use for use in outing.loads if use.priority == "must")
        self.kinds = outing.need.backup
        self.world = World(replace(outing, loads=musts), instance.inventory, instance.sky, outing)
        self.is_parallel = outing.batteries == "parallel"

    def are_outlived(self, whole: Bank, share: float = 1.0) -> bool:
        """Whether the kit carries a share of the must-loads after any loss."""
        return all(self._carries(whole, *left, share) for left in without_one(whole, self.kinds))

    def _carries(self, whole: Bank, batteries: Batteries, units: list[LoadedUnit], share: float) -> bool:
        if not batteries:
            return False
        _, peak_a = self.world.load(whole.nominal_v)
        if self.is_parallel:
            if sum(n * b.max_discharge_a for b, n in batteries) < peak_a - EPSILON:
                return False
            if not charging_is_legal(self.world, batteries, units):
                return False
        bank = Bank(self.world, batteries, units)
        # set for all that were packed, and nobody sets anything anew
        bank.charge_efficiency = whole.charge_efficiency
        bank.discharge_efficiency = whole.discharge_efficiency
        bank.lowest_charging_degc = whole.lowest_charging_degc
        bank.taper_h = whole.taper_h
        if not self.is_parallel:
            bank.rated_w = whole.rated_w
        return bank.passes(share)


def backed_up_answer(instance: Instance) -> Answer:
    """The best kits that work whole and after any loss."""
    world = World(instance.operation, instance.inventory, instance.sky)
    losses = Losses(world, instance)
    first: int | None = None
    kits: list[Kit] = []
    for kit in kits_in_order(world):
        value = kit.values(world.operation.least)[0]
        if first is not None and value > first:
            break
        if any(bank.passes() and losses.are_outlived(bank) for bank in legal_banks(world, kit)):
            first = value
            kits.append(kit)
    return Answer(first, tuple(kits))


@cache
@cache
def backed_up(number: int) -> Instance:
    """An instance with something to be lost and mostly one more of it, and loads close to what the best kit can do."""
    rng = random.Random(10_000 + number)
    made = drawn(rng, n_windows=20)
    uses = tuple(replace(use, priority="nice" if use.id == "lamp" else "must") for use in made.operation.loads)
    kinds = rng.choice([("battery",), ("controller",), ("panel",), ("battery", "controller"), ("battery", "panel")])
    need = replace(made.operation.need, backup=kinds)
    outing = replace(made.operation, loads=uses, need=need, mass_limit_g=None)
    stock = made.inventory if rng.random() < 0.1 else with_spares(made.inventory, kinds)
    return brought_close(rng, Instance(outing, stock, made.sky))


def brought_close(rng: random.Random, made: Instance, room: float = 0.1) -> Instance:
    """An instance with loads close to what the best kit carries whole and after any loss, as `near_the_best` says."""
    inventory = made.inventory
    world = World(made.operation, inventory, made.sky)
    losses = Losses(world, made)
    panels = {panel.id for panel in inventory.panels}

    def judges(kits: list[Kit]) -> Iterator[Passes]:
        for kit in kits:
            for bank in legal_banks(world, kit):
                yield lambda share, bank=bank: bank.passes(share) and losses.are_outlived(bank, share)  # type: ignore[misc]

    kits = kits_in_order(world)[::-1]
    share = best_share_of(judges(kits))
    if share <= 0.05:
        return replace(made, inventory=drawing(rng.uniform(0.15, 0.8), inventory))
    dark = best_share_of(judges([kit for kit in kits if panels.isdisjoint(i for i, _ in kit.counts)]))
    return replace(made, inventory=drawing(near_the_best(rng, share, dark, room), inventory))


def with_spares(inventory: Inventory, kinds: Sequence[str]) -> Inventory:
    """The inventory with two at least of what may be lost; a kit that has one battery or controller has no sun then."""

    def two(items: Sequence[Item], kind: str) -> tuple[Any, ...]:
        return tuple(replace(x, count=max(2, x.count)) if kind in kinds and i == 0 else x for i, x in enumerate(items))

    return replace(
        inventory,
        batteries=two(inventory.batteries, "battery"),
        controllers=two(inventory.controllers, "controller"),
    )
