"""Joins on the station's bus: batteries through a fuse, controllers, loads, converters and strips."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from functools import lru_cache
from itertools import combinations_with_replacement, product

from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery, Connector, Converter, Load
from kitopt.model.bus import BusClass, charging_v
from kitopt.model.feeding import CONTINUOUS_FUSE, fits_load, fuse_share, needs_converter, station_fuse_a
from kitopt.model.in_use import InUse
from kitopt.model.kit import CHARGING, STATION, Column, Fed, KitModel, Link, Strip
from kitopt.model.need import idle_and_full_w
from kitopt.model.protection import Protection, Terminals, passes_a
from kitopt.model.wiring import FUSE_WITHIN_M, Chain, Demand, LeadStock, ampacity_a, chains, fits, why_no_chain
from kitopt.operation.terms import LoadUse

_NOT_TOLD = ("no-lead", "no leads of yours join them")
MOST_DROP_SHARE = 0.03
"""A controller's lead to the station drops at most this share of the charging voltage at its full current: the judge
need not count what is bounded so (ABYC E-11 asks for 3 % where it matters)."""
MOST_TOGETHER = 4
"""Loads on one converter that are tried together."""


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
    # of two banks which leads are whose is not said: all that any battery lets through counts, as without banks
    guard = Protection(model.operation.batteries == "parallel")
    if bus is not None:
        _batteries(model, bus, battery_demand(model, most_a), guard)
        _controllers(model, bus, guard)
    uses = [(use, model.inventory.by_id[use.id]) for use in model.operation.loads]
    converted = []
    for use, load in uses:
        assert isinstance(load, Load)
        if needs_converter(load, model.bus):
            converted.append((use, load))
        elif bus is not None:
            _load(model, bus, use, load, guard)
    _through_converters(model, bus, converted, guard)
    if bus is not None:
        _strips(model, bus, sum(use.count for use, _ in uses), most_a, guard)
    guard.add_rows(model)


# ---- what each join must do


def battery_demand(model: KitModel, most_a: float) -> Demand:
    """What a battery's leads must do: carry every load, with a fuse that holds their peaks."""
    return Demand(most_a, station_fuse_a(model.operation, model.inventory, model.bus), is_on_bus=True)


def charger_demand(amps: float, bus: BusClass | None) -> Demand:
    """What a controller's leads to the station must do. A charger's current is continuous."""
    most_drop_v = math.inf if bus is None else MOST_DROP_SHARE * charging_v(bus)
    return Demand(amps, CONTINUOUS_FUSE * amps, is_on_bus=True, most_drop_v=most_drop_v)


def load_demand(use: LoadUse, load: Load, volts: float, *, efficiency: float = 1.0, is_on_bus: bool = True) -> Demand:
    """What the leads of one load must do; its maker's fuse is taken as it is.

    Parameters
    ----------
    volts : float
        Of the side on which they lie. [V]
    """
    _, full_w = idle_and_full_w(load, volts)
    amps = full_w / efficiency / volts
    return Demand(amps, (1.0 if load.own_lead else fuse_share(use)) * amps, is_on_bus=is_on_bus)


def _useful(
    model: KitModel, source: Connector, sink: Connector, demand: Demand, guard: Protection, *, from_sink: bool = False
) -> tuple[Chain, ...]:
    """Chains with their fuses fitted, those too that take a fuse along to stand more of what the batteries give."""
    return _standing(model.lead_stock, source, sink, demand, guard.most_a(model), guard.least_a, from_sink)


@lru_cache(maxsize=1024)
def _standing(
    stock: LeadStock, source: Connector, sink: Connector, demand: Demand, cap_a: float, least_a: float, from_sink: bool
) -> tuple[Chain, ...]:
    contacts, fuses = stock.contacts, stock.fuses
    direct = Chain(source, sink, ())
    if source.mates_with(sink) and demand.is_met(direct, contacts):
        return (direct,)
    found = chains(
        stock.leads,
        source,
        sink,
        suits=lambda c: c.stands_a(from_sink=from_sink) >= least_a - 1e-9 and demand.is_met(c, contacts, fuses),
        worth=(lambda c: min(cap_a, c.stands_a(from_sink=from_sink))) if cap_a > 0.0 else None,
    )
    return tuple(fitted for chain in found for fitted in fits(chain, demand.fuse_a, fuses))


