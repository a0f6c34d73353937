"""Leads by trying every piece: what joins a kit's devices, and what the joins weigh and lose.

Resistances and ratings are written out again: conductors after IEC 60228 class 5 and the IACS
(17.241 Ω·mm²/km, 0.00393/K), contacts and ratings by common practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass, replace
from itertools import combinations, product

from kitopt.inventory.items import Battery, Connector, Controller, Converter, Item, Lead, Load, Panel
from kitopt.operation.terms import LoadUse
from oracle.judge import Bank
from oracle.legal import EPSILON, LoadedUnit, charging_a
from oracle.search import Answer, Kit, kits_in_order, legal_layouts
from oracle.volts import full_w, fuse_over_current, needs_converter, suits
from oracle.world import CHARGING_V, Lists, World

MOST_PIECES = 3
MOST_JOINED = 4
FUSE_WITHIN_M = 0.18

CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21}
"""IEC 60228 class 5: mm² to Ω/km at 20 °C; 0.5 and 16 mm² from memory."""

MARINE = [(0.823, 20.0), (1.309, 25.0), (2.081, 35.0), (3.309, 45.0), (5.261, 60.0), (8.367, 80.0)]
"""Amperes of a free conductor by area [mm²], ABYC E-11 style; two or three side by side carry 0.7 of that."""

PAIR_OHM = {
    **{"genderless": 2e-3, "barrel": 15e-3, "pv": 2e-3, "ring": 1e-3, "stud": 1e-3, "screw": 3e-3},
    **{"faston": 3e-3, "cigar": 20e-3, "usb": 30e-3},
}
PAIR_A = {"barrel": 5.0, "usb": 5.0, "cigar": 10.0, "genderless": 30.0}
"""By the first word of a family; common practice, no source."""

BLADES_A = (1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 40)
"""Blade fuses that can be bought; from memory."""

Uses = tuple[int, ...]
"""How many of each lead and converter, in the order of `Leads.stock`, then of each fuse in `Leads.fuses`."""


# -- single pieces -------------------------------------------------------------------------


def lead_ohm(lead: Lead) -> float:
    """Both conductors of a lead in the sun, at 40 °C."""
    ohm_per_km = 17.241 * 1.02 / lead.area_mm2
    for area_mm2, listed in CLASS_5.items():
        if abs(area_mm2 - lead.area_mm2) < 1e-3 * area_mm2:
            ohm_per_km = listed
    return 2 * lead.length_m / 1000 * ohm_per_km * (1 + 0.00393 * 20)


def lead_a(lead: Lead) -> float:
    """What a lead may carry."""
    if lead.max_a is not None:
        return lead.max_a
    # labels round areas: half a percent counts as the size itself
    area_mm2 = 1.005 * lead.area_mm2
    if area_mm2 < MARINE[0][0]:
        return 0.7 * MARINE[0][1] * lead.area_mm2 / MARINE[0][0]
    return 0.7 * max(amps for size_mm2, amps in MARINE if size_mm2 <= area_mm2)


@dataclass(frozen=True)
class Run:
    """Leads end to end, with a fuse in every holder.

    ``first_fuse_m`` is how far the first piece's fuse is from the source; ``stands_a`` and ``stands_back_a`` are
    the largest fuse before it, at its source or its sink, that leaves every wire protected.
    """

    uses: Uses
    length_m: float
    ohm: float
    wire_a: float
    plug_a: float
    fuses_a: tuple[float, ...]
    first_fuse_m: float
    stands_a: float
    stands_back_a: float
    has_usb: bool
    families: frozenset[str]

    def carries(self, amps: float, fuse_a: float, wire_a: float = 0.0) -> bool:
        """Whether every piece may carry a current, and every fuse both holds what it must and guards the run."""
        if self.wire_a < max(amps, wire_a) - EPSILON or self.plug_a < amps - EPSILON:
            return False
        return all(fuse_a - EPSILON <= one <= self.wire_a + EPSILON for one in self.fuses_a)


@dataclass(frozen=True)
class Joined:
    """Identical panels in parallel on one unit, behind a resistance; maybe by ends that fit into the station."""

    unit: int
    panel: Panel
    n: int
    ohm: float
    meets: bool = False


Fed = tuple[str, tuple[str, ...]]
"""One converter, and a load on each of its ports that is taken."""


@dataclass(frozen=True, order=True)
class Way:
    """Pieces that join some things on the station, who feeds whom, what may come in and what stands how much."""

    uses: Uses
    fed: tuple[Fed, ...] = ()
    in_a: float = 0.0
    stands_a: float = math.inf


class Leads:
    """The leads and converters of an inventory, and every run that they can make."""

    def __init__(self, world: World) -> None:
        self.world, self.inventory = world, world.inventory
        inventory = world.inventory
        self.stock: list[Item] = [*inventory.leads, *inventory.converters]
        self.fuses = sorted(inventory.fuses or {})
        self.owned = (*(item.count for item in self.stock), *((inventory.fuses or {})[f] for f in self.fuses))
        self.none: Uses = (0,) * len(self.owned)
        self._runs: dict[tuple[Connector, Connector], list[Run]] = {}
        self._joined_w: dict[tuple[object, ...], Lists] = {}
        self._one_load_w: dict[tuple[str, float], list[float]] = {}

    def with_one(self, uses: Uses, item: Item) -> Uses:
        """One piece more."""
        n_items = len(self.stock)
        more = tuple(n + (thing.id == item.id) for n, thing in zip(uses[:n_items], self.stock, strict=True))
        return more + uses[n_items:]

    def with_fuse(self, uses: Uses, lead: Lead, rating_a: float) -> Uses | None:
        """One fuse more in a lead's holder, unless it lies there already; None where there is no such fuse."""
        if rating_a == lead.fuse_a or self.inventory.fuses is None:
            return uses
        if (lead.fuse_holder, rating_a) not in self.fuses:
            return None
        place = len(self.stock) + self.fuses.index((lead.fuse_holder, rating_a))
        return tuple(n + (i == place) for i, n in enumerate(uses))

    def are_owned(self, uses: Uses) -> bool:
        """Whether there are enough pieces."""
        return all(n <= owned for n, owned in zip(uses, self.owned, strict=True))

    def pair_ohm(self, connector: Connector) -> float:
        """A mated pair, both poles."""
        family = connector.family
        return self.inventory.contact_ohm.get(family, PAIR_OHM.get(family.split("-")[0], 0.010))

    def pair_a(self, connector: Connector) -> float:
        """What a mated pair may carry."""
        family = connector.family
        return self.inventory.contact_a.get(family, PAIR_A.get(family.split("-")[0], math.inf))

    def runs(self, source: Connector, sink: Connector) -> list[Run]:
        """Every run of at most three single leads, each laid either way round."""
        if (source, sink) not in self._runs:
            found: dict[Run, None] = {}
            self._lay(source, sink, [], source, found)
            self._runs[source, sink] = list(found)
        return self._runs[source, sink]

    def _lay(
        self,
        source: Connector,
        sink: Connector,
        pieces: list[tuple[Lead, Connector, float]],
        end: Connector,
        found: dict[Run, None],
    ) -> None:
        if end.mates_with(sink):
            has_holder = any(lead.fuse_holder for lead, _, _ in pieces)
            owned = {a for _, a in self.fuses} | {lead.fuse_a for lead, _, _ in pieces if lead.fuse_a is not None}
            for fit_a in sorted({*BLADES_A, *owned}) if has_holder else [None]:
                run = self._run(source, pieces, fit_a)
                if run is not None:
                    found[run] = None
        if len(pieces) == MOST_PIECES:
            return
        for lead in self.inventory.leads:
            if lead.ways != 1 or sum(piece[0].id == lead.id for piece in pieces) >= lead.count:
                continue
            fuse_m = lead.length_m if lead.fuse_at_m is None else lead.fuse_at_m
            if end.mates_with(lead.from_connector):
                self._lay(source, sink, [*pieces, (lead, lead.to_connector, fuse_m)], lead.to_connector, found)
            if end.mates_with(lead.to_connector):
                reversed_piece = (lead, lead.from_connector, lead.length_m - fuse_m)
                self._lay(source, sink, [*pieces, reversed_piece], lead.from_connector, found)

    def _run(self, source: Connector, pieces: list[tuple[Lead, Connector, float]], fit_a: float | None) -> Run | None:
        uses, length_m, ohm, wire_a, plug_a = self.none, 0.0, self.pair_ohm(source), math.inf, self.pair_a(source)
        fuses_a, families = [], {source.family}
        for lead, far, _ in pieces:
            uses = self.with_one(uses, lead)
            length_m += lead.length_m
            ohm += lead_ohm(lead) + self.pair_ohm(far)
            wire_a, plug_a = min(wire_a, lead_a(lead)), min(plug_a, self.pair_a(far))
            families |= {lead.from_connector.family, lead.to_connector.family}
            if lead.fuse_holder:
                assert fit_a is not None
                assert lead.fuse_max_a is not None
                fitted = self.with_fuse(uses, lead, fit_a)
                is_had = self.inventory.fuses is not None or fit_a in BLADES_A or fit_a == lead.fuse_a
                if fitted is None or not is_had or fit_a > lead.fuse_max_a + EPSILON:
                    return None
                uses = fitted
                fuses_a.append(fit_a)
            elif lead.fuse_a is not None:
                fuses_a.append(lead.fuse_a)
        first_fuse_m = pieces[0][2] if pieces and pieces[0][0].has_fuse else math.inf
        there = [(lead_a(lead), lead.length_m, at_m if lead.has_fuse else None) for lead, _, at_m in pieces]
        back = [(amps, m, None if at_m is None else m - at_m) for amps, m, at_m in reversed(there)]
        return Run(
            *(uses, length_m, round(ohm, 12), wire_a, plug_a, tuple(sorted(fuses_a)), first_fuse_m),
            *(_stands_a(there), _stands_a(back), any(f.startswith("usb") for f in families)),
            frozenset(families),
        )

    def joined_w(self, joined: Joined, controller: Controller, nominal_v: float, charging_v: float) -> Lists:
        """Amperes times nominal volts of joined panels behind a controller that has no limit, [window][step]."""
        key = (joined.panel.id, joined.n, joined.ohm, controller.id, nominal_v, charging_v)
        if key not in self._joined_w:
            self._joined_w[key] = self.world.joined_w(
                joined.panel, controller, nominal_v, charging_v, joined.n, joined.ohm
            )
        return self._joined_w[key]

    def one_load_w(self, load_id: str, nominal_v: float) -> list[float]:
        """Mean watts of one unit of a load, before any converter."""
        if (load_id, nominal_v) not in self._one_load_w:
            self._one_load_w[load_id, nominal_v] = self.world.one_load_w(load_id, nominal_v)
        return self._one_load_w[load_id, nominal_v]


