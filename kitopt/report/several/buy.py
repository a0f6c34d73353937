"""Purchases for a season in words and as JSON."""

from __future__ import annotations

from typing import Any

from kitopt.choice.purchase import Purchase, Single
from kitopt.report import encode, words
from kitopt.report.document import document
from kitopt.report.heed import all_cautions
from kitopt.report.lists import checklist, fact, forced_fact, in_short
from kitopt.report.nices import left_at_home
from kitopt.report.proof import proof_text
from kitopt.report.several.kit import fares, kit_section
from kitopt.report.words import wrapped


def buy_text(found: Purchase) -> str:
    """All that has to be known of a season's purchases."""
    outings = found.programme.outings
    lines = wrapped(buy_head(found))
    if found.choices and found.bought:
        lines += [""]
        for one in found.bought:
            item = found.inventory.by_id[one.id]
            each = words.price(item.price_cents or 0, found.inventory.currency)
            lines += wrapped(f"{one.count:3}  {one.id}: {item.name}, {words.mass(item.mass_g)}, {each} each", "buy ")
    lines += [""]
    for o, outing in enumerate(outings):
        operation = outing.operation
        date, clock = words.moment(operation.start).rsplit(" ", 1)
        day = f"{date} {operation.start.year}, {clock}"
        choice = found.choices.get(o)
        if o in found.unknown:
            lines += fact("Unknown", f"{operation.name}, {day}: the time was up before a kit was found.")
        elif choice is None:
            lines += fact("Without", f"{operation.name}, {day}: no kit.")
        else:
            text = f"{operation.name}, {day}: {words.mass(choice.mass_g)}, {in_short(choice.packed)}."
            lines += fact("Kit", text)
    lines += forced_fact(outings[0].operation.bounds)
    lines += left_at_home(found.programme)
    lines += fact("Proof", buy_proof(found))
    if found.choices:
        sure = "proved" if found.is_lightest else "not proved"
        lines += fact("Mass", f"{words.mass(found.mass_g)}, all kits together; {sure} lightest for that.")
    lines += _singles(found)
    if found.unpriced:
        lines += fact("Unpriced", f"{', '.join(found.unpriced)}: without a price nothing can be compared.")
    for choice in found.choices.values():
        heading = f"{choice.operation.name}: {words.hours(choice.operation.hours)} with {words.mass(choice.mass_g)}"
        listed = checklist(found.inventory, choice.packed)
        lines += ["", *wrapped(f"{heading}{fares(choice)}."), *listed, *kit_section(choice)]
    cautions = all_cautions(found.choices.values())
    lines += ["", *cautions] if cautions else []
    return "\n".join(lines) + "\n"


def buy_proof(found: Purchase) -> str:
    """How sure it is, of all kits together."""
    within = "" if found.budget_cents is None else words.price(found.budget_cents, found.inventory.currency)
    return proof_text(found.proof, found.inventory.currency, within)


def buy_head(found: Purchase) -> str:
    """What is spent, and how many operations that serves."""
    n, n_served = len(found.programme.outings), len(found.choices)
    cost = words.price(found.cost_cents, found.inventory.currency)
    served = f"{'all ' if n_served == n else f'{n_served} of '}{n} operations" if n > 1 else "the operation"
    if not found.choices:
        why = (
            "the time was up before any kit was found" if found.unknown else "no purchase makes any operation possible"
        )
        return f"{found.programme.name}: {why}."
    if not found.bought:
        return f"{found.programme.name}: nothing worth buying; what is owned serves {served}."
    return f"{found.programme.name}: {cost} serves {served}."


def _singles(found: Purchase) -> list[str]:
    if not found.singles:
        if found.has_all_singles:
            return ["", "No single piece would make an operation possible or a kit lighter."]
        return []
    lines = ["", "One piece at a time, operations taken one by one"]
    for one in found.singles:
        price = words.price(one.cents, found.inventory.currency)
        lines += wrapped(f"{one.id} ({price}): {_does(found, one)}.", "- ")
    if not found.has_all_singles:
        lines += ["  The time was up before every type was tried."]
    return lines


def _does(found: Purchase, one: Single) -> str:
    parts = []
    if one.serves:
        names = [found.programme.outings[o].operation.name for o in one.serves]
        parts.append(f"makes possible {', '.join(names)}")
    if one.saved_g > 0:
        each = one.saved_g / max(1, one.cents) * 100
        parts.append(f"saves {words.mass(one.saved_g)} ({each:.1f} g for each {found.inventory.currency or '1.00'})")
    return "; ".join(parts)


def buy_document(found: Purchase) -> dict[str, Any]:
    """The same as one JSON object."""
    outings = found.programme.outings
    return {
        **encode.plan_head(found.status, found.programme.name, found.proof),
        "buy": encode.entries(found.inventory, found.bought),
        "cost": encode.price(found.cost_cents),
        "budget": encode.price(found.budget_cents),
        "currency": found.inventory.currency,
        "mass_g": found.mass_g,
        "is_lightest": found.is_lightest,
        "served": [outings[o].operation.name for o in found.choices],
        "unserved": [outings[o].operation.name for o in found.unserved],
        "unknown": [outings[o].operation.name for o in found.unknown],
        "singles": [
            {
                "id": one.id,
                "price": encode.price(one.cents),
                "makes_possible": [outings[o].operation.name for o in one.serves],
                "saved_g": one.saved_g,
                "saved_g_per_unit": encode.number(one.saved_g / max(1, one.cents) * 100),
            }
            for one in found.singles
        ],
        "has_all_singles": found.has_all_singles,
        "unpriced": list(found.unpriced),
        "kits": [document(choice) for choice in found.choices.values()],
    }
