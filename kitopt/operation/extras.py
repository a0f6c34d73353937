"""Which extras go along: always, with a load or mode that is used, or with panels."""

from __future__ import annotations

from kitopt.inventory.items import Extra, Inventory
from kitopt.operation.terms import Operation


def always_packed(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """Extras that go along whatever kit is chosen: those that hang on nothing, or on a load or mode that is used."""
    used = {word for use in operation.loads for word in (use.id, use.mode)}
    return tuple(extra for extra in inventory.extras if not extra.hangs_on or used & set(extra.hangs_on))


def packed_with_panels(operation: Operation, inventory: Inventory) -> tuple[Extra, ...]:
    """Extras that go along only where a panel that they hang on does."""
    words = {"panel", *(panel.id for panel in inventory.panels)}
    always = always_packed(operation, inventory)
    return tuple(extra for extra in inventory.extras if extra not in always and words & set(extra.hangs_on))