def _stands_a(wires: list[tuple[float, float, float | None]]) -> float:
    """The largest fuse before some wires that leaves all protected: [amperes, metres, metres to its fuse]."""
    along_m, unguarded = 0.0, []
    for amps, length_m, fuse_m in wires:
        if fuse_m is not None:
            if along_m + fuse_m > FUSE_WITHIN_M + EPSILON:
                unguarded.append(amps)
            break
        unguarded.append(amps)
        along_m += length_m
    return min(unguarded, default=math.inf)


# -- the station's side --------------------------------------------------------------------


def station_ways(
    leads: Leads, batteries: Sequence[tuple[Battery, int]], controllers: Sequence[Controller], delivered_a: float
) -> list[tuple[Uses, tuple[Fed, ...]]]:
    """Every set of pieces that joins batteries, controllers and loads, and who is fed by which converter.

    What the controllers deliver flows through strips and battery leads as well as what the loads draw.
    """
    world = leads.world
    chemistry, nominal_v = batteries[0][0].chemistry, batteries[0][0].nominal_v
    sets = _battery_ways(leads, batteries, delivered_a)
    for controller in controllers:
        sets = _added(leads, sets, _controller_ways(leads, controller, batteries[0][0]))
    n_direct, converted = 0, []
    for use in world.operation.loads:
        load = world.inventory.by_id[use.id]
        assert isinstance(load, Load)
        for _ in range(use.count):
            if needs_converter(load, chemistry, nominal_v):
                converted.append((use, load))
            else:
                n_direct += 1
                sets = _added(leads, sets, _load_ways(leads, use, load, nominal_v))
    sets = _added(leads, sets, _converter_ways(leads, converted, nominal_v))
    is_parallel = world.operation.batteries == "parallel"
    n_things = (sum(n for _, n in batteries) if is_parallel else 1) + len(controllers) + n_direct
    most_a = max(delivered_a, world.peak_a(chemistry, nominal_v))
    whole: set[Way] = set()
    for n_converters in {len(way.fed) for way in sets}:
        some = {way for way in sets if len(way.fed) == n_converters}
        whole |= _added(leads, some, _strip_ways(leads, n_things + n_converters, most_a))
    return _without_more([(way.uses, way.fed) for way in whole])


