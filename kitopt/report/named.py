"""A kit that somebody named, judged: in words and as JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kitopt.choice import Packed
from kitopt.choice.named import NamedKit
from kitopt.explain import Why
from kitopt.report import words
from kitopt.report.document import document
from kitopt.report.encode import entries
from kitopt.report.heed import cautions_section, heed_section
from kitopt.report.in_brief import starts, survives
from kitopt.report.lists import checklist, fact, in_short, listed
from kitopt.report.nices import which_run
from kitopt.report.pictures import charge_picture
from kitopt.report.repairs import conflicts_section
from kitopt.report.second_opinion import second_opinion_text
from kitopt.report.text import assumed_section, each_alone, facts, falls_short
from kitopt.report.wiring import wiring
from kitopt.report.words import wrapped

_SUPERLATIVE = {"mass": "lightest", "price": "cheapest", "items": "smallest"}
_LESS = {"mass": "lighter", "price": "cheaper", "items": "of fewer pieces"}


def named_text(kit: NamedKit, why: Why, *, is_brief: bool = False) -> str:
    """Whether it does, with what chance, what is missing and what too much; in brief that and the list."""
    choice = kit.choice
    lines = _headline(kit)
    ticked = checklist(choice.inventory, kit.named, with_price=True)
    if is_brief:
        return "\n".join([*lines, "", *ticked]) + "\n"
    if kit.status == "found":
        lines += heed_section(choice, "all of it below")
    lines += ["", *ticked, "", *_verdict(kit)]
    if kit.status == "found":
        lines += ["", *wiring(choice), "", *facts(choice), *charge_picture(choice)]
        if why.agreement is not None:
            lines += fact("Check", second_opinion_text(choice, why.agreement))
    elif why.conflicts:
        lines += ["", *conflicts_section(choice, why.conflicts)]
    lines += ["", *cautions_section(choice, with_blocks=not why.conflicts)]
    assumed = assumed_section(choice)
    lines += ["", *assumed] if assumed else []
    return "\n".join(lines) + "\n"


def _headline(kit: NamedKit) -> list[str]:
    choice, shortfall = kit.choice, kit.choice.shortfall
    name, lasts = choice.operation.name, words.hours(choice.operation.hours)
    if kit.status == "time-limit":
        return wrapped(f"{name}: the time was up before it was known whether this kit does for {lasts}.")
    does = "this kit does" if kit.status == "found" else "this kit does not do"
    how = f"{lasts} with {words.mass(kit.mass_g)}{which_run(choice)}{starts(choice)}"
    lines = wrapped(f"{name}: {does}, {how}{survives(choice)}.")
    if kit.status == "found":
        return lines
    if choice.circuits:
        return [*lines, *each_alone(choice)]
    if shortfall is None or not shortfall.packed:
        return [*lines, *wrapped("Nothing of it fits together.", "  ")]
    return [*lines, *wrapped(f"Wired as well as it can be it {falls_short(choice, shortfall)}.", "  ")]


def _verdict(kit: NamedKit) -> list[str]:
    lines: list[str] = []
    if kit.status == "no-kit":
        lines += fact("Missing", _missing(kit))
    if kit.over_limit_g:
        limit_g = kit.mass_g - kit.over_limit_g
        text = f"{words.mass(kit.over_limit_g)} above the {words.mass(limit_g)} that the operation allows."
        lines += fact("Too heavy", text)
    if kit.needless:
        what = _SUPERLATIVE[kit.choice.operation.least]
        text = f"{_pieces(kit, kit.needless)}: the rest is the {what} kit of these that does."
        lines += fact("Too much", text)
    elif kit.status == "found":
        unknown = "not known: the time was up." if kit.needless is None else "nothing."
        lines += fact("Too much", unknown)
    if kit.used and kit.idle:
        lines += fact("Not used", f"{in_short(kit.idle)}: in the bag, but wired to nothing.")
    return lines


def _missing(kit: NamedKit) -> str:
    if kit.repair == "found":
        less = _LESS[kit.choice.operation.least]
        return f"{_pieces(kit, kit.missing)}: with that it does, and nothing {less} would make it do."
    if kit.repair == "time-limit":
        if kit.missing:
            return f"{_pieces(kit, kit.missing)}: with that it does; whether less would be enough is not known."
        return "not known: the time was up."
    return "nothing that is owned would make it do."


def _pieces(kit: NamedKit, some: Sequence[Packed]) -> str:
    mass_g = sum(one.count * kit.choice.inventory.by_id[one.id].mass_g for one in some)
    return f"{', '.join(listed((one.id, one.count) for one in some))} ({words.mass(mass_g)})"


def named_document(kit: NamedKit, why: Why) -> dict[str, Any]:
    """The object of its choice, and what was asked of the named kit under ``named``."""
    inventory = kit.choice.inventory
    survival = kit.choice.survival
    return document(kit.choice, why) | {
        "named": {
            "kit": entries(inventory, kit.named),
            "mass_g": kit.mass_g,
            "does": None if kit.status == "time-limit" else kit.status == "found",
            "chance": survival.survived / survival.tried if survival and survival.tried else None,
            "missing": entries(inventory, kit.missing),
            "missing_status": kit.repair if kit.status != "found" else None,
            "too_much": None if kit.needless is None else entries(inventory, kit.needless),
            "not_used": entries(inventory, kit.idle) if kit.used else [],
            "over_limit_g": kit.over_limit_g,
        }
    }
