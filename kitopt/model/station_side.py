"""Joins on the station's bus: batteries through a fuse, controllers, loads, converters and strips."""

from __future__ import annotations

import math
from dataclasses import replace

from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery, Connector, Converter, Inventory, Load
from kitopt.model.bus import BusClass, charging_v, full_v
from kitopt.model.kit import Column, Fed, KitModel, Link, Strip
from kitopt.model.need import draws, idle_and_full_w, peak_a
from kitopt.model.wiring import Chain, Demand, ampacity_a, chains, why_no_chain
from kitopt.operation.terms import LoadUse, Operation

FUSE_WITHIN_M = 0.18
"""A fuse sits within 18 cm of battery plus; common practice, after ABYC E-11."""
FUSE_PER_LOAD = 1.25
"""NEC: a fuse carries at least 125 % of the continuous current."""
_NOT_TOLD = ("no-lead", "no leads of yours join them")
MOST_DROP_SHARE = 0.03
"""A controller's lead to the station drops at most this share of the charging voltage at its full current: the judge
need not count what is bounded so (ABYC E-11 asks for 3 % where it matters)."""
SUPPLY_SHARE = 0.15
"""A load takes its supply voltage ± 15 % unless its own limits are given; common transceiver specification."""


SYSTEM_FULL_V = {12.0: 14.6, 24.0: 29.2}
"""A supply of 12 or 24 V names a lead-acid system, which is charged at this; common practice, no source. [V]"""


def limits_v(load: Load) -> tuple[float, float]:
    """Lowest and highest voltage that a load takes: its own limits, else ± 15 % of its supply. [V]

    Nothing is known of a load without any of them: it is taken to run from any bus.
    """
    lowest_v, highest_v = 0.0, math.inf
    if load.supply_v is not None:
        lowest_v = (1 - SUPPLY_SHARE) * load.supply_v
        highest_v = SYSTEM_FULL_V.get(load.supply_v, (1 + SUPPLY_SHARE) * load.supply_v)
    return (
        lowest_v if load.lowest_v is None else load.lowest_v,
        highest_v if load.highest_v is None else load.highest_v,
    )


def needs_converter(load: Load, chemistry_full_v: float, nominal_v: float) -> bool:
    """Whether a load cannot be fed from the bus directly, nominal or full."""
    lowest_v, highest_v = limits_v(load)
    return nominal_v < lowest_v - 1e-9 or chemistry_full_v > highest_v + 1e-9


def station_peak_a(operation: Operation, inventory: Inventory, bus: BusClass) -> float:
    """Highest current of all loads together at the battery. [A]

    What goes through a converter counts with the least efficient one that fits, against the owner.
    """
    parts = []
    for part in draws(operation, inventory, bus.nominal_v):
        if needs_converter(part.load, full_v(bus), bus.nominal_v):
            shares = [
                c.efficiency for c in inventory.converters if c.count > 0 and fits_load(c, part.load, bus.nominal_v)
            ]
            part = replace(part, peak_a=part.peak_a / min(shares, default=1.0))
        parts.append(part)
    return peak_a(parts)


def lay_station(model: KitModel, most_a: float) -> None:
    """Add every join on the station's bus, and the strips that more than two things need.

    Parameters
    ----------
    most_a : float
        Highest current of the loads at the battery. [A]
    """
    bus = model.operation.station_connector
    if not model.inventory.has_leads_file:
        bus = None
    _batteries(model, bus, most_a)
    _controllers(model, bus)
    n_loads = 0
    for use in model.operation.loads:
        load = model.inventory.by_id[use.id]
        assert isinstance(load, Load)
        n_loads += use.count
        if needs_converter(load, full_v(model.bus), model.bus.nominal_v):
            _through_converter(model, bus, use, load)
        elif bus is not None:
            _load(model, bus, use, load)
    if bus is not None:
        _strips(model, bus, n_loads, most_a)