def _added(leads: Leads, sets: Iterable[Way], ways: Iterable[Way]) -> set[Way]:
    """Each set with each way added, as far as stock goes and no wire is behind too large a fuse."""
    found, others = set(), list(ways)
    for one in sets:
        for other in others:
            uses = tuple(a + b for a, b in zip(one.uses, other.uses, strict=True))
            in_a, stands_a = max(one.in_a, other.in_a), min(one.stands_a, other.stands_a)
            if leads.are_owned(uses) and in_a <= stands_a + EPSILON:
                found.add(Way(uses, tuple(sorted(one.fed + other.fed)), in_a, stands_a))
    return found


def _without_more(sets: Iterable[tuple[Uses, tuple[Fed, ...]]]) -> list[tuple[Uses, tuple[Fed, ...]]]:
    """Leave out what takes all pieces of another set and more: every piece has mass, price and number."""
    all_sets = sorted(set(sets))
    return [
        (uses, fed)
        for uses, fed in all_sets
        if not any(
            fed == other_fed and other != uses and all(a <= b for a, b in zip(other, uses, strict=True))
            for other, other_fed in all_sets
        )
    ]


def _battery_ways(leads: Leads, batteries: Sequence[tuple[Battery, int]], delivered_a: float) -> set[Way]:
    world = leads.world
    bus = world.operation.station_connector
    if bus is None:
        return {Way(leads.none)}
    chemistry, nominal_v = batteries[0][0].chemistry, batteries[0][0].nominal_v
    peak_a, fuse_a = world.peak_a(chemistry, nominal_v), world.fuse_a(chemistry, nominal_v)
    is_parallel = world.operation.batteries == "parallel"
    own, moved = {Way(leads.none)}, {Way(leads.none)}
    for battery, n in batteries:
        charge_a = min(delivered_a, battery.max_charge_a)
        fit = set()
        for run in leads.runs(battery.connector, bus):
            fuses_a = run.fuses_a if battery.fuse_a is None else (*run.fuses_a, battery.fuse_a)
            if (
                run.carries(max(peak_a, charge_a), max(fuse_a, 1.25 * charge_a))
                and all(one >= max(fuse_a, 1.25 * charge_a) - EPSILON for one in fuses_a)
                and (battery.fused or run.first_fuse_m <= FUSE_WITHIN_M + EPSILON)
                and (battery.fuse_a is None or battery.fuse_a <= run.stands_a + EPSILON)
                and not run.has_usb
            ):
                # what is in a fused plug may not be written down
                fit.add(Way(run.uses, (), min(fuses_a, default=0.0)))
        if is_parallel or (world.operation.battery_lead == "each" and not battery.fused):
            for _ in range(n):
                own = {
                    Way(w.uses, (), a.in_a + b.in_a if is_parallel else max(a.in_a, b.in_a))
                    for a, b in product(own, fit)
                    for w in _added(leads, [replace(a, in_a=0.0)], [replace(b, in_a=0.0)])
                }
        else:
            # only one battery is in use at a time, so its leads serve the next as well
            moved = {
                Way(tuple(max(a, b) for a, b in zip(one.uses, other.uses, strict=True)), (), max(one.in_a, other.in_a))
                for one, other in product(moved, fit)
            }
    return _added(leads, own, moved)


