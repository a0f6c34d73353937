"""How chosen counts fare: what is packed and joined, what survives, what is lowest."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np

from kitopt.engine.judge import TOLERANCE_WH, simulate
from kitopt.engine.plant import Conditions
from kitopt.inventory.items import Inventory
from kitopt.model.bus import BusClass
from kitopt.model.kit import Join, KitModel, Unit, case_under
from kitopt.model.need import draws, peak_a
from kitopt.model.station_side import station_peak_a
from kitopt.model.wiring_list import wiring_list
from kitopt.operation.clock import steps_of
from kitopt.operation.terms import Operation
from kitopt.pack.terms import Choice, Floats, Loss, Lowest, Packed, Solved, Survival
from kitopt.sky.windows import Sky

FRESH_WINDOWS = 5000
KIND_ORDER = ("battery", "controller", "panel", "converter", "lead", "load", "extra")


def kind_of(inventory: Inventory, item_id: str) -> str:
    """The kind of an item by its class, such as "battery"."""
    return type(inventory.by_id[item_id]).__name__.lower()


def packed_of(model: KitModel, counts: Floats) -> tuple[Packed, ...]:
    """What counts of a model put into the bag, loads and extras too, by kind and id."""
    totals: dict[str, int] = {}
    for column, count in zip(model.columns, counts, strict=True):
        for item_id, n in column.uses.items():
            if round(count) > 0:
                totals[item_id] = totals.get(item_id, 0) + n * round(count)
    for use in model.operation.loads:
        totals[use.id] = totals.get(use.id, 0) + use.count
    for extra in model.inventory.extras:
        totals[extra.id] = extra.count
    packed = [Packed(i, kind_of(model.inventory, i), n) for i, n in totals.items() if n > 0]
    return tuple(sorted(packed, key=lambda p: (KIND_ORDER.index(p.kind), p.id)))


def joins_of(model: KitModel, counts: Floats) -> tuple[tuple[Join, Unit, int], ...]:
    """Panels, the controller that they feed, and how many such joins, by the counts of a model."""
    found = []
    for j in model.join_columns:
        join = model.columns[j].meaning
        if isinstance(join, Join) and round(counts[j]) > 0:
            found.append((join, model.units[join.unit], round(counts[j])))
    return tuple(found)


def with_need(choice: Choice, bus: BusClass | None) -> Choice:
    """The choice with what the loads ask for on a bus class."""
    nominal_v = bus.nominal_v if bus else 12.8
    parts = draws(choice.operation, choice.inventory, nominal_v)
    need_wh = float(sum(np.sum(part.load_wh) for part in parts))
    most_a = station_peak_a(choice.operation, choice.inventory, bus) if bus else peak_a(parts)
    return replace(choice, need_wh=need_wh, peak_a=most_a)


def measured(choice: Choice, solved: Solved) -> Choice:
    """The choice with the kit that a class's counts make, and how it fares."""
    counts = solved.outcome.counts
    assert counts is not None
    case = solved.plan.cases[0]
    verdict = simulate(case.conditions, case.matrix @ counts)
    survives = verdict.survives
    margins = np.where(survives, verdict.margin_wh, np.inf)
    k = int(np.argmin(margins))
    step = int(verdict.lowest_step[k])
    held_wh = np.broadcast_to(verdict.held_wh, verdict.free_wh.shape)
    charge_wh = float(verdict.margin_wh[k] + held_wh[k, step])
    nominal_v = solved.model.bus.nominal_v
    return replace(
        choice,
        bus=solved.model.bus,
        packed=packed_of(solved.model, counts),
        joins=joins_of(solved.model, counts),
        wiring=wiring_list(solved.model, counts),
        survival=Survival(case.conditions.n_windows, int(np.count_nonzero(survives)), case.n_needed),
        lowest=Lowest(
            choice.sky.labels[k],
            k,
            step_end(choice.operation, step),
            charge_wh,
            charge_wh / nominal_v,
            float(verdict.margin_wh[k]),
        ),
        losses=losses_of(solved, counts),
        no_sun_hours=hours_without_sun(case.conditions, case.matrix @ counts),
    )


def losses_of(solved: Solved, counts: Floats) -> tuple[Loss, ...]:
    """Every unit of a kit that a backup stands in for, and how the kit fares without it."""
    found = []
    for loss, case in zip(solved.model.losses, solved.plan.cases[1:], strict=True):
        if case.is_asked(counts):
            verdict = simulate(case.conditions, case.plant(counts))
            survived = verdict.margin_wh[verdict.survives]
            margin_wh = float(np.min(survived)) if len(survived) else float(np.max(verdict.margin_wh))
            found.append(Loss(loss.kind, loss.what, len(verdict.margin_wh), len(survived), margin_wh))
    return tuple(found)


def step_end(operation: Operation, step: int) -> datetime:
    """When a step ends, in the site's time zone."""
    elapsed_h = float(np.cumsum(steps_of(operation).length_h)[step])
    moment = operation.start.astimezone(UTC) + timedelta(hours=elapsed_h)
    return moment.astimezone(operation.site.timezone)


def hours_without_sun(conditions: Conditions, plant: Floats) -> float:
    """Hours until what must be held back is reached with no sun at all, in the coldest window. [h]"""
    layout = conditions.layout
    dark = plant.copy()
    dark[layout.panel(0, 0) : layout.demand(0)] = 0.0
    only = conditions.window(0) if conditions.capacity_share.shape[0] == 1 else conditions
    verdict = simulate(only, dark)
    start_wh = plant[layout.capacity] * (1 - conditions.reserve_share) - plant[layout.missing] - conditions.reserve_wh
    ends_h = np.concatenate([[0.0], np.cumsum(conditions.step_h)])
    hours = float(ends_h[-1])
    for row in verdict.free_wh:
        below = np.flatnonzero(row < -TOLERANCE_WH)
        if len(below):
            t = int(below[0])
            before_wh = max(0.0, float(row[t - 1]) if t > 0 else start_wh)
            part = before_wh / (before_wh - float(row[t]))
            hours = min(hours, float(ends_h[t] + part * (ends_h[t + 1] - ends_h[t])))
    return hours


def with_fresh(choice: Choice, fresh: Callable[[], Iterable[Sky]]) -> Choice:
    """Judge the chosen kit under windows that no choice has seen.

    Parameters
    ----------
    fresh : callable
        Gives skies one after another.
    """
    best = chosen(choice)
    if best is None or choice.survival is None or best.outcome.counts is None:
        return choice
    tried = survived = 0
    for sky in fresh():
        case = case_under(best.model, sky, "fresh", counts=best.outcome.counts)
        verdict = simulate(case.conditions, case.matrix @ best.outcome.counts)
        tried += sky.n_windows
        survived += int(np.count_nonzero(verdict.survives))
    return replace(choice, survival=replace(choice.survival, fresh_tried=tried, fresh_survived=survived))


def chosen(choice: Choice) -> Solved | None:
    """The class that the chosen kit belongs to."""
    for solved in choice.solved:
        if choice.bus is not None and solved.model.bus == choice.bus and solved.outcome.counts is not None:
            return solved
    return None
