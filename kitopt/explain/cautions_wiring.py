"""What the owner must mind about leads, fuses and the voltage at the loads."""

from __future__ import annotations

from collections.abc import Iterator

from kitopt.choice import Choice
from kitopt.explain.caution import Caution
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import Battery, Lead, Load
from kitopt.model.bus import lowest_loaded_v
from kitopt.model.feeding import limits_v
from kitopt.model.kit import STATION, Join, Unit
from kitopt.model.panel_side import meets_station
from kitopt.model.wiring import FUSE_WITHIN_M, ampacity_a
from kitopt.model.wiring_list import Wire

SHORT_CIRCUIT_PER_AH = 25.0
"""Amperes that a battery may give into a short, for each ampere-hour; common practice, no source. [A/Ah]"""


def voltages(choice: Choice) -> Iterator[Caution]:
    """Loads whose voltage falls too low at key-down while the battery is low: averages hide it."""
    batteries = [wire for wire in choice.wiring if wire.kind == "battery"]
    if choice.bus is None or not batteries:
        return
    # the worst battery in use, and every strip on the way
    worst = max(batteries, key=lambda wire: wire.ohm or 0.0)
    trunk = [worst, *(w for w in choice.wiring if w.kind == "strip" for _ in range(w.count))]
    low_v = lowest_loaded_v(choice.bus)
    trunk_v = sum(choice.peak_a * (wire.ohm or 0.0) for wire in trunk)
    for wire in choice.wiring:
        load = choice.inventory.by_id.get(wire.sink)
        if wire.kind != "load" or wire.source != STATION or not isinstance(load, Load):
            continue
        own_v = wire.amps * (wire.ohm or 0.0)
        needed_v = limits_v(load)[0]
        at_load_v = low_v - trunk_v - own_v
        if at_load_v >= needed_v - 1e-9:
            continue
        by_drop = sorted(
            [*((choice.peak_a * (w.ohm or 0.0), w) for w in trunk), (own_v, wire)], key=lambda one: -one[0]
        )
        lost = [f"{volts:.2f} V over {_named(w)}" for volts, w in by_drop if volts >= 0.005]
        text = (
            f"At full power, with the battery nearly empty, {load.id} gets {at_load_v:.2f} V and needs "
            f"{needed_v:.2f} V: {low_v:.2f} V at {worst.source}"
        )
        text += f", less {' and '.join(lost)}. " if lost else ". "
        text += "A shorter or thicker lead helps, or less power, or a swap in time." if lost else "Swap in time."
        line = f"{load.id} may drop out at full power near the end: {at_load_v:.2f} V, needs {needed_v:.2f} V"
        yield Caution("warn", text, "radio-voltage", line)


def _named(wire: Wire) -> str:
    return ", ".join(wire.leads) if wire.leads else f"the plugs of {wire.source if wire.sink == STATION else wire.sink}"


def leads(choice: Choice) -> Iterator[Caution]:
    """What is not checked, not rated, or not protected by the fuse before it."""
    has_file, station = choice.inventory.has_leads_file, choice.operation.station_connector
    if not has_file:
        text = "There is no leads.csv, so connectors and leads are not checked: join everything at home first."
        yield Caution("warn", text, "leads", "leads are not checked: join everything at home first")
    elif station is None:
        text = "The operation names no station_connector, so nothing but the panels' leads is checked."
        yield Caution("ask", text, "leads", "which station_connector? without it hardly a lead is checked")
    yield from _unchecked_fuses(choice)
    yield from panel_ends(choice)
    yield from breaking(choice)
    yield from _unrated(choice)
    yield from _branches(choice)


def _unchecked_fuses(choice: Choice) -> Iterator[Caution]:
    bare = [w for w in choice.wiring if w.kind == "battery" and w.fuse_a is None and not w.is_fused_inside]
    if bare:
        least_a = max(wire.least_fuse_a or 0.0 for wire in bare)
        names = ", ".join(dict.fromkeys(wire.source for wire in bare))
        yield Caution(
            "warn",
            f"{names}: no fuse is written down. Each needs its own within {FUSE_WITHIN_M * 100:.0f} cm of plus, "
            f"{least_a:.1f} A or more and no more than its wire takes.",
            "unchecked-fuse",
            f"{names}: put a fuse of {least_a:.1f} A or more within {FUSE_WITHIN_M * 100:.0f} cm of plus",
        )