def _controller_ways(leads: Leads, controller: Controller, battery: Battery) -> list[Way]:
    bus = leads.world.operation.station_connector
    if bus is None:
        return [Way(leads.none)]
    amps = controller.max_charge_a
    most_drop_v = 0.03 * CHARGING_V[battery.chemistry] * battery.nominal_v
    return [
        Way(run.uses, (), 0.0, run.stands_back_a)
        for run in leads.runs(controller.battery_connector, bus)
        if run.carries(amps, 1.25 * amps) and not run.has_usb
        if not any(run.uses) or amps * run.ohm <= most_drop_v + EPSILON
    ]


def holds(use: LoadUse, load: Load) -> float:
    """Least fuse in a load's own lead over its current: what its maker fits is taken as it is."""
    return 1.0 if load.own_lead else fuse_over_current(use)


def _load_ways(leads: Leads, use: LoadUse, load: Load, nominal_v: float) -> list[Way]:
    bus = leads.world.operation.station_connector
    if bus is None:
        return [Way(leads.none)]
    amps = full_w(load, nominal_v) / nominal_v
    return [
        Way(run.uses, (), 0.0, run.stands_a)
        for run in leads.runs(bus, load.connector)
        if run.carries(amps, holds(use, load) * amps) and not run.has_usb
    ]


