"""What is on offer beside what is owned, and what kits take of it."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import replace
from typing import Any, cast

from kitopt.choice.found import Found
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.program import Program
from kitopt.choice.side_by_side import Floats
from kitopt.errors import BadInput, Fault
from kitopt.inventory.items import CHOSEN_KINDS, Inventory, Item
from kitopt.operation.plans import Programme, at_once
from kitopt.sky.windows import SkyOf


def problem_with(programme: Programme, inventory: Inventory, catalogue: Inventory, sky_of: SkyOf) -> Problem:
    """Owned and offered things in one stock.

    Raises
    ------
    BadInput
        If an id means one kind of thing in the inventory and another in the catalogue.
    """
    faults = []
    for item_id, item in sorted(catalogue.by_id.items()):
        mine = inventory.by_id.get(item_id)
        if mine is not None and type(mine) is not type(item):
            kinds = f"a {type(item).__name__.lower()}, but a {type(mine).__name__.lower()} in {inventory.folder}"
            text = f"{item_id} is {kinds}; need another id."
            faults.append(Fault(f"{catalogue.folder}/{item.file}", item.line, "id", text))
    if faults:
        raise BadInput(faults)
    offered: dict[str, int] = {}
    prices: dict[str, int] = {}
    merged: dict[str, tuple[Item, ...]] = {}
    for kind in CHOSEN_KINDS:
        things = {item.id: item for item in cast("tuple[Item, ...]", getattr(inventory, kind))}
        for item in cast("tuple[Item, ...]", getattr(catalogue, kind)):
            if item.price_cents is None or item.count < 1:
                continue
            offered[item.id], prices[item.id] = item.count, item.price_cents
            mine = things.get(item.id)
            things[item.id] = item if mine is None else replace(mine, count=mine.count + item.count)
        merged[kind] = tuple(things[i] for i in sorted(things))
    stock = replace(inventory, **cast(Any, merged))
    wanted = tuple(Wanted((outing.operation,)) for outing in programme.outings)
    together = tuple(at_once(programme.outings))
    return Problem(wanted, stock, sky_of, together, offered=offered, prices=prices)


def unpriced(items: Iterable[Item]) -> list[str]:
    """Ids of those without a price."""
    return [item.id for item in items if item.price_cents is None]


def bought_of(found: Found) -> dict[str, int] | None:
    """What the kits that were found take of what is offered, beyond what is owned."""
    if found.best is None or found.best.outcome.counts is None:
        return None
    return needed(found.best.program, found.best.outcome.counts)


def needed(program: Program, counts: Floats) -> dict[str, int]:
    """What kits take of what is offered, beyond what is owned."""
    return program.problem.beyond_owned(program.used(counts))