def _why(model: KitModel, source: Connector, sink: Connector, demand: Demand, guard: Protection) -> tuple[str, str]:
    """The rule that no chain obeys, and words to follow "A cannot reach B: "."""
    told = why_no_chain(model.lead_stock, source, sink, demand)
    if told is None and guard.least_a > 0.0:
        return "branch-fuse", (
            f"the leads that join them stand less than the {guard.least_a:g} A of the fuse at the battery, and none "
            "has a fuse close to where it leaves the station; where a fuse can be changed, write its fuse_holder"
        )
    return told or _NOT_TOLD


# ---- batteries


def is_fused_near(battery: Battery | Terminals, chain: Chain) -> bool:
    """Whether a battery has a fuse of its own, or its first lead has one within reach of battery plus."""
    first = chain.pieces[0].fuse_at_m if chain.pieces else None
    return battery.fused or (first is not None and first <= FUSE_WITHIN_M + 1e-9)


def battery_suits(stock: LeadStock, battery: Terminals, chain: Chain, demand: Demand) -> bool:
    """Whether a chain may join a battery to the station: fused near, and neither fuse nor wire too weak."""
    own_a = battery.fuse_a
    return (
        is_fused_near(battery, chain)
        and (own_a is None or demand.fuse_a <= own_a + 1e-9)
        and (own_a is None or own_a <= chain.stands_a() + 1e-9)
        and demand.is_met(chain, stock.contacts, stock.fuses)
    )


@lru_cache(maxsize=1024)
def _battery_chains(stock: LeadStock, battery: Terminals, bus: Connector, demand: Demand) -> tuple[Chain, ...]:
    """Ways from a battery to the station, before any fuse is fitted."""
    fuses = stock.fuses

    def worth(chain: Chain) -> float:
        fitted = fits(chain, demand.fuse_a, fuses)
        return -passes_a(battery, fitted[0] if fitted else chain)

    return chains(
        stock.leads,
        battery.connector,
        bus,
        suits=lambda chain: battery_suits(stock, battery, chain, demand),
        worth=None if battery.fused and battery.fuse_a is None else worth,
    )


def shares_lead(model: KitModel, battery: Battery) -> bool:
    """Whether the leads of a battery in turn go from one to the next: those of a fused plug, or by the owner's word."""
    operation = model.operation
    return operation.batteries == "in turn" and (battery.fused or not operation.has_own_leads)


