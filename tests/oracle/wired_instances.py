"""Small random inventories that need leads: few things mate, and what would join them is scarce.

Every value is invented. A number names an instance.
"""

from __future__ import annotations

import math
import random
from dataclasses import replace
from datetime import datetime
from fractions import Fraction
from functools import cache
from itertools import product
from typing import Any
from zoneinfo import ZoneInfo

from kitopt.inventory.items import Battery, Connector, Controller, Converter, Extra, Inventory, Lead, Load, Panel
from kitopt.operation.terms import LoadUse, Operation, Span
from kitopt.sky.windows import Sky
from oracle.instances import GENDERLESS, SPREADS, Instance, battery, controller, drawing, load, operation, panel, sky
from oracle.search import Kit, kits_in_order
from oracle.volts import full_w, needs_converter
from oracle.wiring import Leads, wired_ways
from oracle.world import World

N_WINDOWS = 20
MOST_DEVICES = 6
MOST_LEADS = 8

LATCH_PLUG, LATCH_SOCKET = Connector("pv-latch", "plug"), Connector("pv-latch", "socket")
BARREL_PLUG, BARREL_SOCKET = Connector("barrel-8", "plug"), Connector("barrel-8", "socket")
FASTON_PLUG, FASTON_SOCKET = Connector("faston-6", "plug"), Connector("faston-6", "socket")
CIGAR_PLUG, CIGAR_SOCKET = Connector("cigar-12", "plug"), Connector("cigar-12", "socket")
USB_PLUG, USB_SOCKET = Connector("usb-a", "plug"), Connector("usb-a", "socket")
SCREW, RING = Connector("screw-4"), Connector("ring-6")


def lead(item_id: str, from_connector: Connector, to_connector: Connector, **changes: Any) -> Lead:
    """A lead of half a metre and 1.5 mm² unless told otherwise."""
    values: dict[str, Any] = {
        "name": item_id,
        "mass_g": 80,
        "price_cents": 500,
        "length_m": 0.5,
        "area_mm2": 1.5,
    }
    return Lead(id=item_id, from_connector=from_connector, to_connector=to_connector, **(values | changes))


def wired_instance(rng: random.Random) -> Instance:
    """At most six devices, loads aside, and eight leads; most can be joined somehow."""
    made = _drawn(rng)
    for _ in range(3):
        # an inventory that cannot be joined at all says little; some stay
        found = _within_reach(rng, made)
        if found is not None:
            return found
        if rng.random() < 0.1:
            break
        made = _drawn(rng)
    return made


@cache
def wired(seed: int) -> Instance:
    """The instance of a number."""
    return wired_instance(random.Random(seed))


def _within_reach(rng: random.Random, made: Instance) -> Instance | None:
    """The loads brought close to what the kits can do, so that the last piece counts; None when none joins."""
    world = World(made.operation, made.inventory, made.sky)
    leads = Leads(world)
    kits = kits_in_order(world)
    rng.shuffle(kits)
    if rng.random() < 0.6:
        factor = _between_two_wires(rng, leads, kits)
    else:
        shares = []
        for kit in kits:
            ways = wired_ways(leads, kit)
            if ways:
                shares.append(rng.choice(ways).bank(leads).share_met())
            if len(shares) == 4:
                break
        factor = max(shares, default=-1.0)
        if 0.0 <= factor < 1.0:
            factor *= rng.choice([rng.uniform(0.6, 1.02), rng.uniform(0.93, 1.0)])
    if factor < 0:
        return None
    if factor < 0.05:
        return made
    if rng.random() < 0.15 and (ways := wired_ways(leads, kits[0])):
        limit_g = rng.choice(ways).kit.mass_g
        made = replace(made, operation=replace(made.operation, mass_limit_g=limit_g))
    made = replace(made, inventory=drawing(factor, made.inventory))
    return _just_carrying(rng, made) if rng.random() < 0.3 and made.inventory.leads else made


def _just_carrying(rng: random.Random, made: Instance) -> Instance:
    """One lead that carries a load's current, or just does not."""
    inventory = made.inventory
    nominal_v = inventory.batteries[0].nominal_v
    amps = [full_w(one, nominal_v) / nominal_v for one in inventory.loads]
    for one, v in product(inventory.loads, inventory.converters):
        amps += [full_w(one, nominal_v) / v.efficiency / nominal_v, full_w(one, nominal_v) / v.out_v]
    chosen = rng.choice(inventory.leads)
    rated = replace(chosen, max_a=rng.choice(amps) * rng.choice([0.98, 1.0, 1.0, 1.02]))
    leads = tuple(rated if x.id == chosen.id else x for x in inventory.leads)
    return replace(made, inventory=replace(inventory, leads=leads))


