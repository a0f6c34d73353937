"""One stock for several operators, in words and as JSON: a sheet each, and what changes hands."""

from __future__ import annotations

import math
from typing import Any

from kitopt.choice.handovers import Handover
from kitopt.choice.sharing import Shared, Sheet
from kitopt.inventory.items import Battery
from kitopt.operation.ways import Ways, km_between
from kitopt.report import encode, words
from kitopt.report.document import document
from kitopt.report.heed import all_cautions
from kitopt.report.lists import checklist, fact, forced_fact, listed
from kitopt.report.nices import left_at_home
from kitopt.report.proof import proof_text
from kitopt.report.several.kit import kit_section
from kitopt.report.words import wrapped


def share_text(found: Shared) -> str:
    """A sheet per operator, what changes hands, and how sure it is."""
    lines = wrapped(share_head(found))
    for sheet in found.sheets:
        lines += ["", *_sheet(found, sheet)]
    lines += ["", *handovers_section(found), "", *forced_fact(found.programme.outings[0].operation.bounds)]
    lines += left_at_home(found.programme)
    lines += fact("Proof", share_proof(found))
    cautions = all_cautions(sheet.choice for sheet in found.sheets if sheet.choice is not None)
    lines += ["", *cautions] if cautions else []
    return "\n".join(lines) + "\n"


def share_proof(found: Shared) -> str:
    """How sure it is, of all kits together."""
    if found.proof.objective is None and found.is_fairest:
        return "proved: no other way leaves the one who is worst off with less of a shortfall."
    if found.proof.objective is None and found.proof.proved:
        return "proved that not all can be served; not proved fairest: the time was up."
    return proof_text(found.proof)


def share_head(found: Shared) -> str:
    """Whether all have what they need."""
    n = len(found.sheets)
    n_whole = sum(sheet.share == 1 for sheet in found.sheets)
    n_unknown = sum(sheet.share is None for sheet in found.sheets)
    if n_whole == n:
        return f"{found.programme.name}: all {n} operations have what they need, {words.mass(found.mass_g)} in all."
    if found.status == "time-limit":
        known = "" if n_unknown == n else f" {n_whole} of {n} operations have what they need; others may, too."
        return f"{found.programme.name}: the time was up before it was known what all can have.{known}"
    return f"{found.programme.name}: there is not enough for all; {n_whole} of {n} operations have what they need."


def who(found: Shared, o: int) -> str:
    """Who operates, and what."""
    outing = found.programme.outings[o]
    return f"{outing.operator}, {outing.operation.name}" if outing.operator else outing.operation.name


def _sheet(found: Shared, sheet: Sheet) -> list[str]:
    outing = found.programme.outings[sheet.outing]
    operation = outing.operation
    ends = outing.ends.astimezone(operation.site.timezone)
    lines = wrapped(
        f"{who(found, sheet.outing)}: {words.moment(operation.start)} to {words.moment(ends)}, at {outing.place}"
    )
    if sheet.choice is None or sheet.share is None or sheet.shortfall_wh is None:
        is_unknown = sheet.status == "time-limit"
        why = (
            "What it can have is not known: the time was up"
            if is_unknown
            else "Nothing that is left fits together for it"
        )
        return [*lines, f"  {why}."]
    for text in sheet_notes(sheet):
        lines += wrapped(text, "  ")
    return [*lines, *checklist(found.inventory, sheet.choice.packed, "  "), *kit_section(sheet.choice)]


def sheet_notes(sheet: Sheet) -> list[str]:
    """What one operator is short of, and goes without."""
    notes = []
    if sheet.share is not None and sheet.share < 1 and sheet.shortfall_wh is not None:
        met = f"{math.floor(1000 * sheet.share + 1e-6) / 10:g} %"
        notes.append(f"Short: {met} of its need is met; {math.ceil(sheet.shortfall_wh)} Wh are missing.")
    if sheet.lacks:
        notes.append(f"Goes without {', '.join(sheet.lacks)}: with others, and not to be had in time.")
    return notes


def _pieces(handovers: list[Handover]) -> str:
    return ", ".join(listed((one.id, one.count) for one in handovers))


def _charging_h(found: Shared, one: Handover) -> float | None:
    """From flat, as fast as the battery may be charged; a charger may take longer. None for other things. [h]"""
    item = found.inventory.by_id[one.id]
    return item.measured_ah / item.max_charge_a if isinstance(item, Battery) else None


def _charged(found: Shared, handovers: list[Handover], spare_h: float) -> str:
    """That batteries are charged on their way: the next outing counts them as if they had never been used."""
    hours = [h for one in handovers if (h := _charging_h(found, one)) is not None]
    if not hours:
        return ""
    lacks = "" if spare_h >= max(hours) else f", for which {words.hours(spare_h)} may be too short"
    return f"; batteries to be charged meanwhile, up to {words.hours(max(hours))}{lacks}"


def handovers_section(found: Shared) -> list[str]:
    """What changes hands, from whom to whom, when and where."""
    passed = [one for one in found.handovers if one.giver is not None]
    if not passed:
        return ["Nothing changes hands between operations."]
    ways = Ways(found.programme)
    lines = ["What changes hands"]
    for giver, taker in dict.fromkeys((one.giver, one.taker) for one in passed):
        assert giver is not None
        outing, to = found.programme.outings[giver], found.programme.outings[taker]
        when = words.moment(outing.ends.astimezone(outing.operation.site.timezone))
        by = words.moment(to.operation.start)
        passing = [one for one in passed if (one.giver, one.taker) == (giver, taker)]
        spare_h = (to.begins - outing.ends).total_seconds() / 3600 - ways.way_h(giver, taker)
        pieces = _pieces(passing) + _charged(found, passing, spare_h)
        km = km_between(outing.operation.site, to.operation.site)
        way = f"{words.hours(ways.way_h(giver, taker))} are counted for it" + (f", {km:.0f} km" if km >= 0.5 else "")
        lines += wrapped(
            f"{who(found, giver)} to {who(found, taker)}, after {when} and by {by}, from {outing.place} to "
            f"{to.place} ({way}): {pieces}",
            "- ",
        )
    return lines


def share_document(found: Shared) -> dict[str, Any]:
    """The same as one JSON object."""
    outings = found.programme.outings
    return {
        **encode.plan_head(found.status, found.programme.name, found.proof),
        "mass_g": found.mass_g,
        "is_fairest": found.is_fairest,
        "sheets": [
            {
                "operation": outings[sheet.outing].operation.name,
                "operator": outings[sheet.outing].operator,
                "status": sheet.status,
                "share_met": encode.number(sheet.share),
                "shortfall_wh": encode.number(sheet.shortfall_wh),
                "has_kit": sheet.choice is not None,
                "lacks": list(sheet.lacks),
            }
            for sheet in found.sheets
        ],
        "handovers": [
            {
                "id": one.id,
                "count": one.count,
                "from": None if one.giver is None else outings[one.giver].operation.name,
                "to": outings[one.taker].operation.name,
                "place": None if one.giver is None else outings[one.giver].place,
                "after": None if one.giver is None else encode.time(outings[one.giver].ends),
                "by": encode.time(outings[one.taker].operation.start),
                "charging_h": None if one.giver is None else encode.number(_charging_h(found, one), 2),
            }
            for one in found.handovers
        ],
        "kits": [document(sheet.choice) for sheet in found.sheets if sheet.choice is not None],
    }
