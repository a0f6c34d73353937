"""Leads by trying every piece: what joins a kit's devices, and what the joins weigh and lose.

Resistances and ratings are written out again: conductors after IEC 60228 class 5 and the IACS
(17.241 Ω·mm²/km, 0.00393/K), contacts and ratings by common practice.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Iterator, Sequence
from dataclasses import dataclass
from itertools import product

from kitopt.inventory.items import Battery, Connector, Controller, Converter, Item, Lead, Load, Panel
from oracle.judge import Bank
from oracle.legal import EPSILON, LoadedUnit, charging_a
from oracle.search import Answer, Kit, kits_in_order, legal_layouts
from oracle.volts import full_w, needs_converter, suits
from oracle.world import CHARGING_V, Lists, World

MOST_PIECES = 3
MOST_JOINED = 4
FUSE_WITHIN_M = 0.18

CLASS_5 = {0.5: 39.0, 0.75: 26.0, 1.0: 19.5, 1.5: 13.3, 2.5: 7.98, 4.0: 4.95, 6.0: 3.30, 10.0: 1.91, 16.0: 1.21}
"""IEC 60228 class 5: mm² to Ω/km at 20 °C; 0.5 and 16 mm² from memory."""

UNRATED = [
    *[(0.326, 2.0), (0.518, 4.0), (0.823, 7.0), (1.309, 10.0), (2.081, 15.0)],
    *[(3.309, 20.0), (5.261, 30.0), (8.367, 40.0), (13.30, 55.0)],
]
"""Amperes of a lead without rating by area [mm²]: the overcurrent limits of NEC 240.4(D) and in proportion."""

PAIR_OHM = {"genderless": 2e-3, "barrel": 15e-3, "pv": 2e-3, "ring": 1e-3, "faston": 3e-3, "cigar": 20e-3, "usb": 30e-3}
PAIR_A = {"barrel": 5.0, "usb": 5.0, "cigar": 10.0, "genderless": 30.0}
"""By the first word of a family; common practice, no source."""

Uses = tuple[int, ...]
"""How many of each lead and converter, in the order of `Leads.stock`."""


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
    if lead.area_mm2 < UNRATED[0][0]:
        return UNRATED[0][1] * lead.area_mm2 / UNRATED[0][0]
    # labels round areas: half a percent counts as the size itself
    return max(amps for area_mm2, amps in UNRATED if area_mm2 <= 1.005 * lead.area_mm2)


@dataclass(frozen=True)
class Run:
    """Leads end to end; ``first_fuse_m`` is how far the first piece's fuse is from the source."""

    uses: Uses
    length_m: float
    ohm: float
    rated_a: float
    fuses_a: tuple[float, ...]
    first_fuse_m: float

    def carries(self, amps: float, per_ampere: float = 1.25) -> bool:
        """Whether every piece may carry a current, and every fuse both holds it and guards the run."""
        if self.rated_a < amps - EPSILON:
            return False
        return all(per_ampere * amps - EPSILON <= fuse_a <= self.rated_a + EPSILON for fuse_a in self.fuses_a)


@dataclass(frozen=True)
class Joined:
    """Identical panels in parallel on one unit, behind a resistance."""

    unit: int
    panel: Panel
    n: int
    ohm: float


Fed = tuple[str, str]
"""One unit of a load, and the converter that feeds it."""


class Leads:
    """The leads and converters of an inventory, and every run that they can make."""

    def __init__(self, world: World) -> None:
        self.world, self.inventory = world, world.inventory
        inventory = world.inventory
        self.stock: list[Item] = [*inventory.leads, *inventory.converters]
        self.owned = tuple(item.count for item in self.stock)
        self.none: Uses = (0,) * len(self.stock)
        self._runs: dict[tuple[Connector, Connector], list[Run]] = {}
        self._joined_w: dict[tuple[object, ...], Lists] = {}
        self._one_load_w: dict[tuple[str, float], list[float]] = {}

    def with_one(self, uses: Uses, item: Item) -> Uses:
        """One piece more."""
        return tuple(n + (thing.id == item.id) for n, thing in zip(uses, self.stock, strict=True))

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
            found[self._run(source, pieces)] = None
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

    def _run(self, source: Connector, pieces: list[tuple[Lead, Connector, float]]) -> Run:
        uses, length_m, ohm, rated_a = self.none, 0.0, self.pair_ohm(source), self.pair_a(source)
        for lead, far, _ in pieces:
            uses = self.with_one(uses, lead)
            length_m += lead.length_m
            ohm += lead_ohm(lead) + self.pair_ohm(far)
            rated_a = min(rated_a, lead_a(lead), self.pair_a(far))
        fuses_a = sorted(lead.fuse_a for lead, _, _ in pieces if lead.fuse_a is not None)
        first_fuse_m = pieces[0][2] if pieces and pieces[0][0].fuse_a is not None else math.inf
        return Run(uses, length_m, round(ohm, 12), rated_a, tuple(fuses_a), first_fuse_m)

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