def _converter_ways(leads: Leads, waiting: Sequence[tuple[LoadUse, Load]], nominal_v: float) -> set[Way]:
    """Every way to share some loads out among converters, one a port."""
    if not waiting:
        return {Way(leads.none)}
    first, others = waiting[0], list(range(1, len(waiting)))
    found: set[Way] = set()
    for n_more in range(len(others) + 1):
        for more in combinations(others, n_more):
            group = [first, *(waiting[i] for i in more)]
            left = [waiting[i] for i in others if i not in more]
            for converter in leads.inventory.converters:
                ways = _group_ways(leads, converter, group, nominal_v)
                if ways:
                    found |= _added(leads, ways, _converter_ways(leads, left, nominal_v))
    return found


def _group_ways(
    leads: Leads, converter: Converter, group: Sequence[tuple[LoadUse, Load]], nominal_v: float
) -> set[Way]:
    """Every way to join one converter to the station and some loads to it."""
    watts = [full_w(load, nominal_v) for _, load in group]
    if len(group) > converter.ports or sum(watts) > converter.max_w + EPSILON:
        return set()
    if not all(suits(converter, load, nominal_v) for _, load in group):
        return set()
    bus = leads.world.operation.station_connector
    fed = ((converter.id, tuple(sorted(load.id for _, load in group))),)
    sets = {Way(leads.with_one(leads.none, converter), fed)}
    if bus is None:
        return sets
    into_a = [w / converter.efficiency / nominal_v for w in watts]
    fuse_a = sum(holds(*one) * amps for one, amps in zip(group, into_a, strict=True))
    before = [
        Way(run.uses, (), 0.0, run.stands_a)
        for run in leads.runs(bus, converter.from_connector)
        if run.carries(sum(into_a), fuse_a) and not run.has_usb
    ]
    sets = _added(leads, sets, before)
    for (use, load), w in zip(group, watts, strict=True):
        amps = w / converter.out_v
        after = [
            Way(run.uses)
            for run in leads.runs(converter.to_connector, load.connector)
            if run.carries(amps, holds(use, load) * amps)
        ]
        sets = _added(leads, sets, after)
    return sets