def _batteries(model: KitModel, bus: Connector, demand: Demand, guard: Protection) -> None:
    in_use, stock = InUse(), model.lead_stock
    for j in model.battery_columns:
        battery = model.battery(j)
        # a fuse also has to hold what the battery may be charged with
        up_to_a = CONTINUOUS_FUSE * battery.max_charge_a if model.inventory.controllers else 0.0
        found = [
            fitted
            for chain in _battery_chains(stock, Terminals.of(battery), bus, demand)
            for fitted in fits(chain, demand.fuse_a, stock.fuses, up_to_a=up_to_a)
        ]
        if not found:
            model.forbid(j)
            model.block((battery.id,), *_why_no_battery_chain(model, battery, bus, demand))
            continue
        if len(found) == 1 and not found[0].pieces:
            guard.source(j, passes_a(battery, found[0]))
            continue
        links, is_shared = [], shares_lead(model, battery)
        for chain in found:
            link = Link(battery.id, "station", chain, demand.amps)
            if is_shared:
                w = model.add(Column(link, 1, fuses={}))
                in_use.add(model, j, w, chain)
            else:
                most = min([battery.count, *(model.inventory.by_id[i].count // n for i, n in chain.uses.items())])
                w = model.add(Column(link, most, chain.uses))
            guard.source(w, passes_a(battery, chain))
            links.append(w)
        text = f"{battery.id} needs a fused lead to the station"
        per_link = -float(battery.count) if is_shared else -1.0
        terms = ((j, 1.0), *((w, per_link) for w in links))
        model.rows.append(Row(terms, -math.inf if is_shared else 0.0, 0.0, "battery-lead", text))
        if is_shared:
            model.rows.append(Row(tuple((w, 1.0) for w in links), upper=1.0, rule="battery-lead", text=text))
    in_use.add_rows(model)


def _why_no_battery_chain(model: KitModel, battery: Battery, bus: Connector, demand: Demand) -> tuple[str, str]:
    leads = model.inventory.leads
    if battery.fuse_a is not None and battery.fuse_a < demand.fuse_a - 1e-9:
        return "fuse-size", (
            f"The fuse in battery {battery.id} is {battery.fuse_a:g} A; the loads ask for {demand.fuse_a:.1f} A or more"
        )
    if battery.fused or not chains(leads, battery.connector, bus):
        told = why_no_chain(model.lead_stock, battery.connector, bus, demand)
        if told is None and battery.fuse_a is not None:
            told = "branch-fuse", f"no lead of yours that joins them stands its fuse of {battery.fuse_a:g} A"
        rule, why = told or _NOT_TOLD
        return rule, f"Battery {battery.id} ({battery.connector}) cannot reach the station ({bus}): {why}"
    within = f"within {FUSE_WITHIN_M * 100:.0f} cm of its plus"
    if not chains(leads, battery.connector, bus, suits=lambda chain: is_fused_near(battery, chain)):
        return "battery-fuse", (
            f"Battery {battery.id} has no fuse and no lead of yours fuses it {within}; "
            f"it needs one of {demand.fuse_a:.1f} A or more, no more than the wire takes"
        )
    return "fuse-size", (
        f"No lead of yours fuses battery {battery.id} {within} for {demand.amps:.1f} A: "
        f"that needs {demand.fuse_a:.1f} A or more, no more than the wire takes"
    )


# ---- controllers and loads


def _controllers(model: KitModel, bus: Connector, guard: Protection) -> None:
    for u, x in enumerate(model.unit_columns):
        controller = model.units[u].controller
        demand = charger_demand(controller.max_charge_a, model.bus)
        ends = (controller.battery_connector, bus)
        found = _useful(model, *ends, demand, guard, from_sink=True)
        if not found:
            model.forbid(x)
            rule, why = _why(model, *ends, demand, guard)
            text = f"Controller {controller.id} ({ends[0]}) cannot reach the station ({bus}): {why}"
            model.block((controller.id,), rule, text)
            continue
        if not found[0].pieces:
            continue
        name, amps = model.units[u].name, controller.max_charge_a
        links = [model.add(Column(Link(name, "station", chain, amps), 1, chain.uses)) for chain in found]
        for w, chain in zip(links, found, strict=True):
            guard.branch(w, chain.stands_a(from_sink=True))
        terms = ((x, -1.0), *((w, 1.0) for w in links))
        text = f"{name} needs a lead to the station"
        model.rows.append(Row(terms, lower=0.0, upper=0.0, rule="controller-lead", text=text))


def _load(model: KitModel, bus: Connector, use: LoadUse, load: Load, guard: Protection) -> None:
    demand = load_demand(use, load, model.bus.nominal_v)
    found = _useful(model, bus, load.connector, demand, guard)
    if found and not found[0].pieces:
        return
    text = f"{load.id} needs a lead from the station"
    if not found:
        rule, why = _why(model, bus, load.connector, demand, guard)
        text = f"Load {load.id} ({load.connector}) cannot be reached from the station ({bus}): {why}"
        model.block((load.id,), rule, text)
        model.refuse(text, rule)
        return
    links = []
    for chain in found:
        most = min(model.inventory.by_id[i].count // n for i, n in chain.uses.items())
        link = Link("station", load.id, chain, demand.amps)
        links.append(model.add(Column(link, min(most, use.count), chain.uses)))
        guard.branch(links[-1], chain.stands_a())
    terms = tuple((w, 1.0) for w in links)
    model.rows.append(Row(terms, float(use.count), float(use.count), "load-lead", text))


# ---- converters


def _through_converters(
    model: KitModel, bus: Connector | None, uses: list[tuple[LoadUse, Load]], guard: Protection
) -> None:
    """One column for each converter and the loads on its ports; each load is fed as often as it is used."""
    feeds: dict[str, list[tuple[int, float]]] = {use.id: [] for use, _ in uses}
    for j in model.socket_columns:
        feeds[model.socket(j).load.id].append((j, 1.0))
    said: dict[str, tuple[str, str]] = {}
    for converter in sorted(model.inventory.converters, key=lambda c: c.id):
        fitting = [(use, load) for use, load in uses if fits_load(converter, load, model.bus.nominal_v)]
        if converter.count < 1 or not fitting:
            continue
        for group in _groups(converter, fitting, model.bus.nominal_v):
            for fed in _fed(model, bus, converter, group, guard, said):
                total: Counter[str] = Counter({converter.id: 1})
                for chain in (fed.before, *(chain for _, chain in fed.loads)):
                    total.update(chain.uses)
                most = min(model.inventory.by_id[i].count // n for i, n in total.items())
                most = min(most, *(use.count // fed.n_of(use.id) for use, _ in group))
                if most > 0:
                    j = model.add(Column(fed, most, dict(total)))
                    model.fed_columns.append(j)
                    guard.branch(j, fed.before.stands_a())
                    for load_id in {load.id for load, _ in fed.loads}:
                        feeds[load_id].append((j, float(fed.n_of(load_id))))
    for use, load in uses:
        if not feeds[use.id]:
            _not_fed(model, load, said.get(load.id))
            continue
        text = f"{load.id} is fed through a converter{' or by its own battery' if load.battery_wh else ''}"
        if not any(j in model.fed_columns for j, _ in feeds[use.id]):
            # what its own battery lacks is told of each panel's socket
            text = f"{load.id} has nothing but its own battery: {_why_not_fed(model, load, said.get(load.id))[1]}"
        model.rows.append(Row(tuple(feeds[use.id]), float(use.count), float(use.count), "voltage", text))


def _why_not_fed(model: KitModel, load: Load, said: tuple[str, str] | None) -> tuple[str, str]:
    """Rule and reason why no converter feeds a load."""
    if said is not None:
        return said
    if any(c.count > 0 and fits_load(c, load, model.bus.nominal_v) for c in model.inventory.converters):
        return "no-lead", f"{load.id} and its converter need the same lead on both sides; own one more"
    volts = f"{load.supply_v:g} V" if load.supply_v is not None else "another voltage"
    return "voltage", f"{load.id} needs {volts}; no converter of yours gives it from {model.bus.name}"


def _not_fed(model: KitModel, load: Load, said: tuple[str, str] | None) -> None:
    """No converter feeds a load: say why, and refuse every kit."""
    rule, text = _why_not_fed(model, load, said)
    if said is None:
        model.block((load.id,), rule, text)
    model.refuse(text, rule)


def _groups(
    converter: Converter, fitting: list[tuple[LoadUse, Load]], nominal_v: float
) -> Iterator[tuple[tuple[LoadUse, Load], ...]]:
    """Loads that one converter can feed together: one a port, no more than are used, within its watts."""
    for size in range(1, min(converter.ports, MOST_TOGETHER) + 1):
        for group in combinations_with_replacement(fitting, size):
            watts = math.fsum(idle_and_full_w(load, nominal_v)[1] for _, load in group)
            counts = Counter(use.id for use, _ in group)
            if watts <= converter.max_w + 1e-9 and all(counts[use.id] <= use.count for use, _ in group):
                yield group


def _fed(
    model: KitModel,
    bus: Connector | None,
    converter: Converter,
    group: tuple[tuple[LoadUse, Load], ...],
    guard: Protection,
    said: dict[str, tuple[str, str]],
) -> Iterator[Fed]:
    """Every way to lead some loads to one converter; what is missing is noted in `said`."""
    loads = [load for _, load in group]
    if bus is None:
        ends = (converter.from_connector, converter.to_connector)
        before, after = (Chain(end, end, ()) for end in ends)
        yield Fed(converter, before, tuple((load, after) for load in loads))
        return
    befores = [load_demand(*one, model.bus.nominal_v, efficiency=converter.efficiency) for one in group]
    demand = Demand(math.fsum(d.amps for d in befores), math.fsum(d.fuse_a for d in befores), is_on_bus=True)
    first = _useful(model, bus, converter.from_connector, demand, guard)
    if not first:
        rule, why = _why(model, bus, converter.from_connector, demand, guard)
        _say(model, loads, converter, f"({converter.from_connector}) and the station ({bus})", rule, why, said)
        return
    afters = []
    for use, load in group:
        own = load_demand(use, load, converter.out_v, is_on_bus=False)
        found = _useful(model, converter.to_connector, load.connector, own, Protection(is_parallel=False))
        if not found:
            ends_said = f"({converter.to_connector}) and load {load.id} ({load.connector})"
            _say(
                *(model, [load], converter, ends_said),
                *_why(model, converter.to_connector, load.connector, own, Protection(is_parallel=False)),
                said,
            )
            return
        afters.append(found)
    for before in first:
        for chosen in product(*afters):
            yield Fed(converter, before, tuple(zip(loads, chosen, strict=True)))


def _say(
    model: KitModel,
    loads: list[Load],
    converter: Converter,
    ends: str,
    rule: str,
    why: str,
    said: dict[str, tuple[str, str]],
) -> None:
    """Note once for each load why a converter cannot feed it alone; of several together nothing is said."""
    if len(loads) == 1:
        text = f"Converter {converter.id} {ends} cannot be joined: {why}"
        model.block((loads[0].id, converter.id), rule, text)
        said[loads[0].id] = (rule, text)


# ---- strips


def _strips(model: KitModel, bus: Connector, n_loads: int, most_a: float, guard: Protection) -> None:
    """More than two things meet only at strips; each strip of w ways has room for w - 1 more.

    A bus of a two-sided family, such as sockets, is itself one strip: two plugs meet nowhere else,
    and strips of sockets do not plug into each other.
    """
    n_banks = model.operation.n_banks
    units = [(x, 1.0) for x in model.unit_columns]
    things, own, shared = 1.0, [], []
    # what shares a converter takes one place together
    for j in model.fed_columns:
        fed = model.columns[j].meaning
        if isinstance(fed, Fed) and len(fed.loads) > 1:
            shared.append((j, 1.0 - len(fed.loads)))
    # what lives on its own battery takes none
    shared += [(j, -1.0) for j in model.socket_columns]
    if model.operation.batteries == "parallel":
        things, own = 0.0, [(j, 1.0 / n_banks) for j in model.battery_columns]
    if n_banks == 1:
        _meet(model, bus, Meeting(STATION, things + n_loads, [*units, *shared, *own], most_a), guard)
        return
    _meet(model, bus, Meeting(STATION, things + n_loads, [*shared, *own], most_a), guard)
    _meet(model, bus, Meeting(CHARGING, things, [*units, *own], 0.0), guard)


@dataclass(frozen=True)
class Meeting:
    """What meets at one place: things that are always there, and columns that are.

    Attributes
    ----------
    amps : float
        What its strips must carry. [A]
    """

    place: str
    things: float
    terms: Sequence[tuple[int, float]]
    amps: float


def _meet(model: KitModel, bus: Connector, at: Meeting, guard: Protection) -> None:
    things, terms, most_a = at.things, list(at.terms), at.amps
    direct = 2.0 if bus.mates_with(bus) else 0.0
    room_for = 0.0
    if at.place == CHARGING and not direct:
        # a bank that nothing charges needs no place there; one that is charged takes one of the strip's
        things, room_for = 0.0, things
    if things + sum(model.columns[j].upper for j, c in terms if c > 0) <= direct:
        return
    strips = []
    for lead in sorted(model.inventory.leads, key=lambda lead: lead.id):
        is_strip = lead.ways >= 2 and lead.count > 0
        if is_strip and lead.from_connector == lead.to_connector == bus:
            if ampacity_a(lead) >= max(most_a, guard.least_a) - 1e-9:
                strips.append(model.add(Column(Strip(lead, at=at.place), lead.count, {lead.id: 1})))
                terms.append((strips[-1], -(lead.ways - 1.0 if direct else lead.ways + 1.0 - room_for)))
                guard.branch(strips[-1], ampacity_a(lead))
            else:
                text = f"{lead.id} carries {ampacity_a(lead):g} A; the loads peak at {most_a:.1f} A"
                if ampacity_a(lead) >= most_a - 1e-9:
                    text = f"{lead.id} carries {ampacity_a(lead):g} A; the fuse before it is {guard.least_a:g} A"
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
