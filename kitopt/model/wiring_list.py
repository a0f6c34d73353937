"""The joins of one kit in the order in which they are made on the ground, with what flows through them."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Iterable
from dataclasses import dataclass, replace
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery, Connector, Load
from kitopt.model.bus import charging_v
from kitopt.model.feeding import CONTINUOUS_FUSE, station_fuse_a, station_peak_a
from kitopt.model.kit import STATION, Fed, Join, KitModel, Link, Socket, Strip
from kitopt.model.need import idle_and_full_w
from kitopt.model.own_battery import SOCKET_V
from kitopt.model.rules import delivered_a
from kitopt.model.station_side import shares_lead
from kitopt.model.wiring import Chain, fits, loop_ohm

Floats = NDArray[np.float64]

WireKind = Literal["battery", "strip", "load", "converter", "controller", "joiner", "panel", "socket"]


def item_at(end: str) -> str:
    """The id of what stands at an end: of equal controllers each bears a number besides."""
    return end.partition(" #")[0]


def strips_of(wiring: Iterable[Wire]) -> list[str]:
    """The strips at which things meet, by id."""
    return [i for wire in wiring if wire.kind == "strip" and wire.source == STATION for i in wire.leads]


BOX, STRIPS = "battery box", "the strips"


def meeting_place(wiring: Iterable[Wire]) -> str:
    """Where batteries, controllers and loads meet: the strip that is packed, else whatever box the battery is in."""
    strips = strips_of(wiring)
    return strips[0] if len(strips) == 1 else STRIPS if strips else BOX


@dataclass(frozen=True)
class Wire:
    """One join of a kit, or some alike.

    Attributes
    ----------
    source, sink : str
        Ids, a controller unit's name, or "station".
    count : int
        Joins of this sort; of batteries in turn, how many use it one after another.
    leads : tuple of str
        Ids of its pieces from the source to the sink, a joiner of panels first; empty where the two plug into
        each other, or where leads are not checked.
    amps : float
        The most that it carries. [A]
    ohm, drop_v : float or None
        Resistance of conductors and contacts, and the drop at those amperes; None where leads are
        not checked. [Ω], [V]
    loss_share : float or None
        Share of the energy at full sun lost in the lead (panels), else the drop over the bus's voltage; 0 where
        the two plug into each other. [0–1]
    fuse_a : float or None
        Smallest fuse in it. [A]
    fit_a : float or None
        Rating that its holders take; None where it has none. [A]
    is_shared : bool
        Whether batteries in turn use its leads one after another.
    least_fuse_a : float or None
        Least fuse that this join could have; None where it needs none of its own. [A]
    is_fused_inside : bool
        Whether the battery brings the fuse.
    joined : int
        Panels that share each of these joins.
    """

    source: str
    sink: str
    kind: WireKind
    count: int
    leads: tuple[str, ...]
    amps: float
    ohm: float | None = None
    drop_v: float | None = None
    loss_share: float | None = None
    fuse_a: float | None = None
    fit_a: float | None = None
    is_shared: bool = False
    least_fuse_a: float | None = None
    is_fused_inside: bool = False
    joined: int = 1


def wiring_list(model: KitModel, counts: Floats) -> tuple[Wire, ...]:
    """Every join of a kit: battery, strip, loads, then controllers, then panels.

    Struck in reverse order. What is not checked for want of a leads.csv or a station connector is
    listed without leads.

    Parameters
    ----------
    counts : ndarray, shape (n_columns,)
        How many of each of the model's columns the kit has.
    """
    kit = _Kit(model, np.rint(counts).astype(int))
    return (
        *kit.batteries(),
        *kit.strips(),
        *kit.loads(),
        *kit.controllers(),
        *kit.panels(),
        *kit.sockets(),
    )


class _Kit:
    """Counts of a model, read as things that are joined."""

    def __init__(self, model: KitModel, counts: NDArray[np.int_]) -> None:
        self.model = model
        self.packed = [(c.meaning, int(n)) for c, n in zip(model.columns, counts, strict=True) if n > 0]
        self.links = [(thing, n) for thing, n in self.packed if isinstance(thing, Link)]
        self.joins = [(thing, n) for thing, n in self.packed if isinstance(thing, Join)]
        self.units = [u for u, x in enumerate(model.unit_columns) if counts[x] > 0]
        self.bus_v = model.bus.nominal_v
        self.fuse_a = station_fuse_a(model.operation, model.inventory, model.bus)
        self.peak_a = station_peak_a(model.operation, model.inventory, model.bus)
        has_leads = model.inventory.has_leads_file
        self.bus: Connector | None = model.operation.station_connector if has_leads else None

    def output_a(self, u: int) -> float:
        """Most current that a controller unit delivers with the panels that it has. [A]"""
        controller = self.model.units[u].controller
        by_panels = sum(n * delivered_a(join, controller, self.model.bus) for join, n in self.joins if join.unit == u)
        return min(controller.max_charge_a, by_panels)

    def batteries(self) -> list[Wire]:
        """Each kind of battery to the station; in turn, one at a time uses the leads."""
        charge_a = math.fsum(self.output_a(u) for u in self.units)
        wires = []
        for battery, n in self.packed:
            if not isinstance(battery, Battery):
                continue
            amps = max(self.peak_a, min(charge_a, battery.max_charge_a))
            links = [(link, k) for link, k in self.links if link.source == battery.id]
            is_shared = shares_lead(self.model, battery)
            if is_shared:
                links = [(link, n) for link, _ in links]
            plugged = n - sum(k for _, k in links)
            chains: list[tuple[Chain | None, int]] = [(link.chain, k) for link, k in links]
            if plugged > 0:
                chains.append((self._direct(battery.connector, self.bus), plugged))
            for chain, k in chains:
                if chain is not None:
                    chain = self._smallest(
                        chain, max(self.fuse_a, CONTINUOUS_FUSE * min(charge_a, battery.max_charge_a))
                    )
                wire = self._wire(battery.id, STATION, "battery", k, chain, amps, is_fused_inside=battery.fused)
                own_a = [a for a in (wire.fuse_a, battery.fuse_a) if a is not None]
                wire = replace(wire, fuse_a=min(own_a, default=None), is_shared=is_shared)
                wires.append(wire)
        return wires

    def _smallest(self, chain: Chain, least_a: float) -> Chain:
        """A battery's leads with the smallest fuses that hold; of an owned stock those that were counted."""
        if self.model.inventory.fuses is not None or not chain.holders:
            return chain
        return next(iter(fits(replace(chain, fit_a=None), least_a)), chain)

    def strips(self) -> list[Wire]:
        """Strips and joiners at which things meet."""
        charge_a = math.fsum(self.output_a(u) for u in self.units)
        wires = []
        for strip, n in self.packed:
            if isinstance(strip, Strip) and strip.unit is None:
                is_charging = strip.at == self.model.charged_at
                amps = max(self.peak_a if strip.at == STATION else 0.0, charge_a if is_charging else 0.0)
                ohm = loop_ohm(strip.lead) + self.model.contacts.pair_ohm(strip.lead.from_connector.family)
                wires.append(
                    Wire(
                        *(strip.at, strip.at, "strip", n, (strip.lead.id,), amps, ohm, amps * ohm),
                        loss_share=amps * ohm / self.bus_v,
                        fuse_a=strip.lead.fuse_a,
                    )
                )
        return wires

    def loads(self) -> list[Wire]:
        """Converters with their loads, then the other loads in the order of the operation."""
        wires = self._fed()
        for use in self.model.operation.loads:
            load = self.model.inventory.by_id[use.id]
            assert isinstance(load, Load)
            _, full_w = idle_and_full_w(load, self.bus_v)
            if any(isinstance(thing, Fed) and thing.n_of(use.id) for thing, _ in self.packed):
                continue
            amps = full_w / self.bus_v
            links = [(link, n) for link, n in self.links if link.sink == use.id]
            for link, n in links:
                wires.append(self._wire(STATION, use.id, "load", n, link.chain, amps))
            own = [(thing, n) for thing, n in self.packed if isinstance(thing, Socket) and thing.load.id == use.id]
            plugged = use.count - sum(n for _, n in (*links, *own))
            if plugged > 0:
                chain = None if self.bus is None else self._direct(self.bus, load.connector)
                wires.append(self._wire(STATION, use.id, "load", plugged, chain, amps))
        return wires

    def _fed(self) -> list[Wire]:
        """Converters, each followed by its loads."""
        wires = []
        for thing, n in self.packed:
            if not isinstance(thing, Fed):
                continue
            converter = thing.converter
            full_w = [idle_and_full_w(load, self.bus_v)[1] for load, _ in thing.loads]
            before_a = math.fsum(full_w) / converter.efficiency / self.bus_v
            before = thing.before if self.bus is not None else None
            wires.append(self._wire(STATION, converter.id, "converter", n, before, before_a))
            # loads that are alike are told as one
            alike = Counter(zip((load.id for load, _ in thing.loads), (c for _, c in thing.loads), full_w, strict=True))
            for (load_id, chain, watts), k in alike.items():
                after = chain if self.bus is not None else None
                amps = watts / converter.out_v
                wires.append(self._wire(converter.id, load_id, "load", n * k, after, amps, at_v=converter.out_v))
        return wires

    def controllers(self) -> list[Wire]:
        """Controllers to the station, before any panel is."""
        wires = []
        for u in self.units:
            unit = self.model.units[u]
            links = [link for link, _ in self.links if link.source == unit.name and link.sink == STATION]
            chain = links[0].chain if links else self._direct(unit.controller.battery_connector, self.bus)
            wires.append(self._wire(unit.name, self.model.charged_at, "controller", 1, chain, self.output_a(u)))
        return wires

    def panels(self) -> list[Wire]:
        """Joiners at the controllers' inputs, then the panels."""
        wires = []
        for u in self.units:
            unit = self.model.units[u]
            isc_a = sum(n * join.n_joined * join.panel.isc_a for join, n in self.joins if join.unit == u)
            for strip, _ in self.packed:
                if isinstance(strip, Strip) and strip.unit == u:
                    wires.append(Wire("panels", unit.name, "joiner", 1, (strip.lead.id,), isc_a))
            wires += [self._panel(join, n) for join, n in self.joins if join.unit == u]
        return wires

    def sockets(self) -> list[Wire]:
        """Loads that live on their own batteries, each at its panel's socket."""
        return [
            self._wire(
                *("its own battery" if thing.panel is None else thing.panel.id, thing.load.id, "socket", n),
                *(thing.chain, 0.0 if thing.panel is None else (thing.panel.usb_w or 0.0) / SOCKET_V),
                at_v=SOCKET_V,
            )
            for thing, n in self.packed
            if isinstance(thing, Socket)
        ]

    def _panel(self, join: Join, n: int) -> Wire:
        panel, unit = join.panel, self.model.units[join.unit]
        amps = join.n_joined * panel.isc_a
        if join.chain is None:
            return Wire(panel.id, unit.name, "panel", n, (), amps, joined=join.n_joined)
        ohm = join.ohm(self.model.contacts)
        joiner = () if join.joiner is None else (join.joiner.id,)
        leads = (*joiner, *join.chain.ids)
        return Wire(
            *(panel.id, unit.name, "panel", n, leads, amps, ohm, amps * ohm),
            loss_share=self._lost_at_full_sun(join, ohm) if leads else 0.0,
            fuse_a=min(join.chain.fuses_a, default=None),
            fit_a=join.chain.fit_a,
            joined=join.n_joined,
        )

    def _lost_at_full_sun(self, join: Join, ohm: float) -> float:
        """Share of the energy that the leads cost in 1000 Wm⁻² at 25 °C.

        Through tracking I²R over the power; else nothing until the panel's voltage less the drop
        falls below the battery's, and from there on along the line to open circuit.
        """
        panel = join.panel
        current_a = join.n_joined * panel.imp_a * panel.output_factor
        if self.model.units[join.unit].controller.kind == "mppt":
            return current_a**2 * ohm / (join.n_joined * panel.rated_w * panel.output_factor)
        needed_v = charging_v(self.model.bus) + current_a * ohm
        share = (panel.voc_v - needed_v) / max(panel.voc_v - panel.vmp_v, 1e-6)
        return 1.0 - min(1.0, max(0.0, share))

    def _direct(self, source: Connector, sink: Connector | None) -> Chain | None:
        return None if sink is None else Chain(source, sink, ())

    def _wire(
        self,
        source: str,
        sink: str,
        kind: WireKind,
        count: int,
        chain: Chain | None,
        amps: float,
        *,
        at_v: float | None = None,
        is_fused_inside: bool = False,
    ) -> Wire:
        wire = Wire(
            source,
            sink,
            kind,
            count,
            () if chain is None else chain.ids,
            amps,
            fuse_a=None if chain is None else min(chain.fuses_a, default=None),
            fit_a=None if chain is None else chain.fit_a,
            least_fuse_a=self.fuse_a if kind == "battery" else None,
            is_fused_inside=is_fused_inside,
        )
        if chain is None:
            return wire
        ohm = chain.ohm(self.model.contacts)
        lost_share = amps * ohm / (self.bus_v if at_v is None else at_v) if chain.pieces else 0.0
        return replace(wire, ohm=ohm, drop_v=amps * ohm, loss_share=lost_share)