# -- the station's side --------------------------------------------------------------------


def station_ways(
    leads: Leads, batteries: Sequence[tuple[Battery, int]], controllers: Sequence[Controller], delivered_a: float
) -> list[tuple[Uses, tuple[Fed, ...]]]:
    """Every set of pieces that joins batteries, controllers and loads, and who is fed by which converter.

    What the controllers deliver flows through strips and battery leads as well as what the loads draw.
    """
    world = leads.world
    chemistry, nominal_v = batteries[0][0].chemistry, batteries[0][0].nominal_v
    sets: set[tuple[Uses, tuple[Fed, ...]]] = {(uses, ()) for uses in _battery_ways(leads, batteries, delivered_a)}
    for controller in controllers:
        sets = _added(leads, sets, [(uses, ()) for uses in _controller_ways(leads, controller, batteries[0][0])])
    n_loads = 0
    for use in world.operation.loads:
        load = world.inventory.by_id[use.id]
        assert isinstance(load, Load)
        n_loads += use.count
        ways = _load_ways(leads, load, chemistry, nominal_v)
        for _ in range(use.count):
            sets = _added(leads, sets, ways)
    is_parallel = world.operation.batteries == "parallel"
    n_things = (sum(n for _, n in batteries) if is_parallel else 1) + len(controllers) + n_loads
    most_a = max(delivered_a, world.peak_a(chemistry, nominal_v))
    sets = _added(leads, sets, [(uses, ()) for uses in _strip_ways(leads, n_things, most_a)])
    return _without_more(sets)


def _added(
    leads: Leads, sets: Iterable[tuple[Uses, tuple[Fed, ...]]], ways: Sequence[tuple[Uses, tuple[Fed, ...]]]
) -> set[tuple[Uses, tuple[Fed, ...]]]:
    """Each set with each way added, as far as stock goes."""
    found = set()
    for one, fed in sets:
        for other, more_fed in ways:
            uses = tuple(a + b for a, b in zip(one, other, strict=True))
            if leads.are_owned(uses):
                found.add((uses, tuple(sorted(fed + more_fed))))
    return found


def _without_more(sets: Iterable[tuple[Uses, tuple[Fed, ...]]]) -> list[tuple[Uses, tuple[Fed, ...]]]:
    """Leave out what takes all pieces of another set and more: every piece has mass, price and number."""
    all_sets = sorted(sets)
    return [
        (uses, fed)
        for uses, fed in all_sets
        if not any(
            fed == other_fed and other != uses and all(a <= b for a, b in zip(other, uses, strict=True))
            for other, other_fed in all_sets
        )
    ]


def _battery_ways(leads: Leads, batteries: Sequence[tuple[Battery, int]], delivered_a: float) -> set[Uses]:
    world = leads.world
    bus = world.operation.station_connector
    if bus is None:
        return {leads.none}
    peak_a = world.peak_a(batteries[0][0].chemistry, batteries[0][0].nominal_v)
    is_parallel = world.operation.batteries == "parallel"
    sets = {leads.none}
    for battery, n in batteries:
        fit = {
            run.uses
            for run in leads.runs(battery.connector, bus)
            if run.carries(max(peak_a, min(delivered_a, battery.max_charge_a)))
            and (battery.fused or run.first_fuse_m <= FUSE_WITHIN_M + EPSILON)
        }
        if is_parallel:
            for _ in range(n):
                sets = {uses for uses, _ in _added(leads, [(s, ()) for s in sets], [(f, ()) for f in fit])}
        else:
            # only one battery is in use at a time, so its leads serve the next as well
            sets = {tuple(max(a, b) for a, b in zip(one, other, strict=True)) for one in sets for other in fit}
    return sets


def _controller_ways(leads: Leads, controller: Controller, battery: Battery) -> list[Uses]:
    bus = leads.world.operation.station_connector
    if bus is None:
        return [leads.none]
    full_a = controller.max_charge_a
    most_drop_v = 0.03 * CHARGING_V[battery.chemistry] * battery.nominal_v
    return [
        run.uses
        for run in leads.runs(controller.battery_connector, bus)
        if run.carries(full_a) and (not any(run.uses) or full_a * run.ohm <= most_drop_v + EPSILON)
    ]


