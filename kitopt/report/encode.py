"""The one encoder of every command: values as JSON knows them, in the spelling of kitopt/plan-1."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from datetime import datetime
from typing import TYPE_CHECKING, Any

if TYPE_CHECKING:
    from kitopt.choice.terms import Packed, Proof
    from kitopt.explain.caution import Caution
    from kitopt.inventory.items import Assumed, Inventory

SCHEMA = "kitopt/plan-1"


def as_json(value: dict[str, Any], *, is_for_eyes: bool = True) -> str:
    """One document, in letters that every encoding has; never NaN or Infinity."""
    return json.dumps(value, indent=2 if is_for_eyes else None, allow_nan=False) + "\n"


def number(value: float | None, digits: int = 3) -> float | None:
    """A number rounded, null where it is not known or has no end."""
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0  # no negative zero


def price(cents: float | None) -> float | None:
    """Hundredths in the inventory's currency."""
    return None if cents is None else cents / 100


def time(moment: datetime | None) -> str | None:
    """A moment with its offset."""
    return None if moment is None else moment.isoformat(timespec="seconds")


def pieces(some: Iterable[tuple[str, int]]) -> list[dict[str, Any]]:
    """Ids and counts."""
    return [{"id": item_id, "count": n} for item_id, n in some]


def entries(inventory: Inventory, packed: Iterable[Packed]) -> list[dict[str, Any]]:
    """Items of a kit, one object each."""
    found = []
    for one in packed:
        item = inventory.by_id[one.id]
        cents = item.price_cents
        found.append(
            {
                "id": one.id,
                "name": item.name,
                "kind": one.kind,
                "count": one.count,
                "mass_g": item.mass_g,
                "price": price(cents),
                "total_mass_g": one.count * item.mass_g,
                "total_price": None if cents is None else price(one.count * cents),
            }
        )
    return found


def assumed_values(some: Iterable[Assumed]) -> list[dict[str, str]]:
    """What was left blank, and what it was taken as."""
    return [
        {"file": one.file, "id": one.id, "column": one.column, "value": one.value, "rule": one.rule} for one in some
    ]


def caution_values(some: Iterable[Caution]) -> list[dict[str, str]]:
    """What is to be heeded, looked up or never done."""
    return [{"level": one.level, "text": one.text, "rule": one.rule} for one in some]


def proof_value(proof: Proof) -> dict[str, Any]:
    """How sure an answer is; a price is told in the currency, anything else whole."""

    def amount(value: float | None) -> float | int | None:
        if value is None or not math.isfinite(value):
            return None
        return value / 100 if proof.of == "price" else round(value)

    return {
        "of": proof.of,
        "objective": amount(proof.objective),
        "bound": amount(proof.bound),
        "gap": number(proof.gap, 6),
        "proved": proof.proved,
    }


def plan_head(status: str, name: str, proof: Proof) -> dict[str, Any]:
    """What a document of several kits begins with; its own kit is empty, for the kits have theirs."""
    return {"schema": SCHEMA, "status": status, "name": name, "proof": proof_value(proof), "kit": []}
