"""How chosen counts fare: what is packed and joined, what survives, what is lowest."""

from __future__ import annotations

from collections import Counter
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import replace
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.classes import OverClasses
from kitopt.choice.found import Found, Solved
from kitopt.choice.program import given, used_by
from kitopt.choice.terms import Choice, Floats, Loss, Lowest, Made, Packed, Proof, Status, Survival
from kitopt.engine import Case, Trial
from kitopt.engine.joint import simulate
from kitopt.engine.judge import TOLERANCE_WH, Verdict
from kitopt.engine.plant import Conditions
from kitopt.inventory.items import Inventory
from kitopt.model.bus import BusClass
from kitopt.model.case import case_under
from kitopt.model.feeding import station_peak_a
from kitopt.model.kit import Join, KitModel, Unit
from kitopt.model.need import draws, peak_a
from kitopt.model.wiring_list import Wire, wiring_list
from kitopt.operation.clock import moment_after, steps_of
from kitopt.operation.extras import packed_with_panels
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Bools = NDArray[np.bool_]
KIND_ORDER = ("battery", "controller", "panel", "converter", "lead", "load", "extra")


def kind_of(inventory: Inventory, item_id: str) -> str:
    """The kind of an item by its class, such as "battery"."""
    return type(inventory.by_id[item_id]).__name__.lower()


def listed(inventory: Inventory, totals: Mapping[str, int]) -> tuple[Packed, ...]:
    """Counts by id as a list, by kind and id."""
    packed = [Packed(i, kind_of(inventory, i), n) for i, n in totals.items() if n > 0]
    return tuple(sorted(packed, key=lambda p: (KIND_ORDER.index(p.kind), p.id)))


def packed_of(model: KitModel, counts: Floats) -> tuple[Packed, ...]:
    """What counts of a model put into the bag, loads and extras too, by kind and id."""
    totals = Counter(used_by(model, counts)) + Counter(given(model.operation, model.inventory))
    return listed(model.inventory, totals)


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


def of_found(
    operation: Operation, inventory: Inventory, sky: Sky, found: Found | OverClasses[Solved], tried: Sequence[Solved]
) -> Choice:
    """What a search over bus classes found, as a choice that is not measured yet."""
    proof = Proof.reached(operation.least, found.value, found.bound)
    blocks = tuple((kit.model.bus, tuple(kit.model.blocks)) for one in tried for kit in one.kits)
    base = Choice(operation, inventory, sky, proof.status, proof, solved=tuple(tried), blocks=blocks)
    if found.best is None:
        return base
    counts = found.best.outcome.counts
    assert counts is not None
    if len(found.best.kits) > 1:
        return _of_circuits(base, found.best, counts)
    model = found.best.model
    return replace(base, bus=model.bus, packed=packed_of(model, counts), made=Made(model, sky, counts))


def _of_circuits(base: Choice, solved: Solved, counts: Floats) -> Choice:
    """What several circuits take in all, and each of them, not measured yet."""
    parts = []
    total = Counter(solved.program.in_all(counts)) + Counter(given(base.operation, base.inventory))
    for name, kit in zip(base.operation.circuits, solved.kits, strict=True):
        model, own = kit.model, kit.counts(counts)
        part = Choice(model.operation, model.inventory, base.sky, base.status, Proof("mass", None, None, False))
        made = Made(model, base.sky, own)
        parts.append((name, replace(part, bus=model.bus, packed=packed_of(model, own), made=made)))
    panels = {one.id for _, part in parts for one in part.packed if one.kind == "panel"}
    beside = packed_with_panels(base.operation, base.inventory)
    total.update({x.id: x.count for x in beside if panels and {"panel", *panels} & set(x.hangs_on)})
    return replace(base, packed=listed(base.inventory, total), circuits=tuple(parts))


def measured(choice: Choice, made: Made) -> Choice:
    """The choice with a kit, and how it fares; without a lowest charge where no window is survived."""
    case, model, counts = made.cases[0], made.model, made.counts
    verdict = simulate(case.conditions, case.plant(counts))
    survives = verdict.survives
    wiring, lowest = wiring_list(model, counts), lowest_of(made, verdict, survives)
    banks = _banks_of(choice, made, wiring, survives)
    return replace(
        with_need(choice, model.bus),
        banks=banks,
        bus=model.bus,
        packed=packed_of(model, counts),
        joins=joins_of(model, counts),
        wiring=wiring,
        survival=Survival(
            case.conditions.n_windows, int(np.count_nonzero(survives)), case.n_needed, others=others_of(made)
        ),
        lowest=lowest,
        losses=losses_of(made),
        no_sun_hours=min(bank.no_sun_hours or 0.0 for bank in banks)
        if banks
        else hours_without_sun(case.conditions, case.plant(counts)),
        made=made,
    )