def _strip_ways(leads: Leads, n_things: int, most_a: float) -> list[Way]:
    """Two ends of one kind that mate with themselves meet as they are, and each strip has room for more.

    Plugs meet only in a strip of sockets, and two such strips do not meet at all.
    """
    bus = leads.world.operation.station_connector
    is_alike = bus is not None and bus.mates_with(bus)
    if bus is None or (is_alike and n_things <= 2):
        return [Way(leads.none)]
    strips = [
        lead
        for lead in leads.inventory.leads
        if lead.ways >= 2 and lead.from_connector == lead.to_connector == bus and lead_a(lead) >= most_a - EPSILON
    ]
    found = []
    for numbers in product(*(range(strip.count + 1) for strip in strips)):
        n_ends = [strip.ways + 1 for n, strip in zip(numbers, strips, strict=True) for _ in range(n)]
        room = 2 + sum(n - 2 for n in n_ends) if is_alike else sum(n_ends) * (len(n_ends) == 1)
        if n_things <= room:
            uses, stands_a = leads.none, math.inf
            for n, strip in zip(numbers, strips, strict=True):
                for _ in range(n):
                    uses, stands_a = leads.with_one(uses, strip), min(stands_a, lead_a(strip))
            found.append(Way(uses, (), 0.0, stands_a))
    return found


# -- the panels' side ----------------------------------------------------------------------


def panel_ways(leads: Leads, units: Sequence[LoadedUnit]) -> Iterator[tuple[Uses, tuple[Joined, ...]]]:
    """Every way to lead the panels of every unit to it."""
    by_unit = [_unit_ways(leads, u, controller, panels) for u, (controller, panels) in enumerate(units)]
    for ways in product(*by_unit):
        uses = leads.none
        for one, _ in ways:
            uses = tuple(a + b for a, b in zip(uses, one, strict=True))
        if leads.are_owned(uses):
            yield uses, tuple(joined for _, group in ways for joined in group)


def _unit_ways(
    leads: Leads, u: int, controller: Controller, panels: Sequence[tuple[Panel, int]]
) -> list[tuple[Uses, tuple[Joined, ...]]]:
    socket = controller.pv_connector
    total_a = sum(n * panel.isc_a for panel, n in panels)
    if total_a > leads.pair_a(socket) + EPSILON:
        return []
    found: set[tuple[Uses, tuple[Joined, ...]]] = set()
    joiners = [
        lead
        for lead in leads.inventory.leads
        if lead.ways >= 2
        and lead_a(lead) >= 1.56 * total_a - EPSILON
        and any(
            single.mates_with(socket) and many == socket
            for single, many in (
                (lead.from_connector, lead.to_connector),
                (lead.to_connector, lead.from_connector),
            )
        )
    ]
    for groups in product(*([(panel, part) for part in _parts(n)] for panel, n in panels)):
        bunches = [(panel, n) for panel, part in groups for n in part]
        for picked in product((False, True), repeat=len(joiners)):
            placed = [lead for lead, is_placed in zip(joiners, picked, strict=True) if is_placed]
            if len(bunches) > 1 + sum(lead.ways - 1 for lead in placed) or (not bunches and placed):
                continue
            uses = leads.none
            for lead in placed:
                uses = leads.with_one(uses, lead)
            sets: set[tuple[Uses, tuple[Joined, ...]]] = {(uses, ())}
            for panel, n in bunches:
                options = bunch_ways(leads, panel, n, socket)
                more = set()
                for before, joined in sets:
                    for extra, ohm, meets in options:
                        together = tuple(a + b for a, b in zip(before, extra, strict=True))
                        if leads.are_owned(together):
                            new = (*joined, Joined(u, panel, n, ohm, meets))
                            more.add((together, tuple(sorted(new, key=_order))))
                sets = more
            found |= sets
    return sorted(found, key=lambda way: (way[0], [_order(j) for j in way[1]]))


