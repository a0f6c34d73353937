"""The joins of a kit in plugging order: what is held in the hand, its plug, its length, its fuse."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from typing import Literal

from kitopt.choice import Choice
from kitopt.explain.fuses import fuses_to_fit
from kitopt.inventory.items import Battery, Connector, Item, Lead, Panel
from kitopt.model.kit import STATION
from kitopt.model.own_battery import USB_SOCKET
from kitopt.model.rules import cold_voc_v
from kitopt.model.wiring_list import BOX, STRIPS, Wire, item_at, meeting_place

FuseIs = Literal["to fit", "in it", "inside", "wanted", ""]


@dataclass(frozen=True)
class JoinToMake:
    """One join, or some alike that are made one after another.

    Attributes
    ----------
    wire : Wire
        What flows, and by which leads.
    place : str
        Where all of them meet.
    plugs : tuple of str
        Connectors that are mated, from the source on.
    length_m : float or None
        Of all its leads; None where nothing is known of them. [m]
    fuse_is : str
        Whether a fuse is to be fitted, is in it, is inside the battery, or is wanted and missing; empty for none.
    holder : str
        What sort of fuse is to be fitted.
    fuse_a : float or None
        Its rating, or of one that is wanted the least. [A]
    panel_volts : float or None
        On the side of the panels up to so much, in the cold; None on the battery's side. [V]
    """

    wire: Wire
    place: str
    plugs: tuple[str, ...]
    length_m: float | None
    fuse_is: FuseIs
    holder: str
    fuse_a: float | None
    panel_volts: float | None


def border_of(joins: Sequence[JoinToMake]) -> tuple[JoinToMake | None, float]:
    """The first join on the side of the panels, if there is any, and the highest volts from there on. [V]"""
    beyond = [join for join in joins if join.panel_volts is not None]
    return next(iter(beyond), None), max((join.panel_volts or 0.0 for join in beyond), default=0.0)


def joins_to_make(choice: Choice) -> tuple[JoinToMake, ...]:
    """Of one circuit, in order; struck in reverse. A single strip is no join."""
    place = meeting_place(choice.wiring)
    wires = [wire for wire in choice.wiring if wire.kind != "strip" or wire.count > 1 or place in (BOX, STRIPS)]
    return tuple(_join(choice, wire, place) for wire in wires)


def _join(choice: Choice, wire: Wire, place: str) -> JoinToMake:
    owned = choice.inventory.by_id
    leads = [lead for i in wire.leads if isinstance(lead := owned.get(i), Lead)]
    fuse_is, holder, fuse_a = _fuse(choice, wire, leads)
    is_known = choice.inventory.has_leads_file
    return JoinToMake(
        wire,
        place,
        _plugs(choice, wire, leads) if is_known else (),
        sum(lead.length_m for lead in leads) if is_known else None,
        fuse_is,
        holder,
        fuse_a,
        _panel_volts(choice, wire),
    )


def _item(choice: Choice, name: str) -> Item | None:
    return choice.inventory.by_id.get(item_at(name))


def _plugs(choice: Choice, wire: Wire, leads: list[Lead]) -> tuple[str, ...]:
    """What is mated on the way: where the source ends, and where each lead but the first begins, then the sink."""
    ends: list[Connector | None] = []
    source, sink = _item(choice, wire.source), _item(choice, wire.sink)
    if wire.kind == "controller":
        ends.append(getattr(source, "battery_connector", None))
    elif wire.kind == "socket":
        ends.append(USB_SOCKET if leads else None)
    elif wire.source == STATION:
        ends.append(choice.operation.station_connector)
    else:
        ends.append(getattr(source, "connector", None))
    ends += [lead.to_connector for lead in leads]
    if wire.kind == "panel" and not leads:
        ends.append(getattr(sink, "pv_connector", None))
    return tuple(dict.fromkeys(str(one) for one in ends if one is not None))


def _fuse(choice: Choice, wire: Wire, leads: list[Lead]) -> tuple[FuseIs, str, float | None]:
    for lead in leads:
        if lead.fuse_holder and wire.fit_a is not None:
            fits = [one for one in fuses_to_fit(choice) if (one.lead, one.rating_a) == (lead.id, wire.fit_a)]
            return "in it" if any(one.lies_in_it for one in fits) else "to fit", lead.fuse_holder, wire.fit_a
        if lead.fuse_a is not None:
            return "in it", "", lead.fuse_a
    battery = _item(choice, wire.source)
    if wire.kind != "battery" or not isinstance(battery, Battery):
        return "", "", None
    if wire.fuse_a is not None:
        return "in it", "", wire.fuse_a
    return ("inside", "", None) if wire.is_fused_inside else ("wanted", "", wire.least_fuse_a)


def _panel_volts(choice: Choice, wire: Wire) -> float | None:
    if wire.kind not in ("panel", "joiner"):
        return None
    panels = [wire.source] if wire.kind == "panel" else [join.panel.id for join, _, _ in choice.joins]
    items = [one for i in panels if isinstance(one := choice.inventory.by_id.get(i), Panel)]
    return max((cold_voc_v(one, choice.sky.coldest_degc) for one in items), default=None)