def _between_two_wires(rng: random.Random, leads: Leads, kits: list[Kit]) -> float:
    """A share of the need that the best of all kits meets with good leads but not with bad ones; -1 when none joins."""
    best, last = -1.0, -1.0
    for kit in kits:
        for way in {way.physics: way for way in wired_ways(leads, kit)}.values():
            bank = way.bank(leads)
            if best < 0 or bank.passes(min(1.0, best + 1e-3)):
                share = bank.share_met()
                best, last = max(best, share), best
    if not 0.0 <= best < 1.0:
        return min(best, 1.0)
    return rng.uniform(max(last, 0.9 * best), best)


def _drawn(rng: random.Random) -> Instance:
    outing = _outing(rng)
    # one draw for all weather: a generator that records its draws would drown in it
    weather = random.Random(rng.getrandbits(32))
    return Instance(outing, _inventory(rng, outing), _sky(weather, outing))


def _outing(rng: random.Random) -> Operation:
    step_h = rng.choice([1.0, 1.5, 2.0])
    first = LoadUse(
        "radio",
        count=rng.choice([1, 1, 1, 2]),
        mode=rng.choice(["on", "ssb", "cw"]),
        full_share=rng.choice([0.4, 1.0]),
        transmit_share=rng.choice([0.1, 0.2, 0.5]),
        spans=rng.choice([(), (), (Span(540, 1260),)]),
        quiet=rng.choice(["listen", "off"]),
    )
    second = LoadUse("phone", full_share=1.0, transmit_share=rng.choice([0.3, 1.0]), quiet="off")
    second = replace(second, count=rng.choice([1, 1, 2, 2]))
    loads = (first, second) if rng.random() < 0.3 else (first,)
    station = rng.choice([GENDERLESS] * 7 + [SCREW, FASTON_SOCKET, None])
    return operation(
        loads,
        step_h * rng.randint(7, 10) - rng.choice([0.0, 0.0, 0.25]),
        start=datetime(2026, 10, 10, rng.choice([6, 8, 9]), tzinfo=ZoneInfo("UTC")),
        confidence=rng.choice([Fraction(4, 5), Fraction(19, 20), Fraction(1)]),
        reserve_share=rng.choice([0.1, 0.0, 0.2]),
        start_charge_share=rng.choice([1.0, 0.8, 0.5]),
        windows=N_WINDOWS,
        step_h=step_h,
        station_connector=station,
        panel_distance_m=rng.choice([0.0, 2.0, 4.0, 5.0, 10.0, 10.0]),
        batteries=rng.choice(["in turn", "in turn", "parallel"]),
        battery_lead=rng.choice(["each", "each", "moved"]),
        mass_limit_g=rng.choice([None, None, None, rng.randrange(2500, 6000, 100)]),
        least=rng.choice(["mass", "price", "items"]),
    )


