"""What would join two things that nothing joins: ends within reach, and a single adapter that would do."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

from kitopt.choice import Choice
from kitopt.engine.halving import last_that_holds
from kitopt.inventory.items import Battery, Connector, Controller, Converter, Load, Panel
from kitopt.model.feeding import CONTINUOUS_FUSE
from kitopt.model.kit import Block
from kitopt.model.station_side import charger_demand, is_fused_near, load_demand
from kitopt.model.wiring import Chain, Contacts, Demand, LeadStock, chains, missing, why_no_chain
from kitopt.model.wiring.of_panels import panel_demand

MOST_ENDS = 6


def remedy(choice: Choice, block: Block) -> str:
    """Sentences to follow a block for want of leads; nothing for other blocks.

    Computed only when it is to be read: it tries every adapter.
    """
    if block.rule != "no-lead":
        return ""
    join = join_of(choice, block.items)
    if join is None:
        return ""
    source, sink, demand, battery = join
    contacts = Contacts(choice.inventory.contact_ohm, choice.inventory.contact_a)
    leads = choice.inventory.leads

    def suits(chain: Chain) -> bool:
        return demand.is_met(chain, contacts, choice.inventory.fuses)

    def is_fused_too(chain: Chain) -> bool:
        return suits(chain) and (battery is None or is_fused_near(battery, chain))

    found = missing(leads, source, sink, min_length_m=demand.min_length_m, suits=is_fused_too)
    what = "An adapter"
    if found.adapter is None and battery is not None:
        found = missing(leads, source, sink, min_length_m=demand.min_length_m, suits=suits)
        what = "A lead fused close to the battery,"
    said = f"From {source} your leads reach: {_ends(found.from_source)}. Into {sink}: {_ends(found.from_sink)}."
    others = other_controllers(choice, block)
    if found.adapter is None:
        said += " No single adapter would do"
        return f"{said}; use {others}." if others else f"{said}."
    said += f" {what} from {found.adapter[0]} to {found.adapter[1]} would do"
    return f"{said}, or use {others}." if others else f"{said}."


def reach_m(choice: Choice, block: Block) -> float:
    """How far leads of the owner's go between the two ends of a block, whatever they carry; 0 where none joins. [m]"""
    join = join_of(choice, block.items)
    if join is None:
        return 0.0
    source, sink, demand, _ = join

    def reaches(decimetres: int) -> bool:
        return bool(chains(choice.inventory.leads, source, sink, min_length_m=decimetres / 10, suits=demand.may_lie))

    return last_that_holds(reaches, 0, math.ceil(10 * demand.min_length_m) + 1) / 10 if reaches(0) else 0.0


def adapter_for(choice: Choice, block: Block) -> tuple[str, str] | None:
    """Ends of a single adapter that would join the two of a block; None where none would."""
    join = join_of(choice, block.items)
    if join is None:
        return None
    source, sink, demand, _ = join
    contacts = Contacts(choice.inventory.contact_ohm, choice.inventory.contact_a)
    found = missing(
        choice.inventory.leads,
        source,
        sink,
        min_length_m=demand.min_length_m,
        suits=lambda chain: demand.is_met(chain, contacts, choice.inventory.fuses),
    )
    return None if found.adapter is None else (str(found.adapter[0]), str(found.adapter[1]))


def _ends(found: Sequence[Connector]) -> str:
    """Ends beyond the first, which is the thing's own."""
    names = [str(end) for end in found[1:]]
    more = f" and {len(names) - MOST_ENDS} more" if len(names) > MOST_ENDS else ""
    return (", ".join(names[:MOST_ENDS]) or "nothing else") + more


def join_of(choice: Choice, ids: Sequence[str]) -> tuple[Connector, Connector, Demand, Battery | None] | None:
    """Both ends of the join that a block speaks of, what it must do, and the battery that it must fuse."""
    station, bus = choice.operation.station_connector, choice.bus
    nominal_v = bus.nominal_v if bus else 12.8
    things = [choice.inventory.by_id[i] for i in ids]
    thing = things[0] if things else None
    other = things[1] if len(things) == 2 else None
    if isinstance(thing, Panel) and isinstance(other, Controller):
        return thing.connector, other.pv_connector, panel_demand(choice.operation.panel_distance_m, thing), None
    uses = {use.id: use for use in choice.operation.loads}
    if isinstance(thing, Load) and isinstance(other, Converter) and station is not None:
        before = load_demand(uses[thing.id], thing, nominal_v, efficiency=other.efficiency)
        # as if every fuse could be had
        stock = replace(LeadStock.of(choice.inventory), fuses=None)
        if why_no_chain(stock, station, other.from_connector, before) is not None:
            return station, other.from_connector, before, None
        after = load_demand(uses[thing.id], thing, other.out_v, is_on_bus=False)
        return other.to_connector, thing.connector, after, None
    if other is not None or station is None:
        return None
    if isinstance(thing, Battery):
        battery = None if thing.fused else thing
        return thing.connector, station, Demand(choice.peak_a, CONTINUOUS_FUSE * choice.peak_a, is_on_bus=True), battery
    if isinstance(thing, Controller):
        return thing.battery_connector, station, charger_demand(thing.max_charge_a, bus), None
    if isinstance(thing, Load):
        return station, thing.connector, load_demand(uses[thing.id], thing, nominal_v), None
    return None


def other_controllers(choice: Choice, block: Block) -> str:
    """Controllers that the block's panel may be joined to, in words."""
    panel = block.items[0]
    if not isinstance(choice.inventory.by_id[panel], Panel):
        return ""
    blocked = {items for _, blocks in choice.blocks for items in (b.items for b in blocks)}
    others = [
        c.id
        for c in choice.inventory.controllers
        if c.count > 0 and (panel, c.id) not in blocked and (c.id,) not in blocked
    ]
    return " or ".join(others)
