"""A kit followed plug by plug, fuse by fuse and swap by swap.

The walk knows connectors, lengths, ratings and fuses from the files, and nothing of how chains are found.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Sequence
from itertools import product

import pytest

from kitopt.choice import Choice
from kitopt.explain.swaps import swap_plan
from kitopt.inventory.items import Battery, Connector, Controller, Converter, Lead, Load, Panel
from kitopt.model.wiring_list import Wire
from kitopt.operation.terms import Operation


def orientations(leads: Sequence[Lead]) -> list[list[tuple[Connector, Connector, float | None]]]:
    """Every way to lay some leads: near end, far end, and how far from the near end the fuse sits."""
    found = []
    for flips in product((False, True), repeat=len(leads)):
        laid = []
        for lead, is_flipped in zip(leads, flips, strict=True):
            at_m = None if not lead.has_fuse else lead.length_m if lead.fuse_at_m is None else lead.fuse_at_m
            if is_flipped:
                at_m = None if at_m is None else lead.length_m - at_m
                laid.append((lead.to_connector, lead.from_connector, at_m))
            else:
                laid.append((lead.from_connector, lead.to_connector, at_m))
        found.append(laid)
    return found


def ways_through(source: Connector, sink: Connector, leads: Sequence[Lead]) -> list[float | None]:
    """For each way in which the plugs fit, how far from the source's plug the first lead's fuse sits."""
    found: list[float | None] = []
    for laid in orientations(leads):
        end = source
        fits = True
        for near, far, _ in laid:
            fits = fits and end.mates_with(near)
            end = far
        if fits and end.mates_with(sink):
            found.append(laid[0][2] if laid else None)
    return found


def leads_of(choice: Choice, wire: Wire) -> list[Lead]:
    found = [choice.inventory.by_id[i] for i in wire.leads]
    assert all(isinstance(lead, Lead) for lead in found)
    return found  # type: ignore[return-value]


BLADES_A = (1, 2, 3, 5, 7.5, 10, 15, 20, 25, 30, 40)
"""From memory."""


def fuse_in(wire: Wire, lead: Lead) -> float | None:
    """The fuse that burns in a lead: its fixed one, or the blade that the list says to fit."""
    return wire.fit_a if lead.fuse_holder else lead.fuse_a


def rating_a(lead: Lead) -> float:
    """What is printed on it; without that the marine table in a bundle (ABYC E-11 style, second-hand)."""
    if lead.max_a is not None:
        return lead.max_a
    table = [(0.823, 20), (1.309, 25), (2.081, 35), (3.309, 45), (5.261, 60), (8.367, 80)]
    return 0.7 * max((amps for area_mm2, amps in table if area_mm2 <= 1.005 * lead.area_mm2), default=0)


def check_ratings(wire: Wire, leads: Sequence[Lead], fuse_a: float, carried: float = 1.0) -> None:
    """Each lead carries the current, and each fuse holds it and guards every wire of the join."""
    for lead in leads:
        assert rating_a(lead) >= carried * wire.amps - 1e-9, (wire, lead)
        fuse = fuse_in(wire, lead)
        assert (fuse is None) is not lead.has_fuse, (wire, lead)
        if fuse is None:
            continue
        assert fuse >= fuse_a - 1e-9, (wire, lead)
        assert fuse <= min(rating_a(other) for other in leads) + 1e-9, (wire, lead)
        if lead.fuse_holder:
            assert lead.fuse_max_a is not None
            assert fuse <= lead.fuse_max_a
            assert fuse in BLADES_A
            # no smaller blade would do, but where charging asks for more
            if wire.kind != "battery":
                assert all(smaller < fuse_a - 1e-9 for smaller in BLADES_A if smaller < fuse)


def fuses_of(choice: Choice, wire: Wire, battery: Battery) -> list[float]:
    """What burns between a battery and the station, as far as it is told."""
    found = [a for lead in leads_of(choice, wire) if (a := fuse_in(wire, lead)) is not None]
    return found + ([battery.fuse_a] if battery.fuse_a is not None else [])


def check_fuses_are_known(choice: Choice) -> None:
    """Every battery's fuse is told; the walk could not see what a fuse of unknown rating lets through."""
    for wire in choice.wiring:
        if wire.kind == "battery":
            battery = choice.inventory.by_id[wire.source]
            assert isinstance(battery, Battery)
            assert fuses_of(choice, wire, battery), wire


