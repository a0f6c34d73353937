"""Which extras go along: always, with a load or mode that is used, or with panels."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace

from kitopt.inventory.items import Extra, Inventory
from kitopt.operation.terms import Operation


def always_packed(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """Extras that go along whatever kit is chosen: those that hang on nothing, or on a load or mode that is used."""
    used = {word for use in operation.loads for word in (use.id, use.mode)}
    return tuple(extra for extra in _there(operation, inventory) if not extra.hangs_on or used & set(extra.hangs_on))


def packed_with_panels(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """Extras that go along only where a panel that they hang on does."""
    words = {"panel", *(panel.id for panel in inventory.panels)}
    always = always_packed(operation, inventory)
    there = _there(operation, inventory)
    return tuple(extra for extra in there if extra not in always and words & set(extra.hangs_on))


def _there(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """The extras with as many pieces as the operation may have of them."""
    if operation.extras is None:
        return inventory.extras
    most = dict(operation.extras)
    return tuple(replace(extra, count=most.get(extra.id, 0)) for extra in inventory.extras if most.get(extra.id, 0) > 0)


def shared_out(
    operations: Sequence[Operation], inventory: Inventory, at_once: Sequence[Sequence[int]]
) -> list[tuple[tuple[str, int], ...]]:
    """How many of each extra each operation gets, as one piece of it is in one place at a time.

    One for each that wants it, the earliest first, then what is left likewise.

    Parameters
    ----------
    at_once : sequence of sets
        Operations that cannot have one another's pieces, by number.
    """
    got: list[dict[str, int]] = [{} for _ in operations]
    order = sorted(range(len(operations)), key=lambda o: (operations[o].start, o))
    for extra in inventory.extras:
        wanting = [o for o in order if extra in wanted_extras(operations[o], inventory)]
        for _ in range(extra.count):
            for o in wanting:
                sets = [some for some in at_once if o in some]
                if all(sum(got[i].get(extra.id, 0) for i in some) < extra.count for some in sets):
                    got[o][extra.id] = got[o].get(extra.id, 0) + 1
    return [tuple(sorted(one.items())) for one in got]


def wanted_extras(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """All that would go along, with panels too."""
    return (*always_packed(operation, inventory), *packed_with_panels(operation, inventory))
