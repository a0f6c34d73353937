"""Why each item is in the kit: the next best kits in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kitopt.choice import Choice
from kitopt.explain.without import Pieces, Without
from kitopt.files.plain import cut
from kitopt.inventory.items import Panel
from kitopt.report import encode, words
from kitopt.report.encode import pieces
from kitopt.report.lists import listed
from kitopt.report.words import width as page_width

_WORSE = {"mass": "heavier", "price": "dearer", "items": "more"}
BETTER = {"mass": "lighter", "price": "cheaper", "items": "less"}
_AS_GOOD = {"mass": "as light", "price": "as cheap", "items": "as few items"}


def section(choice: Choice, withouts: Sequence[Without]) -> list[str]:
    """One line for each chosen item: what happens without it."""
    if not withouts:
        return []
    heads = [without.id if without.count == 1 else f"1 of {without.count} {without.id}" for without in withouts]
    width = min(24, max(len(head) for head in heads))
    lines = ["Why each: without it the best kit is"]
    for head, without in zip(heads, withouts, strict=True):
        start = f"  {cut(head, width):{width}}  "
        lines.append(start + sentence(choice, without, page_width() - len(start)))
    if any(without.status == "time-limit" for without in withouts):
        lines.append("  What is not proved takes longer to tell: kitopt why with an id looks further.")
    return lines


def sentence(choice: Choice, without: Without, width: int = 1000, *, names: bool = True) -> str:
    """What happens without one piece of an item, in at most so many letters; with names, what comes instead."""
    if without.status == "time-limit" and without.more is None:
        return "not known: it takes longer to tell"
    if without.status == "no-kit":
        if not without.fits:
            return "no kit: nothing else that is owned fits in its place"
        if without.shortfall_wh is None:
            return "no kit does it"
        at = f" at {words.moment(without.time)}" if without.time else ""
        return cut(f"no kit: {energy(without.shortfall_wh)} short{at}", width)
    how = f"a tie: {_AS_GOOD[choice.operation.least]}" if without.is_tie else worse(choice, without.more or 0)
    if without.status == "time-limit" and not without.is_tie:
        how = f"at most {how}"
    if _loses_all_panels(choice, without):
        how += ", no panel"
    return cut(how + (_instead(without.instead, width - len(how)) if names else ""), width)


def worse(choice: Choice, more: int) -> str:
    """How much worse by what counts first, such as "365 g heavier"."""
    return f"{amount(choice, more)} {_WORSE[choice.operation.least]}"


def energy(value_wh: float | None) -> str:
    """Watt-hours that are missing, never told as none."""
    if value_wh is None:
        return "not known how far"
    return "less than 1 Wh" if value_wh < 0.95 else f"{value_wh:,.0f} Wh"


def as_value(choice: Choice, without: Without) -> dict[str, Any]:
    """The value of one id under ``reasons``: grams, the inventory's currency, watt-hours."""
    cents = without.price_cents_more
    return {
        "rule": "without",
        "text": f"Without {'it' if without.count == 1 else 'one of them'}: {sentence(choice, without)}.",
        "status": without.status,
        "more": without.more if choice.operation.least != "price" or without.more is None else without.more / 100,
        "mass_g_more": without.mass_g_more,
        "price_more": encode.price(cents),
        "instead": pieces(without.instead),
        "without": pieces(without.gone),
        "shortfall_wh": encode.number(without.shortfall_wh),
        "time": encode.time(without.time),
    }


def _instead(some: Pieces, width: int) -> str:
    names = listed(some)
    for shown in range(len(names), 0, -1):
        more = f" and {len(names) - shown} more" if shown < len(names) else ""
        text = f" ({', '.join(names[:shown])}{more} instead)"
        if len(text) <= width:
            return text
    return ""


def _loses_all_panels(choice: Choice, without: Without) -> bool:
    gone = dict(without.gone)
    owned = choice.inventory.by_id
    panels = [one for one in choice.packed if isinstance(owned[one.id], Panel)]
    comes = any(isinstance(owned[item_id], Panel) for item_id, _ in without.instead)
    return bool(panels) and not comes and all(gone.get(one.id, 0) == one.count for one in panels)


def amount(choice: Choice, value: int) -> str:
    """So much of what counts first, in words."""
    least = choice.operation.least
    if least == "price":
        return words.price(value, choice.inventory.currency)
    if least == "mass":
        return words.mass(value)
    return f"{value:,} {'item' if value == 1 else 'items'}"