def check_protection(choice: Choice) -> None:
    """No wire on the station's side lies behind more than it stands, unless a fuse sits where it begins."""
    bus = choice.operation.station_connector
    before_a = 0.0
    for wire in choice.wiring:
        if wire.kind != "battery":
            continue
        battery = choice.inventory.by_id[wire.source]
        assert isinstance(battery, Battery)
        fuses = fuses_of(choice, wire, battery)
        if not fuses:
            # it is in the plug, and its rating is not told
            assert battery.fused
            continue
        if choice.operation.batteries == "parallel":
            before_a += wire.count * min(fuses)
        else:
            before_a = max(before_a, min(fuses))
    assert bus is not None
    for wire in choice.wiring:
        if wire.kind == "strip":
            assert all(rating_a(lead) >= before_a - 1e-9 for lead in leads_of(choice, wire)), wire
        elif wire.kind in ("controller", "converter") or (wire.kind == "load" and wire.source == "station"):
            leads = leads_of(choice, wire)
            ordered = leads[::-1] if wire.kind == "controller" else leads
            bare = []
            for lead in ordered:
                if lead.has_fuse and min(lead.fuse_at_m or 0.0, lead.length_m - (lead.fuse_at_m or 0.0)) <= 0.18:
                    break
                bare.append(lead)
            assert all(rating_a(lead) >= before_a - 1e-9 for lead in bare), (wire, before_a)


def fuse_share(operation: Operation, load_id: str) -> float:
    """110 % of peaks of speech and Morse, 125 % of all that is continuous."""
    use = next(use for use in operation.loads if use.id == load_id)
    return 1.1 if use.mode in ("ssb", "ssb-compressed", "cw") else 1.25


def check_path(choice: Choice, wire: Wire) -> None:
    """One join: its plugs fit from end to end, and it is long, thick and fused enough."""
    operation, by_id = choice.operation, choice.inventory.by_id
    bus = operation.station_connector
    assert bus is not None
    leads = leads_of(choice, wire)
    if wire.kind in ("strip", "joiner"):
        (lead,) = leads
        assert lead.ways >= 2
        return
    if wire.kind == "panel":
        panel, controller = by_id[wire.source], by_id[wire.sink.split(" #")[0]]
        assert isinstance(panel, Panel)
        assert isinstance(controller, Controller)
        source = panel.connector
        if wire.joined > 1 and leads and leads[0].ways >= 2:
            joiner, *leads = leads
            assert joiner.ways >= wire.joined
            ends = (joiner.from_connector, joiner.to_connector)
            assert any(source.mates_with(end) for end in ends)
            source = next(b for a, b in (ends, ends[::-1]) if panel.connector.mates_with(a))
        elif wire.joined > 1:
            assert panel.second_connector is not None
            assert panel.second_connector.mates_with(panel.connector)
        assert wire.amps == pytest.approx(wire.joined * panel.isc_a)
        assert sum(lead.length_m for lead in leads) >= operation.panel_distance_m - 1e-9
        check_ratings(wire, leads, 1.56 * wire.amps, carried=1.56)
        assert ways_through(source, controller.pv_connector, leads)
        return
    if wire.kind == "load":
        check_ratings(wire, leads, fuse_share(operation, wire.sink) * wire.amps)
    else:
        # at least 110 % of anything; what is continuous asks for more
        check_ratings(wire, leads, (1.25 if wire.kind == "controller" else 1.1) * wire.amps)
    if wire.kind == "battery":
        battery = by_id[wire.source]
        assert isinstance(battery, Battery)
        if battery.fuse_a is not None:
            assert battery.fuse_a >= 1.1 * choice.peak_a - 1e-9
        assert wire.amps >= choice.peak_a - 1e-9
        places = ways_through(battery.connector, bus, leads)
        assert places
        assert battery.fused or any(at_m is not None and at_m <= 0.18 for at_m in places)
    elif wire.kind == "controller":
        controller = by_id[wire.source.split(" #")[0]]
        assert isinstance(controller, Controller)
        assert ways_through(controller.battery_connector, bus, leads)
    elif wire.kind == "converter":
        converter = by_id[wire.sink]
        assert isinstance(converter, Converter)
        assert ways_through(bus, converter.from_connector, leads)
    else:
        load = by_id[wire.sink]
        assert isinstance(load, Load)
        start = bus
        if wire.source != "station":
            converter = by_id[wire.source]
            assert isinstance(converter, Converter)
            start = converter.to_connector
        assert ways_through(start, load.connector, leads)