def _inventory(rng: random.Random, outing: Operation) -> Inventory:
    station = outing.station_connector or GENDERLESS
    pieces = MOST_DEVICES
    # all else plugs together: the eight leads are the panels'
    is_sunny = rng.random() < 0.5
    # many equal panels on one controller, which only joiners bring together
    is_bunch = is_sunny and rng.random() < 0.6

    def count(most: int) -> int:
        nonlocal pieces
        n = min(pieces, rng.randint(1, most))
        pieces -= n
        return n

    chemistry = rng.choice(["lifepo4", "lifepo4", "agm", "li-ion"])
    nominal_v = {"lifepo4": 12.8, "agm": 12.0, "li-ion": 14.4}[chemistry]
    converters = _converters(rng, outing, station)
    pieces -= sum(c.count for c in converters)
    batteries = []
    for i in range(1 if is_sunny else rng.choice([1, 1, 2])):
        capacity_ah = rng.choice([2.0, 3.0, 3.0, 4.5, 6.0])
        mass_g = round(capacity_ah * (rng.choice([110, 140, 170]) if chemistry != "agm" else 320) / 10) * 10
        batteries.append(
            battery(
                f"b{i}",
                capacity_ah,
                count=count(1 if is_sunny else rng.choice([1, 1, 2])),
                mass_g=mass_g,
                price_cents=mass_g * 3,
                chemistry=chemistry,
                nominal_v=nominal_v,
                efficiency=rng.choice([0.95, 0.95, 0.92]),
                depth_share=0.9 if chemistry != "agm" else 0.5,
                max_charge_a=rng.choice([1.0, 2.0]) * capacity_ah * (4 if is_sunny else 1),
                max_discharge_a=rng.choice([2.0, 2.0, 4.0]) * capacity_ah * (2 if is_sunny else 1),
                fused=(is_fused := rng.random() < (0.8 if is_sunny else 0.4)),
                fuse_a=rng.choice([None, None, 10.0, 15.0, 20.0]) if is_fused else None,
                connector=station if is_sunny else rng.choice([station, RING, RING, FASTON_PLUG]),
            )
        )
    controllers = []
    for i in range(1 if is_bunch else rng.choice([1, 1, 1, 2])):
        if pieces < 2:
            break
        kind = rng.choice(["pwm", "mppt", "mppt"])
        controllers.append(
            controller(
                f"c{i}",
                kind,
                rng.choice([4.0, 6.0, 9.0] if is_sunny else [2.0, 3.0, 5.0]),
                count=count(rng.choice([1, 1, 2]) if pieces > 2 and not is_bunch else 1),
                mass_g=(mass_g := rng.choice([60, 100, 150])),
                price_cents=mass_g * rng.choice([20, 30]),
                max_pv_v=rng.choice([30.0, 50.0]),
                max_pv_a=None if is_bunch else rng.choice([None, None, 4.0]),
                efficiency=rng.choice([0.93, 0.97]) if kind == "mppt" else 1.0,
                idle_ma=rng.choice([0.0, 5.0, 20.0]),
                pv_connector=rng.choice([LATCH_SOCKET, LATCH_SOCKET, BARREL_SOCKET, SCREW, GENDERLESS]),
                battery_connector=station if is_sunny else rng.choice([station, RING, SCREW]),
            )
        )
    panels = []
    for i in range(1 if is_bunch else rng.choice([1, 1, 2])):
        if pieces == 0 or not controllers:
            break
        rated_w = rng.choice([14.0, 20.0, 28.0] if is_bunch else [14.0, 20.0, 28.0, 40.0, 60.0])
        mass_g = round(rated_w * rng.choice([8, 12, 20]) / 10) * 10 + 50
        connector = rng.choice([LATCH_PLUG, LATCH_PLUG, BARREL_PLUG, GENDERLESS])
        second = LATCH_SOCKET if connector == LATCH_PLUG else BARREL_SOCKET if connector == BARREL_PLUG else GENDERLESS
        panels.append(
            panel(
                f"p{i}",
                rated_w,
                count=min(pieces, 4) if is_bunch else count(rng.choice([1, 2, 3, 4] if is_sunny else [1, 2])),
                mass_g=mass_g,
                price_cents=mass_g * rng.choice([2, 4]),
                # the lowest do not quite reach a battery through a thin lead on a hot day
                vmp_v=rng.choice([14.6, 15.5, 16.5, 17.6, 18.0, 20.0]),
                voc_per_degc=rng.choice([None, -0.0027, -0.0035]),
                tilts=rng.random() < 0.6,
                output_factor=(worth := rng.choice([0.75, 0.9, 1.1])),
                worth_spread=SPREADS[worth],
                connector=connector,
                second_connector=rng.choice([None, connector] if is_bunch else [None, None, second, connector]),
            )
        )
    loads = _loads(rng, outing, batteries, station, is_sunny)
    leads = _LeadsDrawn(rng)
    leads.draw(outing, station, batteries, controllers, panels, converters, loads)
    extras = (Extra(id="meter", name="meter", mass_g=80, price_cents=100),) if rng.random() < 0.2 else ()
    return Inventory(
        "invented",
        panels=tuple(panels),
        batteries=tuple(batteries),
        controllers=tuple(controllers),
        leads=tuple(sorted(leads.made, key=lambda x: x.id)),
        converters=tuple(converters),
        loads=tuple(loads),
        extras=extras,
        has_leads_file=True,
        fuses=None if rng.random() < 0.6 else {("blade", a): rng.choice([0, 1, 1, 2]) for a in (3, 5, 7.5, 10, 15, 20)},
        contact_ohm=rng.choice([{}, {}, {"pv-latch": 0.05, "screw-4": 0.0}]),
        contact_a=rng.choice([{}, {}, {"screw-4": 6.0, "barrel-8": 7.5}, {"pv-latch": 4.0, "usb-a": 1.0}]),
    )


