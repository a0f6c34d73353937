"""The checklist: what goes into each bag, what it weighs, and what each piece plugs into."""

from __future__ import annotations

import itertools
from collections.abc import Sequence
from dataclasses import dataclass

from kitopt.choice import Choice, Packed
from kitopt.inventory.items import Inventory
from kitopt.model.kit import STATION
from kitopt.model.wiring_list import item_at, meeting_place

GROUPS = (
    ("Batteries and what they hang on", ("battery", "converter")),
    ("Sun", ("panel", "controller")),
    ("Leads", ("lead",)),
    ("What is powered", ("load",)),
    ("Small things", ("extra",)),
)
"""Heaps on the table, where no bags are named."""


@dataclass(frozen=True)
class Piece:
    """Some of one item; into what it plugs, by name."""

    id: str
    name: str
    kind: str
    count: int
    mass_g: int
    """Of all of them. [g]"""
    price_cents: int | None
    plugs_into: tuple[str, ...]


@dataclass(frozen=True)
class Heap:
    """A bag, or a heap of things that belong together."""

    name: str
    pieces: tuple[Piece, ...]

    @property
    def mass_g(self) -> int:
        """[g]"""
        return sum(one.mass_g for one in self.pieces)


def heaps(
    inventory: Inventory,
    packed: Sequence[Packed],
    parts: Sequence[Choice],
    bags: Sequence[tuple[str, Sequence[Packed]]] = (),
) -> tuple[Heap, ...]:
    """A kit as bags where they are named, else as heaps.

    Parameters
    ----------
    parts : sequence of Choice
        What is wired of it.
    bags : sequence of (name, packed)
        Empty for none.
    """
    into = _plugs_into(parts)
    if bags:
        return tuple(
            Heap(name, tuple(_piece(inventory, one, into) for one in inside)) for name, inside in bags if inside
        )
    found = []
    for name, kinds in GROUPS:
        inside = [one for kind in kinds for one in packed if one.kind == kind]
        if inside:
            found.append(Heap(name, tuple(_piece(inventory, one, into) for one in inside)))
    return tuple(found)


def _piece(inventory: Inventory, one: Packed, into: dict[str, tuple[str, ...]]) -> Piece:
    item = inventory.by_id[one.id]
    price = None if item.price_cents is None else one.count * item.price_cents
    return Piece(one.id, item.name, one.kind, one.count, one.count * item.mass_g, price, into.get(one.id, ()))


def _plugs_into(parts: Sequence[Choice]) -> dict[str, tuple[str, ...]]:
    """What each item plugs into: of a lead what is behind it, of all else the next lead or thing."""
    found: dict[str, dict[str, None]] = {}

    for part in parts:
        place = meeting_place(part.wiring)
        for wire in part.wiring:
            if wire.kind == "strip":
                continue
            # a load hangs on what comes before it
            back = (wire.sink, *reversed(wire.leads), place)
            way = back if wire.source == STATION else (wire.source, *wire.leads, wire.sink)
            for what, into in itertools.pairwise(place if end == STATION else item_at(end) for end in way):
                found.setdefault(what, {})[into] = None
    return {what: tuple(into) for what, into in found.items()}
