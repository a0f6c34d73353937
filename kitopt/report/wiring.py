"""The joins of a kit as a list to follow on the ground: one drawing a join."""

from __future__ import annotations

from typing import Any

from kitopt.choice import Choice
from kitopt.explain.fuses import fuses_to_fit
from kitopt.explain.swaps import Swap, swap_plan
from kitopt.inventory.items import Lead
from kitopt.model.wiring_list import STATION, Wire
from kitopt.report.lists import in_short
from kitopt.report.words import moment, wrapped


def wiring(choice: Choice) -> list[str]:
    """Lines of at most 80 columns; none without a kit. Several circuits each have their own, and nothing joins them."""
    if not choice.wiring:
        return []
    if choice.circuits:
        lines: list[str] = []
        for name, part in choice.circuits:
            loads = ", ".join(use.id for use in part.operation.loads)
            lines += [
                *([""] if lines else []),
                *wrapped(f"Circuit {name or 'main'} ({loads}): {in_short(part.packed)}"),
            ]
            lines += wiring(part)
        return lines
    return _of_one(choice)


def _of_one(choice: Choice) -> list[str]:
    lines = ["Wiring in this order, struck in reverse; a fused end goes to the battery"]
    digits = len(str(len(choice.wiring)))
    for n, wire in enumerate(choice.wiring, start=1):
        head = f"{n:{digits + 1}}. "
        lines += wrapped(f"{drawing(choice, wire)}: {_said(wire)}", head, " " * (len(head) + 2))
    return [*lines, *_fuses(choice), *_swaps(choice)]


def _fuses(choice: Choice) -> list[str]:
    """Fuses to be put into holders, and what has to be bought for them."""
    fits = fuses_to_fit(choice)
    if not fits:
        return []
    totals: dict[tuple[str, str, float, str], int] = {}
    for one in fits:
        there = "is in it" if one.lies_in_it else "owned" if one.is_owned else "to be bought if not there"
        key = (one.lead, one.holder, one.rating_a, there)
        totals[key] = totals.get(key, 0) + one.count
    lines = ["", "Fuses to fit (a holder is left empty until then)"]
    for (lead, holder, rating_a, there), count in totals.items():
        times = f"{count} x " if count > 1 else ""
        lines += wrapped(f"{lead}: {times}{holder} {rating_a:g} A, {there}", "- ", "  ")
    return lines


def _swaps(choice: Choice) -> list[str]:
    """When batteries in turn are swapped, and how."""
    plan = swap_plan(choice)
    if plan is None:
        return []
    lines = ["", *wrapped(f"Swaps, by ampere-hours out and never by volts; first on: {plan.order[0]}")]
    spells = plan.spells
    are_alike = len({spell.swaps for spell in spells}) == 1
    for spell in spells[:1] if are_alike else spells:
        words = "In the median spell" if spell.kind == "median" else f"In the hardest spell survived ({spell.window})"
        words = "In the median and the hardest spell alike" if are_alike else words
        lines += wrapped(f"{words}: {'; '.join(_swap(one) for one in spell.swaps) or 'none'}.", "- ", "  ")
    first = "cover or unplug the panel; then the empty" if plan.has_panels else "the empty"
    last = ", then the panel" if plan.has_panels else ""
    text = f"Drill: {first} battery off, the full one on{last}. These drop out meanwhile: {', '.join(plan.drops)}."
    return lines + wrapped(text, "- ", "  ")


def _swap(one: Swap) -> str:
    why = ", full" if one.is_full else ""
    return f"{moment(one.time)}, {one.out_ah:.1f} Ah out of {one.off}{why}: {one.on} on"


def fuses_value(choice: Choice) -> list[dict[str, Any]]:
    """Fuses to fit, by join."""
    return [
        {
            "from": one.source,
            "to": one.sink,
            "lead": one.lead,
            "holder": one.holder,
            "rating_a": one.rating_a,
            "count": one.count,
            "owned": one.is_owned,
        }
        for one in fuses_to_fit(choice)
    ]


def swaps_value(choice: Choice) -> list[dict[str, Any]]:
    """Swaps of batteries in turn, by spell of weather; empty where nothing is swapped."""
    return [
        {
            "spell": spell.kind,
            "window": spell.window,
            "swaps": [
                {
                    "time": one.time.isoformat(timespec="seconds"),
                    "off": one.off,
                    "out_ah": round(one.out_ah, 2),
                    "on": one.on,
                }
                for one in spell.swaps
            ],
        }
        for part in choice.parts
        if (plan := swap_plan(part)) is not None
        for spell in plan.spells
    ]


def drawing(choice: Choice, wire: Wire) -> str:
    """A join such as "lfp-12 == fused-20 (20 A) ==> station"."""
    pieces = [_piece(choice, lead_id, wire.fit_a) for lead_id in wire.leads]
    if wire.kind == "strip":
        return " + ".join([STATION, *(f"{f'{wire.count} x ' if wire.count > 1 else ''}{one}" for one in pieces)])
    if wire.kind == "joiner":
        return f"{wire.sink} <== {' == '.join(pieces)}"
    source = wire.source
    if wire.joined > 1:
        source = f"{wire.joined} x {source}"
    return f"{' == '.join([source, *pieces])} ==> {wire.sink}"


def _piece(choice: Choice, lead_id: str, fit_a: float | None) -> str:
    lead = choice.inventory.by_id[lead_id]
    assert isinstance(lead, Lead)
    rating_a = fit_a if lead.fuse_holder else lead.fuse_a
    return lead_id if rating_a is None else f"{lead_id} ({rating_a:g} A)"


def _said(wire: Wire) -> str:
    said = [f"{wire.amps:.1f} A"]
    if wire.drop_v is not None:
        said.append(f"{wire.drop_v:.2f} V")
    if wire.kind == "panel" and wire.loss_share is not None and wire.loss_share >= 0.0005:
        said.append(f"{100 * wire.loss_share:.1f} % lost")
    if wire.kind == "battery":
        said.append(_fuse(wire))
    if wire.count > 1 and wire.kind != "strip":
        said.append(f"{wire.count} of them" + (", one after another" if wire.is_shared else ""))
    return ", ".join(said)


def _fuse(wire: Wire) -> str:
    if wire.fuse_a is not None:
        return f"fuse {wire.fuse_a:g} A"
    if wire.is_fused_inside:
        return "fuse in the battery"
    least = "" if wire.least_fuse_a is None else f" of {wire.least_fuse_a:.1f} A or more"
    return f"needs a fuse{least} within 18 cm of its plus"