def _order(joined: Joined) -> tuple[str, int, float, bool]:
    return joined.panel.id, joined.n, joined.ohm, joined.meets


def _parts(n: int, most: int = MOST_JOINED) -> list[tuple[int, ...]]:
    """Every way to split n panels into bunches, the largest first."""
    if n == 0:
        return [()]
    return [(first, *rest) for first in range(min(n, most), 0, -1) for rest in _parts(n - first, first)]


def bunch_ways(leads: Leads, panel: Panel, n: int, socket: Connector) -> list[tuple[Uses, float, bool]]:
    """Pieces and resistance of every way from some joined panels to a controller, and whether ends fit the station."""
    station = leads.world.operation.station_connector
    isc_a = n * panel.isc_a
    second = panel.second_connector
    starts: list[tuple[Uses, Connector, float]] = []
    if n == 1 or (second is not None and second.mates_with(panel.connector)):
        starts.append((leads.none, panel.connector, 0.0))
    else:
        for lead in leads.inventory.leads:
            if lead.ways < n or lead_a(lead) < 1.56 * isc_a - EPSILON:
                continue
            for many, single in (
                (lead.from_connector, lead.to_connector),
                (lead.to_connector, lead.from_connector),
            ):
                if many.mates_with(panel.connector):
                    starts.append((leads.with_one(leads.none, lead), single, lead_ohm(lead)))
    found = []
    for uses, source, joiner_ohm in starts:
        for run in leads.runs(source, socket):
            if run.length_m < leads.world.operation.panel_distance_m - EPSILON or not run.carries(
                isc_a, 1.56 * isc_a, 1.56 * isc_a
            ):
                continue
            together = tuple(a + b for a, b in zip(uses, run.uses, strict=True))
            ends = run.families | {panel.connector.family, socket.family}
            found.append((together, run.ohm + joiner_ohm, station is not None and station.family in ends))
    return found


# -- whole kits ----------------------------------------------------------------------------


class WiredBank(Bank):
    """A bank whose panels stand behind leads, and some of whose loads behind converters."""

    def __init__(
        self,
        leads: Leads,
        batteries: Sequence[tuple[Battery, int]],
        units: Sequence[LoadedUnit],
        joined: Sequence[Joined],
        fed: Sequence[Fed],
    ) -> None:
        super().__init__(leads.world, batteries, units)
        self.units = []
        for u, (controller, _) in enumerate(units):
            limit_w = controller.max_charge_a * self.nominal_v
            own = [(1, leads.joined_w(j, controller, self.nominal_v, self.charging_v)) for j in joined if j.unit == u]
            if own:
                self.units.append((limit_w, own))
        self.load_w = list(self.load_w)
        for converter_id, load_ids in fed:
            converter = leads.inventory.by_id[converter_id]
            assert isinstance(converter, Converter)
            self.idle_w += converter.idle_ma / 1000 * self.nominal_v
            for load_id in load_ids:
                for t, watts in enumerate(leads.one_load_w(load_id, self.nominal_v)):
                    self.load_w[t] += watts / converter.efficiency - watts


@dataclass(frozen=True)
class WiredWay:
    """A kit, leads and converters included, and one way to wire it; not judged yet."""

    kit: Kit
    batteries: list[tuple[Battery, int]]
    units: list[LoadedUnit]
    joined: tuple[Joined, ...]
    fed: tuple[Fed, ...]

    @property
    def physics(self) -> tuple[object, ...]:
        """What its margin depends on, among the ways of the same devices."""
        return tuple((j.unit, j.panel.id, j.n, j.ohm) for j in self.joined), self.fed

    @property
    def n_met(self) -> int:
        """Joins of panels by ends that fit into the station."""
        return sum(j.meets for j in self.joined)

    def bank(self, leads: Leads) -> WiredBank:
        """Its batteries, to be judged."""
        return WiredBank(leads, self.batteries, self.units, self.joined, self.fed)