def _load_ways(leads: Leads, load: Load, chemistry: str, nominal_v: float) -> list[tuple[Uses, tuple[Fed, ...]]]:
    bus = leads.world.operation.station_connector
    most_w = full_w(load, nominal_v)
    if not needs_converter(load, chemistry, nominal_v):
        if bus is None:
            return [(leads.none, ())]
        return [(run.uses, ()) for run in leads.runs(bus, load.connector) if run.carries(most_w / nominal_v)]
    ways: list[tuple[Uses, tuple[Fed, ...]]] = []
    for converter in leads.inventory.converters:
        if not suits(converter, load, nominal_v):
            continue
        alone = leads.with_one(leads.none, converter)
        fed = ((load.id, converter.id),)
        if bus is None:
            ways.append((alone, fed))
            continue
        before = [
            (run.uses, fed)
            for run in leads.runs(bus, converter.from_connector)
            if run.carries(most_w / converter.efficiency / nominal_v)
        ]
        after = [
            (run.uses, ())
            for run in leads.runs(converter.to_connector, load.connector)
            if run.carries(most_w / converter.out_v)
        ]
        ways += _added(leads, _added(leads, [(alone, ())], before), after)
    return ways


def _strip_ways(leads: Leads, n_things: int, most_a: float) -> list[Uses]:
    """Two ends of one kind that mate with themselves meet as they are, and each strip has room for more.

    Plugs meet only in a strip of sockets, and two such strips do not meet at all.
    """
    bus = leads.world.operation.station_connector
    is_alike = bus is not None and bus.mates_with(bus)
    if bus is None or (is_alike and n_things <= 2):
        return [leads.none]
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
            taken = {strip.id: n for n, strip in zip(numbers, strips, strict=True)}
            found.append(tuple(taken.get(item.id, 0) for item in leads.stock))
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
        and lead_a(lead) >= total_a - EPSILON
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
                    for extra, ohm in options:
                        together = tuple(a + b for a, b in zip(before, extra, strict=True))
                        if leads.are_owned(together):
                            new = (*joined, Joined(u, panel, n, ohm))
                            more.add((together, tuple(sorted(new, key=lambda j: (j.panel.id, j.n, j.ohm)))))
                sets = more
            found |= sets
    return sorted(found, key=lambda way: (way[0], [(j.panel.id, j.n, j.ohm) for j in way[1]]))


def _parts(n: int, most: int = MOST_JOINED) -> list[tuple[int, ...]]:
    """Every way to split n panels into bunches, the largest first."""
    if n == 0:
        return [()]
    return [(first, *rest) for first in range(min(n, most), 0, -1) for rest in _parts(n - first, first)]


def bunch_ways(leads: Leads, panel: Panel, n: int, socket: Connector) -> list[tuple[Uses, float]]:
    """Pieces and resistance of every way from some joined panels to a controller."""
    isc_a = n * panel.isc_a
    second = panel.second_connector
    starts: list[tuple[Uses, Connector, float]] = []
    if n == 1 or (second is not None and second.mates_with(panel.connector)):
        starts.append((leads.none, panel.connector, 0.0))
    else:
        for lead in leads.inventory.leads:
            if lead.ways < n or lead_a(lead) < isc_a - EPSILON:
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
            if run.length_m < leads.world.operation.panel_distance_m - EPSILON or not run.carries(isc_a, 1.56):
                continue
            together = tuple(a + b for a, b in zip(uses, run.uses, strict=True))
            found.append((together, run.ohm + joiner_ohm))
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
        for load_id, converter_id in fed:
            converter = leads.inventory.by_id[converter_id]
            assert isinstance(converter, Converter)
            self.idle_w += converter.idle_ma / 1000 * self.nominal_v
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

    def bank(self, leads: Leads) -> WiredBank:
        """Its batteries, to be judged."""
        return WiredBank(leads, self.batteries, self.units, self.joined, self.fed)


def with_pieces(leads: Leads, kit: Kit, uses: Uses) -> Kit:
    """A kit of devices with leads and converters added."""
    pieces = [(item, n) for item, n in zip(leads.stock, uses, strict=True) if n > 0]
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
                    found.setdefault((whole.counts, *way.physics), way)
    return sorted(found.values(), key=lambda way: way.kit.values(least))


def wired_answer(world: World) -> Answer:
    """The best passing kits by the first objective, leads and converters included; then by the others and by id."""
    leads, least = Leads(world), world.operation.least
    first: int | None = None
    best: dict[tuple[tuple[str, int], ...], Kit] = {}
    for devices in kits_in_order(world):
        # pieces only add to it
        if first is not None and devices.values(least)[0] > first:
            break
        judged: dict[tuple[object, ...], bool] = {}
        for way in wired_ways(leads, devices, first):
            value = way.kit.values(least)[0]
            if first is not None and value > first:
                break
            if way.kit.counts in best:
                continue
            if way.physics not in judged:
                judged[way.physics] = way.bank(leads).passes()
            if judged[way.physics]:
                if first is None or value < first:
                    first, best = value, {}
                best[way.kit.counts] = way.kit
    ids = sorted(world.inventory.by_id)

    def order(kit: Kit) -> tuple[object, ...]:
        # of equal kits the one with the most of the first id
        counts = dict(kit.counts)
        return kit.values(least), [-counts.get(item_id, 0) for item_id in ids]

    return Answer(first, tuple(sorted(best.values(), key=order)))