def _converters(rng: random.Random, outing: Operation, station: Connector) -> list[Converter]:
    if len(outing.loads) == 1:
        return []
    found = []
    for i in range(rng.choice([1, 1, 2])):
        found.append(
            Converter(
                id=f"v{i}",
                name=f"v{i}",
                count=rng.choice([1, 1, 2]) if i == 0 else 1,
                mass_g=rng.choice([40, 60, 90]),
                price_cents=rng.choice([800, 1200]),
                from_connector=rng.choice([station, CIGAR_PLUG]),
                to_connector=rng.choice([USB_SOCKET, USB_SOCKET, BARREL_SOCKET]),
                out_v=rng.choice([5.0, 5.0, 5.0, 5.2, 9.0]),
                max_w=rng.choice([10.0, 15.0, 30.0]),
                efficiency=rng.choice([0.85, 0.92]),
                idle_ma=rng.choice([0.0, 10.0, 40.0]),
                ports=rng.choice([1, 2, 2, 3]),
            )
        )
    return found


def _loads(
    rng: random.Random, outing: Operation, batteries: list[Battery], station: Connector, is_sunny: bool
) -> list[Load]:
    held_wh = sum(b.count * b.usable_wh for b in batteries)
    nominal_v = batteries[0].nominal_v
    use = outing.loads[0]
    mean_w = rng.uniform(0.6, 2.5) * (2.0 if is_sunny else 1.0) * held_wh / outing.hours / use.count
    most_w = nominal_v * rng.choice([0.4, 0.8, 1.0]) * max(b.max_discharge_a for b in batteries) / use.count
    idle_w = min(most_w, mean_w * rng.choice([0.4, 0.8]))
    full_w = min(most_w, max(idle_w, mean_w / use.transmit_share / use.full_share))
    limits = rng.choice([{}, {"supply_v": 13.8}, {"supply_v": 13.8, "lowest_v": 11.0, "highest_v": 17.0}])
    connector = station if is_sunny else rng.choice([station, BARREL_SOCKET, CIGAR_PLUG, FASTON_SOCKET])
    limits = {**limits, "own_lead": rng.random() < 0.2}
    found = [load("radio", idle_w=idle_w, full_w=full_w, connector=connector, **limits)]
    if rng.random() < 0.5:
        found = [
            load("radio", idle_a=idle_w / nominal_v, full_a=full_w / nominal_v, connector=connector, **limits),
        ]
    if len(outing.loads) > 1:
        phone_w = rng.choice([2.0, 5.0, 9.0])
        plug = rng.choice([USB_PLUG, USB_PLUG, USB_PLUG, BARREL_PLUG])
        found.insert(0, load("phone", idle_w=0.0, full_w=phone_w, supply_v=5.0, connector=plug))
    return found