def check_stock(choice: Choice) -> None:
    """What is packed is what the list uses, piece for piece."""
    in_turn = choice.operation.batteries == "in turn"
    is_moved = choice.operation.battery_lead == "moved"
    used: Counter[str] = Counter()
    shared: Counter[str] = Counter()
    for wire in choice.wiring:
        fused = wire.kind == "battery" and choice.inventory.by_id[wire.source].fused  # type: ignore[attr-defined]
        if wire.kind == "battery" and in_turn and (fused or is_moved):
            shared |= Counter(wire.leads)
        else:
            for lead_id in wire.leads:
                used[lead_id] += wire.count
    used += shared
    assert used == Counter({one.id: one.count for one in choice.packed if one.kind == "lead"})
    assert all(n <= choice.inventory.by_id[i].count for i, n in used.items())


def check_devices(choice: Choice) -> None:
    """Every packed device is joined, as often as it is packed."""
    joined: Counter[str] = Counter()
    for wire in choice.wiring:
        if wire.kind == "battery":
            joined[wire.source] += wire.count
        elif wire.kind == "panel":
            joined[wire.source] += wire.count * wire.joined
        elif wire.kind == "controller":
            joined[wire.source.split(" #")[0]] += 1
        elif wire.kind in ("load", "converter"):
            joined[wire.sink] += wire.count
    devices = ("battery", "panel", "controller", "load", "converter")
    assert joined == Counter({one.id: one.count for one in choice.packed if one.kind in devices})


def check_meeting(choice: Choice) -> None:
    """More than two things meet only at strips, each of which takes one way itself."""
    n_batteries = sum(one.count for one in choice.packed if one.kind == "battery")
    things = 1 if choice.operation.batteries == "in turn" else n_batteries
    strips = 0
    for wire in choice.wiring:
        if wire.kind == "strip":
            (lead,) = leads_of(choice, wire)
            strips += wire.count * (lead.ways - 1)
        elif wire.kind in ("controller", "converter") or (wire.kind == "load" and wire.source == "station"):
            things += wire.count
    assert things <= 2 + strips


def check_order(choice: Choice) -> None:
    kinds = [wire.kind for wire in choice.wiring]
    steps = {"battery": 0, "strip": 1, "converter": 2, "load": 2, "controller": 3, "joiner": 4, "panel": 4}
    assert [steps[kind] for kind in kinds] == sorted(steps[kind] for kind in kinds)


def check_swaps(choice: Choice) -> None:
    """One battery is on at a time, each gives no more than it may, and all that was used came out of some of them."""
    batteries = {one.id: choice.inventory.by_id[one.id] for one in choice.packed if one.kind == "battery"}
    n_batteries = sum(one.count for one in choice.packed if one.kind == "battery")
    plan = swap_plan(choice)
    if choice.operation.batteries != "in turn" or n_batteries == 1:
        assert plan is None
        return
    assert plan is not None
    assert len(plan.order) == len(set(plan.order)) == n_batteries
    usable_ah = {}
    for name in plan.order:
        battery = batteries[name.split(" #")[0]]
        assert isinstance(battery, Battery)
        usable_ah[name] = battery.measured_ah * battery.depth_share
    for spell in plan.spells:
        on, out_ah, at = plan.order[0], dict.fromkeys(plan.order, 0.0), choice.operation.start
        for swap in spell.swaps:
            assert swap.off == on != swap.on
            assert swap.time > at or swap.time == at != choice.operation.start
            assert -1e-6 <= swap.out_ah <= usable_ah[on] + 1e-6
            out_ah[on] = swap.out_ah
            on, at = swap.on, swap.time
        full = choice.operation.need.start_charge_share == 1
        if full and not choice.joins:
            # the last one, which may have been on before, has given the rest
            rest_ah = choice.need_wh / choice.bus.nominal_v - sum(out_ah.values())  # type: ignore[union-attr]
            assert -1e-6 <= rest_ah <= usable_ah[on] - out_ah[on] + 1e-6


def check_kit(choice: Choice) -> None:
    assert choice.status == "found"
    for wire in choice.wiring:
        check_path(choice, wire)
    check_stock(choice)
    check_devices(choice)
    check_meeting(choice)
    check_order(choice)
    check_protection(choice)
    check_swaps(choice)