def load_demand(amps: float) -> Demand:
    """What the leads of a load, or of anything else on the station's bus, must do."""
    return Demand(amps, FUSE_PER_LOAD)


def is_fused_near(battery: Battery, chain: Chain) -> bool:
    """Whether a battery has a fuse of its own, or its first lead has one within reach of battery plus."""
    first = chain.pieces[0].fuse_at_m if chain.pieces else None
    return battery.fused or (first is not None and first <= FUSE_WITHIN_M + 1e-9)


def _batteries(model: KitModel, bus: Connector | None, most_a: float) -> None:
    if bus is None:
        return
    is_parallel = model.operation.batteries == "parallel"
    pieces: dict[str, list[tuple[int, float, int]]] = {}
    for j in model.battery_columns:
        battery = model.battery(j)
        found = chains(
            model.inventory.leads,
            battery.connector,
            bus,
            suits=lambda chain, b=battery: (  # type: ignore[misc]
                is_fused_near(b, chain) and load_demand(most_a).is_met(chain, model.contacts)
            ),
        )
        if not found:
            model.forbid(j)
            model.block((battery.id,), *_why_no_battery_chain(model, battery, bus, most_a))
            continue
        if found == (Chain(battery.connector, bus, ()),):
            continue
        links = []
        for chain in found:
            link = Link(battery.id, "station", chain, most_a)
            if is_parallel:
                most = min(model.inventory.by_id[i].count // n for i, n in chain.uses.items())
                links.append(model.add(Column(link, min(most, battery.count), chain.uses)))
            else:
                # one battery at a time: the leads go from one to the next
                w = model.add(Column(link, 1))
                links.append(w)
                for lead_id, n in chain.uses.items():
                    pieces.setdefault(lead_id, []).append((w, float(n), j))
        text = f"{battery.id} needs a fused lead to the station"
        per_link = -1.0 if is_parallel else -float(battery.count)
        terms = ((j, 1.0), *((w, per_link) for w in links))
        model.rows.append(Row(terms, upper=0.0, rule="battery-lead", text=text))
        if not is_parallel:
            model.rows.append(Row(tuple((w, 1.0) for w in links), upper=1.0, rule="battery-lead", text=text))
    for lead_id, users in sorted(pieces.items()):
        lead = model.inventory.by_id[lead_id]
        carried = model.add(Column(f"{lead_id} for the battery in use", lead.count, {lead_id: 1}))
        for j in sorted({j for _, _, j in users}):
            terms = ((carried, -1.0), *((w, n) for w, n, owner in users if owner == j))
            model.rows.append(Row(terms, upper=0.0, rule="battery-lead", text=f"{lead_id} serves the battery in use"))


def _why_no_battery_chain(model: KitModel, battery: Battery, bus: Connector, most_a: float) -> tuple[str, str]:
    leads, demand = model.inventory.leads, load_demand(most_a)
    if battery.fused or not chains(leads, battery.connector, bus):
        rule, why = why_no_chain(leads, battery.connector, bus, demand, model.contacts) or _NOT_TOLD
        return rule, f"Battery {battery.id} ({battery.connector}) cannot reach the station ({bus}): {why}"
    within = f"within {FUSE_WITHIN_M * 100:.0f} cm of its plus"
    if not chains(leads, battery.connector, bus, suits=lambda chain: is_fused_near(battery, chain)):
        return "battery-fuse", (
            f"Battery {battery.id} has no fuse and no lead of yours fuses it {within}; "
            f"it needs one of {FUSE_PER_LOAD * most_a:.1f} A or more, no more than the wire takes"
        )
    return "fuse-size", (
        f"No lead of yours fuses battery {battery.id} {within} for {most_a:.1f} A: "
        f"that needs {FUSE_PER_LOAD * most_a:.1f} A or more, no more than the wire takes"
    )


def _controllers(model: KitModel, bus: Connector | None) -> None:
    if bus is None:
        return
    for u, x in enumerate(model.unit_columns):
        controller = model.units[u].controller
        amps = controller.max_charge_a
        demand = Demand(amps, FUSE_PER_LOAD, most_drop_v=MOST_DROP_SHARE * charging_v(model.bus))
        found = chains(
            model.inventory.leads,
            controller.battery_connector,
            bus,
            suits=lambda chain, d=demand: d.is_met(chain, model.contacts),  # type: ignore[misc]
        )
        if not found:
            model.forbid(x)
            rule, why = (
                why_no_chain(model.inventory.leads, controller.battery_connector, bus, demand, model.contacts)
                or _NOT_TOLD
            )
            text = (
                f"Controller {controller.id} ({controller.battery_connector}) cannot reach the station ({bus}): {why}"
            )
            model.block((controller.id,), rule, text)
            continue
        if not found[0].pieces:
            continue
        links = [model.add(Column(Link(model.units[u].name, "station", chain, amps), 1, chain.uses)) for chain in found]
        text = f"{model.units[u].name} needs a lead to the station"
        terms = ((x, -1.0), *((w, 1.0) for w in links))
        model.rows.append(Row(terms, lower=0.0, upper=0.0, rule="controller-lead", text=text))


def _load(model: KitModel, bus: Connector, use: LoadUse, load: Load) -> None:
    _, full_w = idle_and_full_w(load, model.bus.nominal_v)
    amps = full_w / model.bus.nominal_v
    found = chains(
        model.inventory.leads,
        bus,
        load.connector,
        suits=lambda chain: load_demand(amps).is_met(chain, model.contacts),
    )
    if found and not found[0].pieces:
        return
    text = f"{load.id} needs a lead from the station"
    if not found:
        rule, why = (
            why_no_chain(model.inventory.leads, bus, load.connector, load_demand(amps), model.contacts) or _NOT_TOLD
        )
        text = f"Load {load.id} ({load.connector}) cannot be reached from the station ({bus}): {why}"
        model.block((load.id,), rule, text)
        model.refuse(text, rule)
        return
    links = []
    for chain in found:
        most = min(model.inventory.by_id[i].count // n for i, n in chain.uses.items())
        links.append(model.add(Column(Link("station", load.id, chain, amps), min(most, use.count), chain.uses)))
    terms = tuple((w, 1.0) for w in links)
    model.rows.append(Row(terms, float(use.count), float(use.count), "load-lead", text))


def fits_load(converter: Converter, load: Load, nominal_v: float) -> bool:
    """Whether a converter gives the load's voltage and power."""
    if load.supply_v is None:
        return False
    _, full_w = idle_and_full_w(load, nominal_v)
    return abs(converter.out_v - load.supply_v) <= 0.05 * load.supply_v and converter.max_w >= full_w - 1e-9


def _through_converter(model: KitModel, bus: Connector | None, use: LoadUse, load: Load) -> None:
    _, full_w = idle_and_full_w(load, model.bus.nominal_v)
    columns = []
    rule, why = "", ""
    for converter in sorted(model.inventory.converters, key=lambda c: c.id):
        if converter.count < 1 or not fits_load(converter, load, model.bus.nominal_v):
            continue
        before_a = full_w / converter.efficiency / model.bus.nominal_v
        after_a = full_w / converter.out_v
        if bus is None:
            befores: tuple[Chain, ...] = (Chain(converter.from_connector, converter.from_connector, ()),)
            afters: tuple[Chain, ...] = (Chain(converter.to_connector, converter.to_connector, ()),)
        else:
            befores = chains(
                model.inventory.leads,
                bus,
                converter.from_connector,
                suits=lambda chain, a=before_a: load_demand(a).is_met(chain, model.contacts),  # type: ignore[misc]
            )
            afters = chains(
                model.inventory.leads,
                converter.to_connector,
                load.connector,
                suits=lambda chain, a=after_a: load_demand(a).is_met(chain, model.contacts),  # type: ignore[misc]
            )
        if bus is not None and not (befores and afters):
            ends = (bus, converter.from_connector, load_demand(before_a))
            if befores:
                ends = (converter.to_connector, load.connector, load_demand(after_a))
            rule, said = why_no_chain(model.inventory.leads, *ends, model.contacts) or _NOT_TOLD
            what = f"load {load.id} ({load.connector})" if befores else f"the station ({bus})"
            side = converter.to_connector if befores else converter.from_connector
            why = f"Converter {converter.id} ({side}) and {what} cannot be joined: {said}"
            model.block((load.id, converter.id), rule, why)
        for before in befores:
            for after in afters:
                uses = {converter.id: 1}
                for chain in (before, after):
                    for lead_id, n in chain.uses.items():
                        uses[lead_id] = uses.get(lead_id, 0) + n
                most = min(model.inventory.by_id[i].count // n for i, n in uses.items())
                if most > 0:
                    fed = Fed(load, converter, before, after)
                    columns.append(model.add(Column(fed, min(most, use.count), uses)))
    if not columns:
        if not why:
            volts = f"{load.supply_v:g} V" if load.supply_v is not None else "another voltage"
            rule, why = "voltage", f"{load.id} needs {volts}; no converter of yours gives it from {model.bus.name}"
            if any(c.count > 0 and fits_load(c, load, model.bus.nominal_v) for c in model.inventory.converters):
                rule, why = "no-lead", f"{load.id} and its converter need the same lead on both sides; own one more"
            model.block((load.id,), rule, why)
        model.refuse(why, rule)
        return
    model.fed_columns.extend(columns)
    text = f"{load.id} is fed through a converter"
    terms = tuple((j, 1.0) for j in columns)
    model.rows.append(Row(terms, float(use.count), float(use.count), "voltage", text))


def _strips(model: KitModel, bus: Connector, n_loads: int, most_a: float) -> None:
    """More than two things meet only at strips; each strip of w ways has room for w - 1 more.

    A bus of a two-sided family, such as sockets, is itself one strip: two plugs meet nowhere else,
    and strips of sockets do not plug into each other.
    """
    terms: list[tuple[int, float]] = [(x, 1.0) for x in model.unit_columns]
    things = float(n_loads)
    if model.operation.batteries == "parallel":
        terms += [(j, 1.0) for j in model.battery_columns]
    else:
        things += 1.0
    direct = 2.0 if bus.mates_with(bus) else 0.0
    if things + sum(model.columns[j].upper for j, _ in terms) <= direct:
        return
    strips = []
    for lead in sorted(model.inventory.leads, key=lambda lead: lead.id):
        is_strip = lead.ways >= 2 and lead.count > 0
        if is_strip and lead.from_connector == lead.to_connector == bus:
            if ampacity_a(lead) >= most_a - 1e-9:
                strips.append(model.add(Column(Strip(lead), lead.count, {lead.id: 1})))
                terms.append((strips[-1], -(lead.ways - 1.0 if direct else lead.ways + 1.0)))
            else:
                text = f"{lead.id} carries {ampacity_a(lead):g} A; the loads peak at {most_a:.1f} A"
                model.block((lead.id,), "ampacity", text)
    room = direct - sum(model.columns[j].upper * c for j, c in terms if c < 0)
    if room < things:
        text = (
            f"At the station ({bus}) {things:g} things meet, loads and battery, and there is room for {room:g}: "
            f"it takes a strip or joiner that has such ends and carries {most_a:.1f} A"
        )
        model.block(tuple(use.id for use in model.operation.loads), "strip", text)
    text = "more than two things meet only at a strip or joiner"
    if not direct:
        text = f"things meet on {bus} only at one strip or joiner of such ends"
        if strips:
            model.rows.append(Row(tuple((j, 1.0) for j in strips), upper=1.0, rule="strip", text=text))
    model.rows.append(Row(tuple(terms), upper=direct - things, rule="strip", text=text))
