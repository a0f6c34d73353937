"""A choice as one JSON object, format kitopt/plan-1: keys are added, never renamed."""

from __future__ import annotations

import json
import math
from collections.abc import Iterable
from datetime import datetime
from pathlib import Path
from typing import Any

from kitopt import __version__
from kitopt.choice import Choice, Packed, Proof
from kitopt.explain import Why, cautions, not_packed
from kitopt.inventory.items import Assumed, Inventory
from kitopt.report.assumptions import in_order
from kitopt.report.look_up import look_up_value
from kitopt.report.nices import why_not
from kitopt.report.reasons import as_value
from kitopt.report.repairs import conflicts_value, repairs_value, tried_value
from kitopt.report.second_opinion import second_opinion_value
from kitopt.report.wiring import fuses_value, swaps_value

SCHEMA = "kitopt/plan-1"
NOTHING_ASKED = Why()


def as_json(value: dict[str, Any]) -> str:
    """One document, in letters that every encoding has; never NaN or Infinity."""
    return json.dumps(value, indent=2, allow_nan=False) + "\n"


def document(choice: Choice, why: Why = NOTHING_ASKED) -> dict[str, Any]:
    """The object of one kit: every key is always there.

    Masses in grams, prices in the inventory's currency, energy in watt-hours, times with offset.
    """
    operation, inventory, survival = choice.operation, choice.inventory, choice.survival
    has_kit = bool(choice.packed)
    return {
        "schema": SCHEMA,
        "status": choice.status,
        "name": operation.name,
        "start": _time(operation.start),
        "hours": _number(operation.hours),
        "confidence": float(operation.need.confidence),
        "forced": [{"id": one.id, "least": one.least, "most": one.most} for one in operation.bounds],
        "proof": proof_document(choice.proof),
        "kit": entries(inventory, choice.packed),
        "mass_g": choice.mass_g,
        "price": _price(choice.price_cents) if has_kit else 0.0,
        "unpriced": [one.id for one in choice.packed if inventory.by_id[one.id].price_cents is None],
        "currency": inventory.currency,
        "bus": choice.bus.name if choice.bus else None,
        "windows": {
            "tried": survival.tried if survival else choice.sky.n_windows,
            "survived": survival.survived if survival else 0,
            "needed": survival.needed if survival else math.ceil(operation.need.confidence * choice.sky.n_windows),
            # null where none was tried: not known is not none
            "fresh": {
                "tried": survival.fresh_tried if survival else 0,
                "survived": survival.fresh_survived if survival else None,
            },
        },
        "lowest": _lowest(choice),
        "losses": [
            {
                "kind": loss.kind,
                "what": loss.what,
                "tried": loss.tried,
                "survived": loss.survived,
                "margin_wh": _number(loss.margin_wh),
            }
            for loss in choice.losses
        ],
        "served": [nice.id for nice in choice.nices if nice.runs],
        "unserved": [
            {"id": nice.id, "known": nice.runs is not None, "text": why_not(choice, nice)}
            for nice in choice.nices
            if not nice.runs
        ],
        "need_wh": _number(choice.need_wh),
        "peak_a": _number(choice.peak_a),
        "wiring": _wiring(choice),
        "fuses": fuses_value(choice),
        "swaps": swaps_value(choice),
        "reasons": {one.id: as_value(choice, one) for one in why.withouts},
        "not_packed": {item_id: {"rule": r.rule, "text": r.text} for item_id, r in not_packed(choice).items()},
        "no_sun_hours": _number(choice.no_sun_hours),
        "second_opinion": second_opinion_value(choice, why.agreement),
        "assumed": [_assumed(one) for one in in_order(choice)],
        "cautions": [{"level": c.level, "text": c.text, "rule": c.rule} for c in cautions(choice)],
        "made_with": {
            "version": __version__,
            "seed": operation.need.seed,
            "weather": choice.sky.source,
            "days": [
                {"day": one.day.isoformat(), "from": one.source, "share": _number(one.share)} for one in choice.sky.days
            ],
            "windows": choice.sky.n_windows,
            "step_minutes": _number(operation.need.step_h * 60),
            "inventory": inventory.fingerprint,
            "operation": Path(operation.file).name,
        },
        "strongest": _strongest(choice),
        "repairs": repairs_value(choice, why.repairs),
        "repairs_tried": tried_value(why.repairs),
        "look_up": None if why.look_up is None else look_up_value(choice, why.look_up),
        "conflicts": conflicts_value(why.conflicts),
        "kits": [{"circuit": name or "main", **document(part)} for name, part in choice.circuits],
    }


def _number(value: float | None, digits: int = 3) -> float | None:
    if value is None or not math.isfinite(value):
        return None
    return round(value, digits) + 0.0  # no negative zero


def _price(cents: float | None) -> float | None:
    return None if cents is None else cents / 100


def _time(time: datetime | None) -> str | None:
    return None if time is None else time.isoformat(timespec="seconds")


def proof_document(proof: Proof) -> dict[str, Any]:
    """How sure an answer is; a price is told in the currency, anything else whole."""

    def amount(value: float | None) -> float | int | None:
        if value is None or not math.isfinite(value):
            return None
        return value / 100 if proof.of == "price" else round(value)

    return {
        "of": proof.of,
        "objective": amount(proof.objective),
        "bound": amount(proof.bound),
        "gap": _number(proof.gap, 6),
        "proved": proof.proved,
    }


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
                "price": _price(cents),
                "total_mass_g": one.count * item.mass_g,
                "total_price": None if cents is None else _price(one.count * cents),
            }
        )
    return found


def _lowest(choice: Choice) -> dict[str, Any] | None:
    lowest = choice.lowest
    if lowest is None:
        return None
    return {
        "window": lowest.window,
        "time": _time(lowest.time),
        "charge_wh": _number(lowest.charge_wh),
        "charge_ah": _number(lowest.charge_ah),
        "margin_wh": _number(lowest.margin_wh),
    }


def _wiring(choice: Choice) -> list[dict[str, Any]]:
    """Joins in the order in which they are made; "fuse_a" may be "in the battery"."""
    return [
        {
            "from": wire.source,
            "to": wire.sink,
            "kind": wire.kind,
            "count": wire.count,
            "joined": wire.joined,
            "leads": list(wire.leads),
            "amps": _number(wire.amps),
            "fuse_a": "in the battery" if wire.is_fused_inside and wire.fuse_a is None else _number(wire.fuse_a),
            "ohm": _number(wire.ohm, 5),
            "drop_v": _number(wire.drop_v),
            "loss_share": _number(wire.loss_share, 5),
        }
        for wire in choice.wiring
    ]


def _assumed(one: Assumed) -> dict[str, str]:
    return {"file": one.file, "id": one.id, "column": one.column, "value": one.value, "rule": one.rule}


def _strongest(choice: Choice) -> dict[str, Any] | None:
    shortfall = choice.shortfall
    if choice.status != "no-kit":
        return None
    if shortfall is None:
        return {"kit": [], "shortfall_wh": None, "time": None}
    return {
        "kit": entries(choice.inventory, shortfall.packed),
        "shortfall_wh": _number(shortfall.shortfall_wh),
        "time": _time(shortfall.time),
    }
