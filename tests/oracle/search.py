"""Every kit of an inventory, best first, until one passes."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from itertools import product

from kitopt.inventory.items import Battery, Controller, Item, Panel
from oracle.judge import Bank, best_share_of
from oracle.legal import LoadedUnit, batteries_are_legal, charging_is_legal, unit_is_legal
from oracle.world import World


@dataclass(frozen=True)
class Kit:
    """How many of each item, with what it weighs, costs and counts, loads and extras included.

    ``has_unpriced`` tells that some item's price is unknown; its price then counts as nothing.
    """

    counts: tuple[tuple[str, int], ...]
    mass_g: int
    price_cents: int
    n_items: int
    has_unpriced: bool

    def values(self, least: str) -> tuple[int, int, int]:
        """The three objectives, the named one first."""
        three = {"mass": self.mass_g, "price": self.price_cents, "items": self.n_items}
        return (three.pop(least), *three.values())  # type: ignore[return-value]


@dataclass(frozen=True)
class Answer:
    """All passing kits that are best by the first objective; empty when no kit passes."""

    first: int | None
    kits: tuple[Kit, ...]


def kits_in_order(world: World) -> list[Kit]:
    """Every choice of counts, best by the operation's objectives first, then by id."""
    inventory = world.inventory
    things: list[Item] = [*inventory.batteries, *inventory.controllers, *inventory.panels]
    things.sort(key=lambda item: item.id)
    carried: list[tuple[Item, int]] = [(inventory.by_id[use.id], use.count) for use in world.operation.loads]
    carried += [(extra, extra.count) for extra in inventory.extras if not extra.hangs_on]
    beside_panels: list[tuple[Item, int]] = [(extra, extra.count) for extra in inventory.extras if extra.hangs_on]
    found = []
    for numbers in product(*(range(thing.count, -1, -1) for thing in things)):
        chosen = [(thing, n) for thing, n in zip(things, numbers, strict=True) if n > 0]
        both = chosen + carried + (beside_panels if any(isinstance(thing, Panel) for thing, _ in chosen) else [])
        found.append(
            Kit(
                tuple((thing.id, n) for thing, n in chosen),
                sum(n * thing.mass_g for thing, n in both),
                sum(n * (thing.price_cents or 0) for thing, n in both),
                sum(n for _, n in both),
                any(thing.price_cents is None for thing, _ in chosen),
            )
        )
    # the sort is stable, and the product ran from many of the first id to none
    return sorted(found, key=lambda kit: kit.values(world.operation.least))


def assignments(
    panels: list[tuple[Panel, int]], controllers: list[tuple[Controller, int]]
) -> Iterator[list[LoadedUnit]]:
    """Every way to plug all panels into the controllers, one unit each."""
    units = [controller for controller, n in controllers for _ in range(n)]
    if not units:
        if not panels:
            yield []
        return
    for split in product(*(_splits(n, len(units)) for _, n in panels)):
        yield [
            (unit, [(panel, part[u]) for (panel, _), part in zip(panels, split, strict=True) if part[u] > 0])
            for u, unit in enumerate(units)
        ]


def _splits(n: int, n_units: int) -> list[tuple[int, ...]]:
    if n_units == 1:
        return [(n,)]
    return [(first, *rest) for first in range(n + 1) for rest in _splits(n - first, n_units - 1)]


def legal_layouts(world: World, kit: Kit) -> Iterator[tuple[list[tuple[Battery, int]], list[LoadedUnit]]]:
    """The kit under every way of plugging it together that no rule forbids."""
    limit_g = world.operation.mass_limit_g
    if limit_g is not None and kit.mass_g > limit_g:
        return
    if world.operation.least == "price" and kit.has_unpriced:
        return
    chosen = [(world.inventory.by_id[item_id], n) for item_id, n in kit.counts]
    batteries = [(thing, n) for thing, n in chosen if isinstance(thing, Battery)]
    if not batteries_are_legal(world, batteries):
        return
    controllers = [(thing, n) for thing, n in chosen if isinstance(thing, Controller)]
    panels = [(thing, n) for thing, n in chosen if isinstance(thing, Panel)]
    chemistry = batteries[0][0].chemistry
    for units in assignments(panels, controllers):
        if all(unit_is_legal(world, c, joined, chemistry) for c, joined in units) and charging_is_legal(
            world, batteries, units
        ):
            yield batteries, units


def legal_banks(world: World, kit: Kit) -> Iterator[Bank]:
    """The same, ready to be judged."""
    for batteries, units in legal_layouts(world, kit):
        yield Bank(world, batteries, units)


def passes(world: World, kit: Kit) -> bool:
    """Whether some way of plugging the kit together survives enough windows."""
    return any(bank.passes() for bank in legal_banks(world, kit))


def answer(world: World) -> Answer:
    """The best passing kits by the first objective, found by trying them in order."""
    first: int | None = None
    kits = []
    for kit in kits_in_order(world):
        value = kit.values(world.operation.least)[0]
        if first is not None and value > first:
            break
        if passes(world, kit):
            first = value
            kits.append(kit)
    return Answer(first, tuple(kits))


def best_share(world: World, kits: list[Kit], within: float = 1e-4) -> float:
    """Largest share of the need that any of some kits meets; -1 when none is legal."""
    return best_share_of((bank.passes for kit in reversed(kits) for bank in legal_banks(world, kit)), within)