def _banks_of(choice: Choice, made: Made, wiring: Sequence[Wire], survives: Bools) -> tuple[Choice, ...]:
    """Each bank of a kit whose batteries charge apart, as a kit of its own; empty for one store."""
    model, n = made.model, made.model.operation.n_banks
    if n == 1:
        return ()
    counts = made.counts.copy()
    counts[model.battery_columns] /= n
    found = []
    for number in range(n):
        own = Made(replace(model, operation=replace(model.operation, bank=number)), made.sky, counts)
        conditions, plant = own.base
        verdict = simulate(conditions, plant)
        found.append(
            replace(
                with_need(choice, model.bus),
                operation=replace(choice.operation, bank=number),
                bus=model.bus,
                packed=packed_of(model, counts),
                joins=joins_of(model, counts),
                wiring=tuple(replace(w, count=max(1, w.count // n)) if w.kind == "battery" else w for w in wiring),
                survival=Survival(len(survives), int(np.count_nonzero(survives)), made.cases[0].n_needed),
                lowest=lowest_of(own, verdict, survives),
                no_sun_hours=hours_without_sun(conditions, plant),
                made=own,
                solved=(),
            )
        )
    return tuple(found)


def others_of(made: Made) -> tuple[int, int, int] | None:
    """Of the many other windows: how many were tried, survived and needed; None where there are none."""
    if made.trial is None:
        return None
    margin_wh = made.trial.margins_wh(made.counts)
    assert margin_wh is not None
    return others_in(margin_wh, made.trial)


def others_in(margin_wh: Floats, trial: Trial) -> tuple[int, int, int]:
    """How many windows were tried, survived and needed, from their margins. [Wh]"""
    n = len(margin_wh)
    return n, int(np.count_nonzero(margin_wh >= -TOLERANCE_WH)), trial.needed_of(n)


def lowest_of(made: Made, verdict: Verdict, survives: Bools) -> Lowest | None:
    """A kit in the hardest of some windows, at its lowest step; None of no window."""
    if not survives.any():
        return None
    k = int(np.argmin(np.where(survives, verdict.margin_wh, np.inf)))
    step = int(verdict.lowest_step[k])
    held_wh = np.broadcast_to(verdict.held_wh, verdict.free_wh.shape)
    charge_wh = float(verdict.margin_wh[k] + held_wh[k, step])
    return Lowest(
        made.sky.labels[k],
        k,
        step_end(made.model.operation, step),
        charge_wh,
        charge_wh / made.model.bus.nominal_v,
        float(verdict.margin_wh[k]),
    )


def part_of(model: KitModel, counts: Floats, sky: Sky, status: Status, *, is_settled: bool) -> Choice:
    """One kit of several, measured. Its proof is its own: nothing lighter does while the others are as they are.

    Parameters
    ----------
    counts : ndarray
        Of the model's columns.
    is_settled : bool
        Whether it is proved that all are lightest together.
    """
    base = Choice(
        model.operation,
        model.inventory,
        sky,
        status,
        Proof("mass", None, None, is_settled),
        blocks=((model.bus, tuple(model.blocks)),),
    )
    choice = measured(base, Made(model, sky, counts))
    given_g = sum(n * model.inventory.by_id[i].mass_g for i, n in given(model.operation, model.inventory).items())
    bound_g = float(choice.mass_g if is_settled else given_g)
    return replace(choice, proof=Proof.reached("mass", float(choice.mass_g), bound_g))


def margin_at(case: Case, counts: Floats) -> tuple[float, int]:
    """Margin of the last window that has to be survived, and its lowest step. [Wh]"""
    verdict = simulate(case.conditions, case.plant(counts))
    k = int(np.argsort(-verdict.margin_wh, kind="stable")[case.n_needed - 1])
    return float(verdict.margin_wh[k]), int(verdict.lowest_step[k])


def losses_of(made: Made) -> tuple[Loss, ...]:
    """Every unit of a kit that a backup stands in for, and how the kit fares without it."""
    found = []
    for loss, case in zip(made.model.losses, made.cases[1:], strict=True):
        if case.is_asked(made.counts):
            verdict = simulate(case.conditions, case.plant(made.counts))
            survived = verdict.margin_wh[verdict.survives]
            margin_wh = float(np.min(survived)) if len(survived) else float(np.max(verdict.margin_wh))
            found.append(Loss(loss.kind, loss.what, len(verdict.margin_wh), len(survived), margin_wh))
    return tuple(found)


def step_end(operation: Operation, step: int) -> datetime:
    """When a step ends, in the site's time zone."""
    elapsed_h = float(np.cumsum(steps_of(operation).length_h)[step])
    return moment_after(operation, timedelta(hours=elapsed_h))


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


def with_fresh(choice: Choice, fresh: Callable[[], Iterable[Sky]], budget: Budget = UNLIMITED) -> Choice:
    """Judge the chosen kit under windows that no choice has seen, as many as there is time for.

    Parameters
    ----------
    fresh : callable
        Gives skies one after another.
    """
    kits = [one.made for one in choice.parts if one.made is not None]
    if not kits or choice.survival is None or budget.is_over:
        return choice
    tried = survived = 0
    for sky in fresh():
        survives = np.ones(sky.n_windows, dtype=bool)
        for made in kits:
            case = case_under(made.model, sky, "fresh", counts=made.counts)
            survives &= simulate(case.conditions, case.plant(made.counts)).survives
        tried += sky.n_windows
        survived += int(np.count_nonzero(survives))
        if budget.is_over:
            break
    if not tried:
        return choice
    return replace(choice, survival=replace(choice.survival, fresh_tried=tried, fresh_survived=survived))
