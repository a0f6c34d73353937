"""What the owner must mind about leads, fuses and the voltage at the loads."""

from __future__ import annotations

import math
from collections.abc import Iterator

from kitopt.choice import Choice
from kitopt.explain.caution import Caution
from kitopt.inventory.items import Battery, Lead, Load
from kitopt.model.bus import lowest_loaded_v
from kitopt.model.station_side import FUSE_PER_LOAD, FUSE_WITHIN_M, limits_v
from kitopt.model.wiring import Contacts, ampacity_a
from kitopt.model.wiring_list import STATION, Wire


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
        yield Caution("warn", text, "radio-voltage")


def _named(wire: Wire) -> str:
    return ", ".join(wire.leads) if wire.leads else f"the plugs of {wire.source if wire.sink == STATION else wire.sink}"


def leads(choice: Choice) -> Iterator[Caution]:
    """What is not checked, not rated, or not protected by the fuse before it."""
    has_file, station = choice.inventory.has_leads_file, choice.operation.station_connector
    if not has_file:
        text = "There is no leads.csv, so connectors and leads are not checked: join everything at home first."
        yield Caution("warn", text, "leads")
    elif station is None:
        text = "The operation names no station_connector, so nothing but the panels' leads is checked."
        yield Caution("ask", text, "leads")
    yield from _unchecked_fuses(choice)
    yield from _unrated(choice)
    yield from _branches(choice)


def _unchecked_fuses(choice: Choice) -> Iterator[Caution]:
    bare = [w for w in choice.wiring if w.kind == "battery" and w.fuse_a is None and not w.is_fused_inside]
    if bare:
        least_a = max(FUSE_PER_LOAD * wire.amps for wire in bare)
        names = ", ".join(dict.fromkeys(wire.source for wire in bare))
        yield Caution(
            "warn",
            f"{names}: no fuse is written down. Each needs its own within {FUSE_WITHIN_M * 100:.0f} cm of plus, "
            f"{least_a:.1f} A or more and no more than its wire takes.",
            "unchecked-fuse",
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
        yield Caution("warn", text, "unrated-lead")


def _branches(choice: Choice) -> Iterator[Caution]:
    """Leads that a short would heat before the fuse at the battery blows."""
    contacts = Contacts(choice.inventory.contact_ohm, choice.inventory.contact_a)
    fuses_a = [_fuse_a(choice, wire) for wire in choice.wiring if wire.kind == "battery"]
    before_a = max(fuses_a, default=0.0)
    thin: dict[str, float] = {}
    for wire in choice.wiring:
        is_on_bus = wire.kind in ("strip", "controller", "converter", "battery") or wire.source == STATION
        if not is_on_bus or wire.fuse_a is not None:
            continue
        own_a = _fuse_a(choice, wire) if wire.kind == "battery" else before_a
        for lead_id in wire.leads:
            lead = choice.inventory.by_id[lead_id]
            assert isinstance(lead, Lead)
            families = (lead.from_connector.family, lead.to_connector.family)
            carries_a = min(ampacity_a(lead), *(contacts.rated_a(family) for family in families))
            if carries_a < own_a - 1e-9:
                thin[lead_id] = carries_a
    if thin:
        named = ", ".join(f"{lead_id} {amps:g} A" for lead_id, amps in thin.items())
        yield Caution(
            "warn",
            f"A short would overheat these leads before a battery's fuse ({before_a:g} A or more) blows: {named}. "
            "Put a fuse of no more than that where each begins.",
            "branch-fuse",
        )


def _fuse_a(choice: Choice, wire: Wire) -> float:
    """Fuse before the station, at least: a battery's own lets through what the battery may give. [A]"""
    battery = choice.inventory.by_id[wire.source]
    assert isinstance(battery, Battery)
    if wire.fuse_a is not None:
        return wire.fuse_a
    return battery.max_discharge_a if wire.is_fused_inside else math.inf
