"""What would make it work, in words and as JSON; and why nothing fits together."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from fractions import Fraction
from typing import Any

from kitopt.ask import Change
from kitopt.choice import Choice
from kitopt.explain.conflict import Conflict
from kitopt.explain.repairs import THOROUGH, Repair, Repairs, Way
from kitopt.explain.ruled_out import blocks_that_matter, told
from kitopt.inventory.items import Item, Lead
from kitopt.report import encode, words
from kitopt.report.lists import counted
from kitopt.report.words import wrapped

MOST_FACTS = 8


def repairs_section(choice: Choice, repairs: Repairs) -> list[str]:
    """Changes that work, and the best of each sort that does not; then what was tried."""
    lines: list[str] = []
    if repairs.work:
        lines.append("Any one of these works" if len(repairs.work) > 1 else "This works")
        for one in repairs.work:
            lines += wrapped(f"{repair_text(choice, one)}.", "- ")
    best = _best_of_each(one for one in repairs.not_enough if len(one.ways) == 1)
    if best:
        lines.append("Not enough, each alone")
        for one in best:
            lines += wrapped(f"{repair_text(choice, one)}.", "- ")
    if repairs.undecided:
        lines.append("Not decided in the time for one change")
        for ways in repairs.undecided:
            lines += wrapped(f"{ways_text(choice, ways)}.", "- ")
    if repairs.is_cut_short:
        lines.append("The time was up before every change was tried: allow more --seconds.")
    elif lines and not repairs.work:
        alone = "No single change that was tried is enough"
        lines.append(f"{alone}, and no pair." if repairs.n_pairs else f"{alone}.")
    if repairs.n_solves:
        lines += wrapped(f"{tried_text(repairs)}.")
    return lines


def tried_text(repairs: Repairs) -> str:
    """How much was tried, and whether there is more to try."""
    singles = counted(repairs.n_singles, "single change")
    pairs = f" and {counted(repairs.n_pairs, 'pair')} of the best" if repairs.n_pairs else ""
    more = "; kitopt why tries more pairs" if repairs.has_more_pairs and repairs.most_solves < THOROUGH.solves else ""
    return f"Tried: {singles}{pairs}, {counted(repairs.n_solves, 'solve')} of {repairs.most_solves} at most{more}"


def repair_text(choice: Choice, repair: Repair) -> str:
    """One repair: what is changed, what it brings, and what the kit then weighs."""
    said = ways_text(choice, repair.ways)
    gain = "" if repair.gain_wh is None else f"+{max(0.0, repair.gain_wh):,.0f} Wh, "
    if repair.works:
        assert repair.mass_g is not None
        return f"{said}: {gain}{words.mass(repair.mass_g)} in all{' at most' if repair.is_rough else ''}"
    if repair.gain_wh is not None and repair.gain_wh < 0.5:
        return f"{said}: no gain"
    least, most = ("at least ", "at most ") if repair.is_rough else ("", "")
    return f"{said}: {f'{least}{gain}' if gain else ''}still {most}{repair.shortfall_wh:,.0f} Wh short"


def ways_text(choice: Choice, ways: Sequence[Way]) -> str:
    """One change or a pair, each with what it takes along."""
    said = []
    for change, *along in ways:
        beside = [lead_text(one.thing) for one in along if isinstance(one.thing, Lead)]
        said.append(change_text(choice, change) + (f" with {' and '.join(beside)}" if beside else ""))
    return ", and ".join(said)


def lead_text(lead: Lead) -> str:
    """A lead that nobody owns yet, such as "an adapter from pv-latch:socket to genderless-30"."""
    if lead.ways > 1:
        return f"a Y for {lead.from_connector.family}"
    ends = f"from {lead.from_connector} to {lead.to_connector}"
    if lead.has_fuse:
        return f"a fused lead {ends}"
    return f"a lead of {lead.length_m:g} m {ends}" if lead.length_m >= 1.0 else f"an adapter {ends}"


def change_text(choice: Choice, change: Change) -> str:
    """What is changed, such as "hf-20w off at night"."""
    return _TEXTS[change.family](choice, change)


def _quiet(choice: Choice, change: Change) -> str:
    return f"{change.id} off {'from 23:00 to 07:00' if change.value == 'night' else 'outside its hours on the air'}"


def _load_off(choice: Choice, change: Change) -> str:
    return f"one {change.id} less" if change.value else f"{change.id} left at home"


def _radio(choice: Choice, change: Change) -> str:
    return f"{change.value} instead of {change.id}"


def _transmit(choice: Choice, change: Change) -> str:
    return f"{change.id} transmitting {words.percent(Fraction(change.value))} of its time on the air"


def _hours(choice: Choice, change: Change) -> str:
    return f"{change.text} h instead of {words.hours(choice.operation.hours)}"


def _confidence(choice: Choice, change: Change) -> str:
    return f"to be sure of {change.text} % instead of {words.percent(choice.operation.need.confidence)}"


def _parallel(choice: Choice, change: Change) -> str:
    return "batteries in parallel instead of in turn"


def _mass_limit(choice: Choice, change: Change) -> str:
    return f"to carry more than {words.mass(choice.operation.mass_limit_g or 0)}"


def _lead(choice: Choice, change: Change) -> str:
    assert isinstance(change.thing, Lead)
    return f"{lead_text(change.thing)}, for {change.id}"


def _one_more(choice: Choice, change: Change) -> str:
    is_owned = change.id in choice.inventory.by_id
    if is_owned or not isinstance(change.thing, Item):
        return f"one more {change.id}"
    cents = change.thing.price_cents
    price = "" if cents is None else f" for {words.price(cents, choice.inventory.currency)}"
    return f"to buy {change.id}{price}"


_TEXTS: dict[str, Callable[[Choice, Change], str]] = {
    "quiet": _quiet,
    "load off": _load_off,
    "radio": _radio,
    "transmit": _transmit,
    "hours": _hours,
    "confidence": _confidence,
    "parallel": _parallel,
    "mass limit": _mass_limit,
    "lead": _lead,
    "one more": _one_more,
}


def conflicts_section(choice: Choice, conflicts: Sequence[Conflict]) -> list[str]:
    """Why nothing fits together: for each sort of battery the facts that rule it out, equal chains once."""
    if not conflicts:
        return []
    lines = ["Nothing fits together, because"]
    remedies = {block.text: told(choice, block) for block in blocks_that_matter(choice)}
    by_facts: dict[tuple[str, ...], list[str]] = {}
    for conflict in conflicts:
        names = by_facts.setdefault(tuple(fact.text for fact in conflict.facts), [])
        if conflict.bus.name not in names:
            names.append(conflict.bus.name)
    for facts, names in by_facts.items():
        lines += wrapped(f"with {', '.join(names)}:", "  ")
        for text in facts[:MOST_FACTS]:
            lines += wrapped(remedies.get(text, text), "  - ")
        if len(facts) > MOST_FACTS:
            lines.append(f"    and {len(facts) - MOST_FACTS} more: kitopt pack --json")
    return lines


def repairs_value(choice: Choice, repairs: Repairs) -> list[dict[str, Any]]:
    """Every change that was tried, as JSON; "also" holds what it takes along, and the second of a pair."""
    return [
        {
            **_change_value(one.change),
            "also": [_change_value(change) for change in one.changes if change is not one.change],
            "works": one.works,
            "gain_wh": encode.number(one.gain_wh),
            "shortfall_wh": encode.number(one.shortfall_wh),
            "mass_g": one.mass_g,
            "proved": not one.is_rough,
            "text": f"{repair_text(choice, one)}.",
        }
        for one in (*repairs.work, *repairs.not_enough)
    ]


def _change_value(change: Change) -> dict[str, Any]:
    return {"family": change.family, "id": change.id or None, "value": change.text or None}


def tried_value(repairs: Repairs) -> dict[str, Any] | None:
    """How much was tried, as JSON; None where nothing was."""
    if not repairs.n_solves:
        return None
    return {
        "singles": repairs.n_singles,
        "pairs": repairs.n_pairs,
        "solves": repairs.n_solves,
        "most_solves": repairs.most_solves,
        "more_pairs": repairs.has_more_pairs,
    }


def conflicts_value(conflicts: Iterable[Conflict]) -> list[dict[str, Any]]:
    """Every chain of facts, as JSON."""
    return [
        {"bus": one.bus.name, "facts": [{"rule": fact.rule, "text": fact.text} for fact in one.facts]}
        for one in conflicts
    ]


def _best_of_each(tried: Iterable[Repair]) -> list[Repair]:
    best: dict[str, Repair] = {}
    for one in tried:
        known = best.get(one.change.family)
        if known is None or one.shortfall_wh < known.shortfall_wh:
            best[one.change.family] = one
    return list(best.values())
