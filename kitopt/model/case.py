"""A kit under a sky: what it meets, and how counts become a plant."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import check_time
from kitopt.engine.case import Case
from kitopt.engine.joint import in_banks, simulate
from kitopt.engine.matrix import Matrix
from kitopt.engine.plant import Conditions, Layout
from kitopt.inventory.items import Battery
from kitopt.model.bus import (
    LOWEST_DISCHARGING_DEGC,
    PEUKERT,
    SELF_DISCHARGE_PER_MONTH,
    capacity_share,
    charging_v,
    may_charge,
    rated_w,
)
from kitopt.model.harvest import ShapeBook
from kitopt.model.kit import Fed, Join, KitModel
from kitopt.model.need import draws, total_w
from kitopt.model.own_battery import own_store
from kitopt.operation.clock import on_air, steps_of
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Floats = NDArray[np.float64]


def stored_days(battery: Battery, operation: Operation) -> float:
    """Days since a battery was charged, as the operation says or the inventory; none where neither does."""
    if operation.stored_days is not None:
        return operation.stored_days
    if battery.charged_on is None:
        return 0.0
    return max(0.0, (operation.start.date() - battery.charged_on) / timedelta(days=1))


def missing_wh(battery: Battery, operation: Operation) -> float:
    """Charge missing at the start, for want of charging and by self-discharge since. [Wh]"""
    missing = (1.0 - operation.need.start_charge_share) * battery.usable_wh
    days = stored_days(battery, operation)
    if days:
        lost = SELF_DISCHARGE_PER_MONTH[battery.chemistry] * days / 30.0
        missing += lost * battery.measured_ah * battery.nominal_v
    return min(missing, battery.usable_wh)


def case_under(
    model: KitModel,
    sky: Sky,
    name: str = "base",
    *,
    counts: Floats | None = None,
) -> Case:
    """The case of a kit under a sky: what it meets, and how counts become a plant; of two banks what both meet.

    Given `counts`, the case is good for these alone.

    Raises
    ------
    OutOfTime
    """
    return of_all_stores(model, sky, whole_case(model, sky, name, counts=counts), counts=counts)


def of_all_stores(model: KitModel, sky: Sky, whole: Case, *, counts: Floats | None = None) -> Case:
    """A case of all batteries as what each of them meets that is charged apart, or one bank; as it is without any.

    The controllers and what they draw are with the bank that has the sun, all loads with the one on the air. Counts
    are of both banks, or of the one that is looked at alone. Loads with batteries of their own got through all windows
    that the rules looked at; given counts, they are asked in these windows too.
    """
    operation, stores = model.operation, [whole]

    def bank(number: int) -> Case:
        is_on = on_air(operation, steps_of(operation).edges_s, number)
        conditions = whole.conditions.only(is_on, ~is_on)
        reserve_wh = conditions.reserve_wh / operation.n_banks
        return replace(whole, conditions=replace(conditions, reserve_wh=reserve_wh))

    if operation.bank is not None:
        return bank(operation.bank)
    if operation.n_banks > 1:
        halved = whole.matrix.divided(model.battery_columns, operation.n_banks)
        stores = [replace(bank(number), matrix=halved) for number in range(operation.n_banks)]
    for j in [] if counts is None else [j for j in model.socket_columns if counts[j] > 0]:
        own = replace(own_store(model, j, sky), name=whole.name)
        if not np.all(simulate(own.conditions, own.matrix.column(j)).survives):
            stores.append(own)
    return stores[0] if len(stores) == 1 else in_banks(stores)


def whole_case(
    model: KitModel,
    sky: Sky,
    name: str = "base",
    *,
    counts: Floats | None = None,
) -> Case:
    """The case of a kit under a sky, all batteries as one store.

    Given `counts`, the case is good for these alone: what they do not hold is left out.

    Raises
    ------
    OutOfTime
    """
    operation, bus = model.operation, model.bus
    steps = steps_of(operation)
    book = ShapeBook(sky, steps, bus.nominal_v, charging_v(bus))
    gains = {}
    # where no kit is allowed, no panel is worth looking at; counts that are given are judged whatever is
    for j in [] if counts is None and model.forbids_all else model.join_columns:
        join = model.columns[j].meaning
        assert isinstance(join, Join)
        if model.columns[j].upper > 0 and (counts is None or counts[j] > 0):
            check_time()
            controller = model.units[join.unit].controller
            gains[j] = book.gain(join.panel, controller, n_joined=join.n_joined, lead_ohm=join.ohm(model.contacts))
    fed = model.fed_loads()
    parts = draws(operation, model.inventory, bus.nominal_v)
    step_h = steps.length_h
    # where banks charge apart, converters stay with the loads and controllers with the sun
    idle = operation.n_banks - 1
    demand_shapes = [np.ones_like(step_h)] * operation.n_banks
    for load_id in fed:
        own = [part for part in parts if part.load.id == load_id]
        count = own[0].use.count if own else 1
        demand_shapes.append(total_w(own, step_h) / count)
    cells_degc, is_parallel = steps.spread(sky.battery_degc), operation.batteries == "parallel"
    layout = Layout(len(model.units), len(book.sources), len(demand_shapes))
    brought: dict[tuple[int, int], float] = {}
    for j in model.battery_columns:
        battery = model.battery(j)
        brought[layout.capacity, j] = battery.usable_wh
        brought[layout.missing, j] = missing_wh(battery, operation)
        if is_parallel:
            # side by side each gives its part; in turn the smallest gives all
            brought[layout.rated, j] = rated_w(battery)
        brought[layout.charge_limit, j] = battery.max_charge_a * bus.nominal_v
    for u, j in enumerate(model.unit_columns):
        controller = model.units[u].controller
        brought[layout.limit(u), j] = controller.max_charge_a * bus.nominal_v
        brought[layout.demand(0), j] = controller.idle_ma / 1000.0 * bus.nominal_v
    for j, gain in gains.items():
        join = model.columns[j].meaning
        assert isinstance(join, Join)
        brought[layout.panel(join.unit, gain.source), j] = gain.size_w
    for j in model.fed_columns:
        feeding = model.columns[j].meaning
        assert isinstance(feeding, Fed)
        brought[layout.demand(idle), j] = feeding.converter.idle_ma / 1000.0 * bus.nominal_v
        for load, _ in feeding.loads:
            at = layout.demand(operation.n_banks + fed.index(load.id)), j
            brought[at] = brought.get(at, 0.0) + 1.0 / feeding.converter.efficiency

    direct = [part for part in parts if part.load.id not in fed]
    conditions = Conditions(
        layout=layout,
        shapes=tuple(book.shapes),
        demand_shapes=np.array(demand_shapes),
        load_w=total_w(direct, step_h),
        step_h=step_h,
        capacity_share=capacity_share(bus.chemistry, cells_degc),
        may_charge=may_charge(bus, cells_degc),
        charge_efficiency=bus.charge_efficiency,
        discharge_efficiency=bus.discharge_efficiency,
        reserve_share=operation.need.reserve_share,
        reserve_wh=operation.need.reserve_wh,
        has_charge_limit=is_parallel,
        n_windows=sky.n_windows,
        first_of_cell=steps.first_of_cell,
        may_discharge=cells_degc >= LOWEST_DISCHARGING_DEGC,
        taper_h=bus.taper_h,
        peukert=PEUKERT[bus.chemistry],
        rated_w=0.0 if is_parallel else bus.rated_w,
        sources=tuple(book.sources),
    )
    matrix = Matrix.of((layout.size, len(model.columns)), brought)
    return Case(name, conditions, operation.need.confidence, matrix, pieces=model.pieces(), charging=model.charging)