def _used(choice: Choice) -> Iterator[Lead]:
    for one in choice.packed:
        item = choice.inventory.by_id[one.id]
        if isinstance(item, Lead):
            yield item


def _unrated(choice: Choice) -> Iterator[Caution]:
    unrated = [lead for lead in _used(choice) if lead.max_a is None]
    if unrated:
        named = ", ".join(f"{lead.id} {ampacity_a(lead):g} A" for lead in unrated)
        text = f"No rating is written down, so by its wire alone this is taken to carry: {named}. Look at its ends."
        line = f"look at the ends of {', '.join(lead.id for lead in unrated)}: no rating is written down"
        yield Caution("warn", text, "unrated-lead", line)


def _branches(choice: Choice) -> Iterator[Caution]:
    """Leads that an overload would heat where the fuse in the battery is not written down."""
    unknown = [w.source for w in choice.wiring if w.kind == "battery" and w.is_fused_inside and w.fuse_a is None]
    on_bus = [w for w in choice.wiring if w.kind in ("strip", "controller", "converter") or w.source == STATION]
    used = {i for w in on_bus if w.fuse_a is None for i in w.leads}
    used |= {i for w in choice.wiring if w.kind == "battery" and w.source in unknown for i in w.leads}
    amps = {i: ampacity_a(lead) for i in sorted(used) if isinstance(lead := choice.inventory.by_id[i], Lead)}
    if not unknown or not amps:
        return
    thinnest = min(amps, key=lambda i: amps[i])
    names = " and ".join(dict.fromkeys(unknown))
    yield Caution(
        "ask",
        f"The fuse in {names} is not written down. Above {amps[thinnest]:g} A an overload would overheat "
        f"{thinnest} before it blows: look, and write fuse_a in batteries.csv.",
        "branch-fuse",
        f"which fuse is in {names}? above {amps[thinnest]:g} A {thinnest} may overheat",
    )


def breaking(choice: Choice) -> Iterator[Caution]:
    """Fuses that a battery's short circuit may be too much for."""
    for wire in choice.wiring:
        battery = choice.inventory.by_id.get(wire.source)
        if wire.kind != "battery" or not isinstance(battery, Battery):
            continue
        short_a = SHORT_CIRCUIT_PER_AH * battery.capacity_ah
        leads = [lead for i in wire.leads if isinstance(lead := choice.inventory.by_id[i], Lead) and lead.has_fuse]
        weak = [lead for lead in leads if HOLDERS[lead.fuse_holder or "blade"].breaks_a < short_a]
        if weak:
            yield Caution(
                "ask",
                f"{battery.id} may give some {short_a:,.0f} A into a short. Look up what the fuse in {weak[0].id} can "
                f"break; {HOLDERS[weak[0].fuse_holder or 'blade'].breaks_a:,.0f} A is usual for its sort.",
                "breaking",
                f"can the fuse in {weak[0].id} break {short_a:,.0f} A, a short of {battery.id}?",
            )


def panel_ends(choice: Choice) -> Iterator[Caution]:
    """Ends with panel volts on them that would fit into the station."""
    if not any(_fits(choice, join, unit) for join, unit, _ in choice.joins):
        return
    station = choice.operation.station_connector
    assert station is not None
    things = [join.panel.id for join, _, _ in choice.joins if join.panel.connector.family == station.family]
    leads = [
        piece.lead.id
        for join, _, _ in choice.joins
        for piece in (join.chain.pieces if join.chain else ())
        if station.family in (piece.near.family, piece.far.family)
    ]
    inputs = [unit.name for join, unit, _ in choice.joins if unit.controller.pv_connector.family == station.family]
    named = [*dict.fromkeys(things), *dict.fromkeys(leads), *(f"the panel input of {u}" for u in dict.fromkeys(inputs))]
    yield Caution(
        "warn",
        f"Panels and strip both use {station.family}: mark these with tape, and never plug one into strip or battery "
        f"box: {', '.join(named)}.",
        "panel-ends",
        f"mark what carries panel volts with tape, it would fit into the strip: {', '.join(named)}",
    )


def _fits(choice: Choice, join: Join, unit: Unit) -> bool:
    return bool(meets_station(choice.operation, join, unit.controller.pv_connector))