class _LeadsDrawn:
    """Leads drawn for the joins that an inventory needs, until there are eight."""

    def __init__(self, rng: random.Random) -> None:
        self.rng, self.made = rng, list[Lead]()

    def draw(
        self,
        outing: Operation,
        station: Connector,
        batteries: list[Battery],
        controllers: list[Controller],
        panels: list[Panel],
        converters: list[Converter],
        loads: list[Load],
    ) -> None:
        """Leads of one inventory."""
        rng = self.rng
        nominal_v, chemistry = batteries[0].nominal_v, batteries[0].chemistry
        peak_a = 0.0
        for one, use in ((x, u) for x in loads for u in outing.loads if u.id == x.id):
            watts = full_w(one, nominal_v)
            peak_a += use.count * watts / nominal_v
            if not needs_converter(one, chemistry, nominal_v):
                self.join(station, one.connector, watts / nominal_v, n=use.count)
            elif converters:
                chosen = rng.choice(converters)
                self.join(station, chosen.from_connector, watts / chosen.efficiency / nominal_v, n=use.count)
                self.join(chosen.to_connector, one.connector, watts / chosen.out_v, n=use.count)
        wanted = []
        for b in batteries:
            amps = max(peak_a, rng.choice([0.0, min([b.max_charge_a, *(c.max_charge_a for c in controllers)])]))
            wanted.append(lambda b=b, a=amps: self.join(b.connector, station, a, is_fused=not b.fused))
        sun = []
        for c in controllers:
            n = rng.randint(1, c.count)
            sun.append(lambda c=c, n=n: self.join(c.battery_connector, station, c.max_charge_a, n=n))
        distance_m = outing.panel_distance_m
        for p in panels:
            sink = rng.choice(controllers).pv_connector
            n = rng.randint(1, p.count)
            amps = n * p.isc_a
            sun.append(lambda p=p, sink=sink, a=amps: self.join(p.connector, sink, a, length_m=distance_m, pv=True))
            if rng.random() < 0.5 or p.count > 2:
                many, single = rng.choice(
                    [(mate(p.connector), p.connector), (sink, mate(sink)), (mate(p.connector), mate(sink))]
                )
                for _ in range(rng.choice([1, 1, 2])):
                    sun.append(lambda ends=(single, many), a=amps: self.joiner(*ends, a, most_ways=4))
                if rng.random() < 0.5:
                    sun.append(lambda p=p, sink=sink, a=p.isc_a: self.join(p.connector, sink, a, pv=True))
        rng.shuffle(wanted)
        rng.shuffle(sun)
        if controllers:
            amps = max(peak_a, rng.choice([c.max_charge_a for c in controllers]))
            sun.insert(0, lambda: self.joiner(station, station, amps, most_ways=6))
        for step in [*wanted[:1], *sun, *wanted[1:]]:
            step()
        # a lighter, thicker or fused one of the same kind makes a choice of it
        while self.made and self.room > 0 and rng.random() < 0.8:
            old = rng.choice(self.made)
            mass_g = max(10, round(old.mass_g * rng.choice([0.5, 0.8, 1.3])))
            changes = {"mass_g": mass_g, "count": 1, "price_cents": 5 * mass_g}
            changes |= rng.choice(
                [
                    {"area_mm2": rng.choice([0.3, 0.5, 0.75, 2.5, 4.0])},
                    {"area_mm2": old.area_mm2 * rng.choice([0.5, 2.0])},
                    {"length_m": old.length_m * rng.choice([0.8, 1.5])},
                    {"fuse_a": rng.choice([None, 5.0, 10.0]), "fuse_at_m": rng.choice([None, 0.1])},
                    {"max_a": rng.choice([None, 3.0, 15.0])},
                ]
            )
            self.made.append(replace(old, id=self.next_id, **changes))

    @property
    def room(self) -> int:
        """Leads that may still be made."""
        return MOST_LEADS - sum(x.count for x in self.made)

    @property
    def next_id(self) -> str:
        """In no order that the ends or the masses have."""
        return f"{self.rng.choice('klmnw')}{len(self.made)}"

    def join(
        self,
        source: Connector,
        sink: Connector,
        amps: float,
        *,
        n: int = 1,
        length_m: float = 0.0,
        is_fused: bool = False,
        pv: bool = False,
    ) -> None:
        """One lead or two between two ends for a current, where none is yet or for luck."""
        rng = self.rng
        if source.mates_with(sink) and length_m == 0 and not is_fused and rng.random() < 0.8:
            return
        if rng.random() < 0.35 and self.reused(mate(source), mate(sink)):
            # contested: whoever comes first has it
            return
        ends = [mate(source), mate(sink)]
        if rng.random() < 0.35 and self.room >= 2:
            middle = rng.choice([SCREW, GENDERLESS, LATCH_PLUG, LATCH_SOCKET, RING])
            ends = [ends[0], middle, mate(middle), ends[1]]
        lengths = [length_m, 0.1] if rng.random() < 0.5 else [0.1, length_m]
        for i in range(0, len(ends), 2):
            piece_m = lengths[i // 2] if len(ends) > 2 else length_m
            self.make(ends[i], ends[i + 1], amps, n, piece_m, is_fused=is_fused and i == 0, pv=pv)
            if pv and self.room > 0 and piece_m > 1 and rng.random() < 0.7:
                # light and thin, or heavy and thick
                old = self.made[-1]
                mass_g = round(old.mass_g * rng.choice([1.5, 2.5]))
                thick = {"area_mm2": old.area_mm2 * rng.choice([2.0, 3.0, 5.0]), "mass_g": mass_g, "count": 1}
                self.made.append(replace(old, id=self.next_id, price_cents=5 * mass_g, **thick))

    def reused(self, one: Connector, other: Connector) -> bool:
        """Whether there is a lead of those ends already."""
        return any({x.from_connector, x.to_connector} == {one, other} and x.ways == 1 for x in self.made)

    def make(
        self, one: Connector, other: Connector, amps: float, n: int, length_m: float, *, is_fused: bool, pv: bool
    ) -> None:
        """One type of lead, written either way round; ratings and fuses lie close to the current."""
        rng = self.rng
        n = min(n, self.room)
        if n < 1:
            return
        length_m += rng.choice([0.15, 0.3, 0.5, 1.0]) if length_m < 1 else rng.choice([0.0, 1.0])
        area_mm2 = rng.choice([0.3, 0.5, 0.52, 0.82, 1.31, 2.08] if pv else [0.52, 0.82, 1.0, 1.31, 1.5, 2.08, 3.31])
        fuse_a, fuse_at_m = None, None
        if is_fused or rng.random() < (0.2 if pv else 0.15):
            fuse_a = rng.choice([amps * rng.choice([1.2, 1.25, 1.3, 1.5, 1.56, 1.6, 2.0]), 3.0, 5.0, 7.5])
            fuse_at_m = rng.choice([0.05, 0.1, 0.15, 0.18, 0.2, None])
        max_a = rng.choice([None, None, amps * rng.choice([0.95, 1.0, 1.1, 1.3]), 4.0, 8.0, 15.0, 15.0])
        if fuse_a is not None and rng.random() < 0.7:
            max_a = max(fuse_a, max_a or 0.0)
        holder: dict[str, Any] = {}
        if fuse_a is not None and rng.random() < 0.5:
            holder = {"fuse_holder": "blade", "fuse_max_a": rng.choice([5.0, 10.0, 20.0, 30.0])}
            fuse_a = rng.choice([None, None, 5.0])
            fuse_at_m = rng.choice([0.05, 0.1, 0.15])
        if rng.random() < 0.5:
            one, other = other, one
            if fuse_at_m is not None:
                fuse_at_m = max(0.0, length_m - fuse_at_m)
        mass_g = max(10, round(2 * length_m * area_mm2 * 12 + rng.choice([20, 40])))
        self.made.append(
            lead(
                self.next_id,
                one,
                other,
                count=n,
                mass_g=mass_g,
                price_cents=None if rng.random() < 0.03 else mass_g * rng.choice([3, 6]),
                length_m=length_m,
                area_mm2=area_mm2,
                fuse_a=fuse_a,
                fuse_at_m=fuse_at_m,
                max_a=max_a,
                **holder,
            )
        )

    def joiner(self, single: Connector, many: Connector, amps: float, *, most_ways: int) -> None:
        """A strip or a Y, written either way round."""
        rng = self.rng
        if self.room < 1:
            return
        ends = [single, many]
        rng.shuffle(ends)
        mass_g = rng.choice([40, 60, 90])
        self.made.append(
            lead(
                self.next_id,
                *ends,
                count=min(self.room, rng.choice([1, 1, 2])),
                mass_g=mass_g,
                price_cents=mass_g * 10,
                ways=rng.randint(2, most_ways),
                length_m=rng.choice([0.2, 0.5, 1.0]),
                area_mm2=rng.choice([0.3, 0.52, 1.0, 2.08]),
                max_a=rng.choice([None, None, amps * rng.choice([0.95, 1.0, 1.2]), 20.0]),
            )
        )


def mate(connector: Connector) -> Connector:
    """What pushes into a connector."""
    side = {"": "", "plug": "socket", "socket": "plug"}[connector.side]
    return Connector(connector.family, side)  # type: ignore[arg-type]


def _sky(rng: random.Random, outing: Operation) -> Sky:
    n, step_h = outing.n_steps, outing.need.step_h
    first_h = outing.start.hour
    height = [max(0.0, math.sin((first_h + (t + 0.5) * step_h - 6) / 12 * math.pi)) for t in range(n)]
    strength, spread = rng.choice([700.0, 1000.0, 1150.0]), rng.choice([0.3, 0.6])
    coldest_degc = rng.choice([-8.0, -1.0, 4.0, 12.0])
    aimed = []
    for _ in range(N_WINDOWS):
        day = 1.0 - spread * rng.random()
        aimed.append([strength * h * day * rng.uniform(0.5, 1.0) for h in height])
    air = [[coldest_degc + rng.uniform(0.0, 3.0) + 8.0 * h for h in height] for _ in aimed]
    return sky(
        aimed,
        step_h=step_h,
        flat_wm2=[[w * rng.uniform(0.55, 0.9) for w in row] for row in aimed],
        panel_degc=[[c + w / 22 for c, w in zip(cold, row, strict=True)] for cold, row in zip(air, aimed, strict=True)],
        battery_degc=air,
        coldest_degc=coldest_degc,
    )
