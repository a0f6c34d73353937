"""What a change needs beside itself to be of use: a lead that nobody owns yet, an adapter, a Y."""

from __future__ import annotations

import math

from kitopt.ask import Change
from kitopt.choice import Choice
from kitopt.explain.cannot_join import join_of
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import Battery, Connector, Lead, Panel
from kitopt.model.feeding import CONTINUOUS_FUSE
from kitopt.model.kit import Block
from kitopt.model.wiring import missing
from kitopt.model.wiring.refusals import mate

NO_LEAD = ("no-lead", "fuse-reach", "battery-fuse")
"""Blocks that any stout lead lifts."""
LEAD_RULES = (*NO_LEAD, "ampacity", "fuse-size", "branch-fuse")
"""Blocks that another lead may lift, where the plugs carry what is asked."""

_ADAPTER_G = 40
_Y_G = 60
_G_PER_M = 165
"""A twin lead of 6 mm² with its sheath; common practice, from memory."""
_AREA_MM2 = 6.0
_MOST_A = 40.0

Ends = tuple[Connector, Connector]


def take_along(after: Choice, change: Change) -> tuple[Change, ...]:
    """What else would be needed for a change that was tried alone; nothing where nothing is known to help.

    Parameters
    ----------
    after : Choice
        What came of the change alone.
    """
    if change.family == "radio":
        return _for_blocked(after, str(change.value))
    thing = change.thing
    if change.family != "one more" or not isinstance(thing, Battery | Panel):
        return ()
    blocked = _for_blocked(after, thing.id)
    if blocked:
        return blocked
    if isinstance(thing, Battery):
        return _own_lead(after, thing)
    y = y_for(after, thing)
    return () if y is None else (y,)


def lead_for(choice: Choice, block: Block) -> Change | None:
    """A lead that nobody owns, and that would lift a block."""
    ends = _ends(choice, block)
    lead = None if ends is None else _stout_lead(choice, ends, block)
    return None if lead is None else _lead_change(block.items[0], lead)


def _lead_change(item_id: str, lead: Lead) -> Change:
    return Change("lead", item_id, f"{lead.from_connector} {lead.to_connector}", thing=lead)


def _for_blocked(after: Choice, item_id: str) -> tuple[Change, ...]:
    """A lead for an item that no lead joins; of panels one to a controller is enough."""
    blocks = [block for _, found in after.blocks for block in found]
    closed = {block.items for block in blocks if block.rule not in LEAD_RULES}
    for block in blocks:
        is_open = not any((one,) in closed for one in block.items) and block.items not in closed
        if block.items[0] == item_id and block.rule in LEAD_RULES and is_open:
            change = lead_for(after, block)
            if change is not None:
                return (change,)
    return ()


def _own_lead(after: Choice, battery: Battery) -> tuple[Change, ...]:
    """The lead of one more battery that shares none with the others."""
    operation, station = after.operation, after.operation.station_connector
    is_shared = operation.batteries == "in turn" and (battery.fused or not operation.has_own_leads)
    if station is None or not after.inventory.has_leads_file or is_shared:
        return ()
    if battery.fused and battery.connector.mates_with(station):
        return ()
    lead = _stout_lead(after, (battery.connector, station), Block((battery.id,), "no-lead", ""))
    return () if lead is None else (_lead_change(battery.id, lead),)


def y_for(choice: Choice, panel: Panel) -> Change | None:
    """A Y with which one more panel finds a place: at panels of its own kind, else at a controller's input."""
    if not choice.inventory.has_leads_file:
        return None
    if choice.inventory.by_id[panel.id].count > 1:
        many, single = mate(panel.connector), panel.connector
    else:
        packed = {one.id for one in choice.shortfall.packed} if choice.shortfall else set()
        controllers = [c for c in choice.inventory.controllers if c.count > 0]
        controllers.sort(key=lambda c: c.id not in packed)
        if not controllers:
            return None
        many, single = controllers[0].pv_connector, mate(controllers[0].pv_connector)
    y = Lead(
        id=f"y-for-{panel.id}",
        name="",
        mass_g=_Y_G,
        from_connector=many,
        to_connector=single,
        length_m=0.2,
        area_mm2=_AREA_MM2,
        max_a=_MOST_A,
        ways=2,
    )
    return _lead_change(panel.id, y)


def _ends(choice: Choice, block: Block) -> Ends | None:
    """What a lead would have to join."""
    if block.rule not in LEAD_RULES or not block.items:
        return None
    join = join_of(choice, block.items)
    return None if join is None else join[:2]


def _stout_lead(choice: Choice, ends: Ends, block: Block) -> Lead | None:
    """A lead that joins two ends and carries all that is asked; of panels one that covers what their leads do not."""
    thing = choice.inventory.by_id[block.items[0]]
    distance_m = choice.operation.panel_distance_m if isinstance(thing, Panel) else 0.0
    found = missing(choice.inventory.leads, *ends, min_length_m=distance_m)
    length_m, mass_g = 0.2, _ADAPTER_G
    joined = found.adapter
    if joined is None:
        if distance_m == 0.0:
            return None
        joined, length_m = (mate(ends[0]), mate(ends[1])), distance_m
        mass_g += round(_G_PER_M * distance_m)
    is_fuse_asked = isinstance(thing, Battery) and not thing.fused
    least_a = CONTINUOUS_FUSE * choice.peak_a
    ratings_a = [a for a in HOLDERS["blade"].ratings_a if a >= least_a - 1e-9]
    return Lead(
        id=f"lead-for-{block.items[0]}",
        name="",
        mass_g=mass_g,
        from_connector=joined[0],
        to_connector=joined[1],
        length_m=length_m,
        area_mm2=_AREA_MM2,
        max_a=_MOST_A,
        fuse_a=(ratings_a[0] if ratings_a else math.ceil(least_a)) if is_fuse_asked else None,
        fuse_at_m=0.1 if is_fuse_asked else None,
    )