def with_pieces(leads: Leads, kit: Kit, uses: Uses) -> Kit:
    """A kit of devices with leads and converters added."""
    pieces = [(item, n) for item, n in zip(leads.stock, uses[: len(leads.stock)], strict=True) if n > 0]
    return Kit(
        tuple(sorted((*kit.counts, *((item.id, n) for item, n in pieces)))),
        kit.mass_g + sum(n * item.mass_g for item, n in pieces),
        kit.price_cents + sum(n * (item.price_cents or 0) for item, n in pieces),
        kit.n_items + sum(n for _, n in pieces),
        kit.has_unpriced or any(item.price_cents is None for item, _ in pieces),
    )


def wired_ways(leads: Leads, kit: Kit, most: int | None = None) -> list[WiredWay]:
    """Every legal way to wire the devices of a kit, the best pieces first.

    With `most`, only those whose first objective is no more than that.
    """
    world = leads.world
    least, limit_g = world.operation.least, world.operation.mass_limit_g
    stations: dict[float, list[tuple[Uses, tuple[Fed, ...]]]] = {}
    wholes: dict[Uses, Kit] = {}
    found: dict[tuple[object, ...], WiredWay] = {}
    for batteries, units in legal_layouts(world, kit):
        delivered_a = charging_a(batteries[0][0], units)
        if delivered_a not in stations:
            controllers = [controller for controller, _ in units]
            stations[delivered_a] = station_ways(leads, batteries, controllers, delivered_a)
        for panel_uses, joined in panel_ways(leads, units) if stations[delivered_a] else ():
            for station_uses, fed in stations[delivered_a]:
                uses = tuple(a + b for a, b in zip(panel_uses, station_uses, strict=True))
                if uses not in wholes:
                    wholes[uses] = with_pieces(leads, kit, uses)
                whole = wholes[uses]
                value = whole.values(least)[0]
                is_wanted = leads.are_owned(uses) and (most is None or value <= most)
                is_light = limit_g is None or whole.mass_g <= limit_g
                is_priced = least != "price" or not whole.has_unpriced
                if is_wanted and is_light and is_priced:
                    way = WiredWay(whole, batteries, units, joined, fed)
                    found.setdefault((whole.counts, *way.physics, way.n_met), way)
    return sorted(found.values(), key=lambda way: way.kit.values(least))


def wired_answer(world: World) -> Answer:
    """The best passing kits by the first objective, leads and converters included; then by the others and by id."""
    leads, least = Leads(world), world.operation.least
    first: int | None = None
    best: dict[tuple[tuple[str, int], ...], tuple[int, Kit]] = {}
    for devices in kits_in_order(world):
        # pieces only add to it
        if first is not None and devices.values(least)[0] > first:
            break
        judged: dict[tuple[object, ...], bool] = {}
        for way in wired_ways(leads, devices, first):
            value = way.kit.values(least)[0]
            if first is not None and value > first:
                break
            if way.kit.counts in best and best[way.kit.counts][0] <= way.n_met:
                continue
            if way.physics not in judged:
                judged[way.physics] = way.bank(leads).passes()
            if judged[way.physics]:
                if first is None or value < first:
                    first, best = value, {}
                best[way.kit.counts] = way.n_met, way.kit
    ids = sorted(world.inventory.by_id)

    def order(one: tuple[int, Kit]) -> tuple[object, ...]:
        # at an equal first objective the fewest ends that fit the station; then the one with the most of the first id
        n_met, kit = one
        counts = dict(kit.counts)
        first_value, *others = kit.values(least)
        return first_value, n_met, others, [-counts.get(item_id, 0) for item_id in ids]

    return Answer(first, tuple(kit for _, kit in sorted(best.values(), key=order)))
