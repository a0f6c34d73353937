"""A choice as one JSON object, format kitopt/plan-1: keys are added, never renamed."""

from __future__ import annotations

import math
from pathlib import Path
from typing import Any

from kitopt import __version__
from kitopt.choice import Choice
from kitopt.explain import Why, cautions, not_packed
from kitopt.explain.balance import balance
from kitopt.operation.terms import circuit_name
from kitopt.report import encode
from kitopt.report.assumptions import in_order
from kitopt.report.look_up import look_up_value
from kitopt.report.nices import why_not
from kitopt.report.reasons import as_value
from kitopt.report.repairs import conflicts_value, repairs_value, tried_value
from kitopt.report.second_opinion import second_opinion_value
from kitopt.report.split import split_value
from kitopt.report.wiring import fuses_value, swaps_value

NOTHING_ASKED = Why()


def document(choice: Choice, why: Why = NOTHING_ASKED) -> dict[str, Any]:
    """The object of one kit: every key is always there.

    Masses in grams, prices in the inventory's currency, energy in watt-hours, times with offset.
    """
    operation, inventory, survival = choice.operation, choice.inventory, choice.survival
    has_kit = bool(choice.packed)
    return {
        "schema": encode.SCHEMA,
        "status": choice.status,
        "name": operation.name,
        "start": encode.time(operation.start),
        "hours": encode.number(operation.hours),
        "confidence": float(operation.need.confidence),
        "forced": [{"id": one.id, "least": one.least, "most": one.most} for one in operation.bounds],
        "proof": encode.proof_value(choice.proof),
        "kit": encode.entries(inventory, choice.packed),
        "mass_g": choice.mass_g,
        "price": encode.price(choice.price_cents) if has_kit else 0.0,
        "unpriced": [one.id for one in choice.packed if inventory.by_id[one.id].price_cents is None],
        "currency": inventory.currency,
        "bus": choice.bus.name if choice.bus else None,
        "windows": {
            "tried": survival.tried if survival else choice.sky.n_windows,
            "survived": survival.survived if survival else 0,
            "needed": survival.needed if survival else math.ceil(operation.need.confidence * choice.sky.n_windows),
            "second": _others(choice),
            # null where none was tried: not known is not none
            "fresh": {
                "tried": survival.fresh_tried if survival else 0,
                "survived": survival.fresh_survived if survival else None,
            },
        },
        "lowest": _lowest(choice),
        "balance": _balance(choice),
        "losses": [
            {
                "kind": loss.kind,
                "what": loss.what,
                "tried": loss.tried,
                "survived": loss.survived,
                "margin_wh": encode.number(loss.margin_wh),
            }
            for loss in choice.losses
        ],
        "served": [nice.id for nice in choice.nices if nice.runs],
        "unserved": [
            {"id": nice.id, "known": nice.runs is not None, "text": why_not(choice, nice)}
            for nice in choice.nices
            if not nice.runs
        ],
        "need_wh": encode.number(choice.need_wh),
        "peak_a": encode.number(choice.peak_a),
        "wiring": _wiring(choice),
        "fuses": fuses_value(choice),
        "swaps": swaps_value(choice),
        "reasons": {one.id: as_value(choice, one) for one in why.withouts},
        "not_packed": {item_id: {"rule": r.rule, "text": r.text} for item_id, r in not_packed(choice).items()},
        "no_sun_hours": encode.number(choice.no_sun_hours),
        "second_opinion": second_opinion_value(choice, why.agreement),
        "assumed": encode.assumed_values(in_order(choice)),
        "cautions": encode.caution_values(cautions(choice)),
        "made_with": {
            "version": __version__,
            "seed": operation.need.seed,
            "weather": choice.sky.source,
            "days": [
                {"day": one.day.isoformat(), "from": one.source, "share": encode.number(one.share)}
                for one in choice.sky.days
            ],
            "windows": choice.sky.n_windows,
            "step_minutes": encode.number(operation.need.step_h * 60),
            "inventory": inventory.fingerprint,
            "operation": Path(operation.file).name,
        },
        "strongest": _strongest(choice),
        "repairs": repairs_value(choice, why.repairs),
        "repairs_tried": tried_value(why.repairs),
        "look_up": None if why.look_up is None else look_up_value(choice, why.look_up),
        "split": None if why.split is None else split_value(choice, why.split),
        "conflicts": conflicts_value(why.conflicts),
        "kits": [{"circuit": circuit_name(name), **document(part)} for name, part in choice.circuits],
    }


def _others(choice: Choice) -> dict[str, int] | None:
    """The many other windows that a kit must survive; null where the weather has no others, or nothing was tried."""
    if choice.survival is None or choice.survival.others is None:
        return None
    return dict(zip(("tried", "survived", "needed"), choice.survival.others, strict=True))


def _lowest(choice: Choice) -> dict[str, Any] | None:
    lowest = choice.lowest
    if lowest is None:
        return None
    return {
        "window": lowest.window,
        "time": encode.time(lowest.time),
        "charge_wh": encode.number(lowest.charge_wh),
        "charge_ah": encode.number(lowest.charge_ah),
        "margin_wh": encode.number(lowest.margin_wh),
    }


def _balance(choice: Choice) -> dict[str, Any] | None:
    """Of the same window up to the same moment, in ampere-hours: stored + sun - lost - used = left."""
    found = balance(choice)
    if found is None:
        return None
    return {
        "start_share": encode.number(found.start_share),
        "stored_ah": encode.number(found.stored_ah),
        "sun_ah": encode.number(found.sun_ah),
        "lost_ah": encode.number(found.lost_ah),
        "used_ah": encode.number(found.used_ah),
        "left_ah": encode.number(found.left_ah),
        "reserve_ah": encode.number(found.reserve_ah),
        "cold_ah": encode.number(found.cold_ah),
        "below_depth_ah": encode.number(found.depth_ah),
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
            "amps": encode.number(wire.amps),
            "fuse_a": "in the battery" if wire.is_fused_inside and wire.fuse_a is None else encode.number(wire.fuse_a),
            "ohm": encode.number(wire.ohm, 5),
            "drop_v": encode.number(wire.drop_v),
            "loss_share": encode.number(wire.loss_share, 5),
        }
        for wire in choice.wiring
    ]


def _strongest(choice: Choice) -> dict[str, Any] | None:
    shortfall = choice.shortfall
    if choice.status != "no-kit":
        return None
    if shortfall is None:
        return {"kit": [], "shortfall_wh": None, "time": None}
    return {
        "kit": encode.entries(choice.inventory, shortfall.packed),
        "shortfall_wh": encode.number(shortfall.shortfall_wh),
        "time": encode.time(shortfall.time),
    }
