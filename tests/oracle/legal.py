"""Whether a kit obeys every rule, one `if` a rule."""

from __future__ import annotations

from collections.abc import Sequence

from kitopt.inventory.items import Battery, Controller, Panel
from oracle.world import CHARGING_V, World

EPSILON = 1e-9
"""So that 3 × 1.2 A does not break a limit of 3.6 A."""

LoadedUnit = tuple[Controller, Sequence[tuple[Panel, int]]]


def cold_voc_v(panel: Panel, coldest_degc: float) -> float:
    """Open-circuit voltage on the coldest day; the factors are those of NEC table 690.7(A), from memory."""
    if panel.voc_per_degc is not None:
        return panel.voc_v * (1 + panel.voc_per_degc * (coldest_degc - 25))
    for degc, factor in ((-20, 1.18), (-25, 1.20), (-30, 1.21), (-35, 1.23), (-40, 1.25)):
        if coldest_degc >= degc:
            return panel.voc_v * factor
    raise AssertionError("colder than the table")


def batteries_are_legal(world: World, batteries: Sequence[tuple[Battery, int]]) -> bool:
    """The rules that need no panel."""
    if not batteries:
        return False
    if len({(b.chemistry, b.nominal_v) for b, _ in batteries}) > 1:
        return False
    peak_a = world.peak_a(batteries[0][0].chemistry, batteries[0][0].nominal_v)
    if world.operation.batteries == "parallel":
        if sum(n * b.max_discharge_a for b, n in batteries) < peak_a - EPSILON:
            return False
    elif any(b.max_discharge_a < peak_a - EPSILON for b, _ in batteries):
        return False
    if world.operation.air_travel:
        n_middling = 0
        for battery, n in batteries:
            label_wh = battery.capacity_ah * battery.nominal_v
            is_lead = battery.chemistry == "agm"
            if label_wh > (100 if is_lead else 160) + EPSILON:
                return False
            if label_wh > 100 + EPSILON or is_lead:
                n_middling += n
        if n_middling > 2:
            return False
    return True


def unit_is_legal(world: World, controller: Controller, panels: Sequence[tuple[Panel, int]], chemistry: str) -> bool:
    """The rules of one controller and what is plugged into it."""
    if controller.chemistries and chemistry not in controller.chemistries:
        return False
    if not panels:
        return True
    limit_v = controller.max_pv_v
    if limit_v is not None and any(cold_voc_v(p, world.coldest_degc) > limit_v + EPSILON for p, _ in panels):
        return False
    volts = [p.vmp_v for p, _ in panels]
    if max(volts) > 1.1 * min(volts) + EPSILON:
        return False
    if controller.max_pv_a is not None and sum(n * p.isc_a for p, n in panels) > controller.max_pv_a + EPSILON:
        return False
    return controller.max_pv_w is None or sum(n * p.rated_w for p, n in panels) <= controller.max_pv_w + EPSILON


def charging_is_legal(world: World, batteries: Sequence[tuple[Battery, int]], units: Sequence[LoadedUnit]) -> bool:
    """What the controllers can deliver stays within what the batteries may take."""
    delivered_a = charging_a(batteries[0][0], units)
    if world.operation.batteries == "parallel":
        return delivered_a <= sum(n * b.max_charge_a for b, n in batteries) + EPSILON
    return delivered_a <= min(b.max_charge_a for b, _ in batteries) + EPSILON


def charging_a(battery: Battery, units: Sequence[LoadedUnit]) -> float:
    """Most current that the controllers can deliver together."""
    charging_v = CHARGING_V[battery.chemistry] * battery.nominal_v
    delivered_a = 0.0
    for controller, panels in units:
        if controller.kind == "pwm":
            from_panels_a = sum(n * p.isc_a for p, n in panels)
        else:
            from_panels_a = sum(n * p.rated_w for p, n in panels) / charging_v
        delivered_a += min(controller.max_charge_a, from_panels_a)
    return delivered_a
