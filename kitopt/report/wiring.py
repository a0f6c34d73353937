"""The joins of a kit as a list to follow on the ground: a line a join, with the fuse to fit."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kitopt.choice import Choice
from kitopt.explain.fuses import Fit, fuses_to_fit
from kitopt.explain.swaps import Swap, swap_plan
from kitopt.inventory.items import Lead
from kitopt.model.kit import STATION
from kitopt.model.wiring_list import BOX, STRIPS, Wire, meeting_place
from kitopt.operation.terms import circuit_name
from kitopt.report import encode
from kitopt.report.lists import in_short
from kitopt.report.words import moment, spell, wrapped


def wiring(choice: Choice) -> list[str]:
    """Lines as wide as the page; none without a kit. Several circuits each have their own, and nothing joins them."""
    if not choice.circuits:
        return _of_one(choice) if choice.wiring else []
    lines: list[str] = []
    for name, part in choice.circuits:
        loads = ", ".join(use.id for use in part.operation.loads)
        lines += [""] if lines else []
        lines += wrapped(f"Circuit {circuit_name(name)} ({loads}): {in_short(part.packed)}")
        lines += wiring(part)
    return lines


def _of_one(choice: Choice) -> list[str]:
    place = meeting_place(choice.wiring)
    meet = f"; all meet at {place}" if place != BOX else ""
    lines = wrapped(f"Wiring in this order, struck in reverse{meet}", "", "  ")
    fits = fuses_to_fit(choice)
    told = [w for w in choice.wiring if w.kind != "strip" or w.count > 1 or place == STRIPS or w.source != STATION]
    groups = _together(told)
    digits = len(str(sum(len(wires) for wires in groups)))
    for n, wires in enumerate(groups, start=1):
        indent = f"{n:{digits + 1}}. "
        lines += wrapped(f"{ends(choice, wires)}: {_said(choice, wires, fits)}", indent, " " * (len(indent) + 1))
    return [*lines, *wrapped(fuses_text(fits)), *wrapped(swaps_text(choice), "", "  ")]


def _together(wires: Sequence[Wire]) -> list[list[Wire]]:
    """Joins in order, but all loads that plug in just as they are together."""
    groups: list[list[Wire]] = []
    plugged: list[Wire] = []
    for wire in wires:
        if not _plugs_in(wire):
            groups.append([wire])
            continue
        if not plugged:
            groups.append(plugged)
        plugged.append(wire)
    return groups


def _plugs_in(wire: Wire) -> bool:
    return wire.kind == "load" and wire.source == STATION and not wire.leads and wire.count == 1


def fuses_text(fits: Sequence[Fit]) -> str:
    """Blades to have at hand, and which of them are not there yet; empty for none."""
    totals: dict[tuple[str, float, bool], int] = {}
    for one in fits:
        if not one.lies_in_it:
            key = (one.holder, one.rating_a, one.is_owned)
            totals[key] = totals.get(key, 0) + one.count
    said = [
        f"{n} x {holder} {rating_a:g} A{'' if owned else ', to be bought if not there'}"
        for (holder, rating_a, owned), n in totals.items()
    ]
    return f"Fuses to have: {'; '.join(said)}." if said else ""


Swaps = tuple[str, list[tuple[str, tuple[Swap, ...]]]]
"""How batteries are swapped, and of each spell that is told its name and its swaps."""


def swaps_text(choice: Choice) -> str:
    """When batteries in turn are swapped, and how; empty where nothing is."""
    drill, spells = swaps_told(choice)
    each = (f" {which}: {'; '.join(_swap(swap) for swap in swaps) or 'none'}." for which, swaps in spells)
    return drill + "".join(each)


def swaps_told(choice: Choice) -> Swaps:
    """When batteries in turn are swapped, spell by spell; without words where nothing is."""
    plan = swap_plan(choice)
    if plan is None:
        return "", []
    spells = [one for one in plan.spells if one.swaps]
    are_alike = len({one.swaps for one in plan.spells}) == 1
    uses = [use.id for use in choice.operation.loads]
    off = "all loads" if list(plan.drops) == uses and len(uses) > 1 else " and ".join(plan.drops) or "nothing"
    does = "empty battery off, full one on"
    if plan.banks:
        does = f"bank off the air{' to the controllers' if plan.has_panels else ''}, the other on"
    drill = ("panel covered, " if plan.has_panels else "") + does
    drill += f"; {off} drop{'s' * (len(plan.drops) < 2)} out"
    first = plan.order[0]
    if plan.banks:
        named = (f"{name} ({' + '.join(some)})" for name, some in zip(plan.order, plan.banks, strict=True))
        first = f"{' and '.join(named)}, {first}"
    if not spells:
        said = "stays on in the median and the hardest spell survived"
        return f"Swaps ({drill}): {first} goes on first, and {said}.", []
    drill = f"Swaps ({drill}): {first} first."
    if are_alike:
        return drill, [("Median and hardest spell alike", spells[0].swaps)]
    names = {"median": "Median spell", "hardest": "Hardest ({})"}
    return drill, [(names[one.kind].format(spell(one.window)), one.swaps) for one in plan.spells]


def _swap(swap: Swap) -> str:
    why = ", full" if swap.is_full else ""
    return f"{moment(swap.time)} {swap.on} on, {swap.off} {swap.out_ah:.1f} Ah out{why}"


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
            # only where banks change places, and are what "off" and "on" name
            **(
                {"banks": {n: list(some) for n, some in zip(plan.order, plan.banks, strict=True)}} if plan.banks else {}
            ),
            "swaps": [
                {
                    "time": encode.time(one.time),
                    "off": one.off,
                    "out_ah": encode.number(one.out_ah, 2),
                    "on": one.on,
                }
                for one in spell.swaps
            ],
        }
        for part in choice.parts
        if (plan := swap_plan(part)) is not None
        for spell in plan.spells
    ]


def ends(choice: Choice, wires: Sequence[Wire]) -> str:
    """A join in words, such as "lfp-12 by fused-20 to strip-4"."""
    wire, place = wires[0], meeting_place(choice.wiring)
    if wire.kind == "strip":
        times = f"{wire.count} x " if wire.count > 1 else ""
        meet = "where all meet" if place in wire.leads else "where they meet"
        meet = meet if wire.source == STATION else f"where controllers and {wire.source} meet"
        return f"{times}{', '.join(wire.leads)}, {meet}"
    source = place if wire.source == STATION else wire.source
    sink = place if wire.sink == STATION else wire.sink
    if wire.kind == "load":
        sink = ", ".join(one.sink for one in wires)
    if wire.kind == "joiner":
        return f"{', '.join(wire.leads)} to {sink}, for the panels"
    if wire.joined > 1:
        source = f"{wire.joined} x {source} side by side"
    if wire.kind == "socket" and wire.amps:
        source = f"the socket of {source}"
    by = f" by {', '.join(wire.leads)}" if wire.leads else ""
    if wire.count > 1:
        source = f"each of {wire.count} {source}" if wire.source != STATION else source
        sink = f"each of {wire.count} {sink}" if wire.source == STATION else sink
        by += " in turn" if wire.is_shared else ""
    return f"{source}{by} to {sink}"


def _said(choice: Choice, wires: Sequence[Wire], fits: Sequence[Fit]) -> str:
    wire = wires[0]
    if wire.kind == "socket" and not wire.amps:
        return "enough to the end"
    fuse = _fuse(choice, wire, fits)
    said = [f"{', '.join(f'{one.amps:.1f}' for one in wires)} A"]
    if wire.drop_v is not None and wire.drop_v >= 0.005 and len(wires) == 1:
        share = wire.loss_share if wire.kind == "panel" else None
        said.append(f"{wire.drop_v:.2f} V{f' and {100 * share:.1f} %' if share and share >= 0.0005 else ''} lost")
    return f"{fuse}; {', '.join(said)}" if fuse else ", ".join(said)


def _fuse(choice: Choice, wire: Wire, fits: Sequence[Fit]) -> str:
    """The fuse to fit into a join, or that is in it; of a battery what it lacks."""
    said = []
    for lead_id in dict.fromkeys(wire.leads):
        lead = choice.inventory.by_id[lead_id]
        if isinstance(lead, Lead) and lead.fuse_holder and wire.fit_a is not None:
            lies_in_it = any(one.lies_in_it for one in fits if (one.lead, one.rating_a) == (lead_id, wire.fit_a))
            said.append(f"{lead.fuse_holder} {wire.fit_a:g} A {'is in it' if lies_in_it else 'to fit'}")
        elif isinstance(lead, Lead) and lead.fuse_a is not None:
            said.append(f"fuse {lead.fuse_a:g} A is in it")
    if said or wire.kind != "battery":
        return ", ".join(said)
    if wire.fuse_a is not None:
        return f"fuse {wire.fuse_a:g} A is in it"
    if wire.is_fused_inside:
        return "fuse in the battery"
    least = "" if wire.least_fuse_a is None else f" of {wire.least_fuse_a:.1f} A or more"
    return f"needs a fuse{least} within 18 cm of its plus"
