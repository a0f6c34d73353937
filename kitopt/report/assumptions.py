"""Assumed values in the order in which they matter."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.inventory.items import Assumed


def of_the_kit(choice: Choice) -> list[Assumed]:
    """The operation's own, and those of the items packed or, without a kit, of the strongest."""
    packed = choice.packed or (choice.shortfall.packed if choice.shortfall else ())
    ids = {one.id for one in packed}
    mine = [one for one in choice.inventory.assumed if one.id in ids]
    return [*choice.operation.assumed, *mine]


def in_order(choice: Choice) -> list[Assumed]:
    """All of them, those of the kit first."""
    first = of_the_kit(choice)
    said = set(first)
    return [*first, *(one for one in choice.inventory.assumed if one not in said)]
