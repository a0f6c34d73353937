"""One kit for one operation: builds the plan of each bus class, chooses, and measures the choice."""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.backup import backup_cases, lay_backups
from kitopt.bus import BusClass, bus_classes
from kitopt.choose import Case, Objective, Outcome, Plan, Reporter, choose
from kitopt.choose.strongest import strongest
from kitopt.inventory.items import Inventory, Item
from kitopt.kit import Block, Column, Join, KitModel, Unit, add_stock, case_under, lay_out, order_equal_units
from kitopt.need import draws, peak_a, step_lengths_h, total_wh
from kitopt.operation.terms import Operation
from kitopt.panel_side import lay_panels
from kitopt.plant import Conditions
from kitopt.rules import apply_rules
from kitopt.simulate import TOLERANCE_WH, simulate
from kitopt.sky.windows import Sky
from kitopt.station_side import lay_station, station_peak_a
from kitopt.wiring_list import Wire, wiring_list

Floats = NDArray[np.float64]
Status = Literal["found", "no-kit", "time-limit"]

FRESH_WINDOWS = 5000
UNPRICED_CENTS = 10**7
"""Stands in for a missing price where price is not what counts first, so that a known price wins."""


@dataclass(frozen=True)
class Proof:
    """How sure the answer is. Objective and bound are in grams, cents or pieces."""

    objective: float | None
    bound: float | None
    proved: bool

    @property
    def gap(self) -> float | None:
        """Distance of the bound from the objective, as a share of the objective."""
        if self.objective is None or self.bound is None:
            return None
        return 0.0 if self.proved else max(0.0, (self.objective - self.bound) / max(1.0, self.objective))


@dataclass(frozen=True)
class Packed:
    """Some of one item in the kit."""

    id: str
    kind: str
    count: int


@dataclass(frozen=True)
class Survival:
    """Windows tried, survived, and needed for the confidence; then those never seen before."""

    tried: int
    survived: int
    needed: int
    fresh_tried: int = 0
    fresh_survived: int = 0


@dataclass(frozen=True)
class Lowest:
    """The hardest window that is survived, at its lowest step.

    ``charge_wh`` counts from the allowed depth up; ``charge_ah`` is that at the nominal voltage.
    """

    window: str
    number: int
    time: datetime
    charge_wh: float
    charge_ah: float
    margin_wh: float


@dataclass(frozen=True)
class Loss:
    """How the kit fares without one unit, all but the loads that must run switched off."""

    kind: str
    what: str
    tried: int
    survived: int
    margin_wh: float
    """Lowest margin of the windows that are survived. [Wh]"""


@dataclass(frozen=True)
class Shortfall:
    """The strongest kit when none works, and where it falls short."""

    packed: tuple[Packed, ...]
    joins: tuple[tuple[Join, Unit, int], ...]
    shortfall_wh: float
    time: datetime | None
    solved: Solved | None = field(default=None, repr=False, compare=False)
    counts: Floats | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class Choice:
    """What came of packing one kit.

    ``packed`` holds loads and extras too, sorted by kind and id; it is empty when no kit was found.
    """

    operation: Operation
    inventory: Inventory
    sky: Sky
    status: Status
    proof: Proof
    packed: tuple[Packed, ...] = ()
    joins: tuple[tuple[Join, Unit, int], ...] = ()
    wiring: tuple[Wire, ...] = ()
    bus: BusClass | None = None
    survival: Survival | None = None
    lowest: Lowest | None = None
    losses: tuple[Loss, ...] = ()
    need_wh: float = 0.0
    peak_a: float = 0.0
    no_sun_hours: float | None = None
    blocks: tuple[tuple[BusClass, tuple[Block, ...]], ...] = ()
    shortfall: Shortfall | None = None
    solved: tuple[Solved, ...] = field(default=(), repr=False, compare=False)

    @property
    def mass_g(self) -> int:
        """Mass of the whole kit. [g]"""
        return sum(p.count * self.inventory.by_id[p.id].mass_g for p in self.packed)

    @property
    def price_cents(self) -> int:
        """Price of what has one. [1/100]"""
        return sum(p.count * (self.inventory.by_id[p.id].price_cents or 0) for p in self.packed)


@dataclass(frozen=True)
class Solved:
    """One bus class, solved: what reasons are drawn from."""

    model: KitModel
    plan: Plan
    outcome: Outcome


def build_model(operation: Operation, inventory: Inventory, bus: BusClass, sky: Sky) -> KitModel:
    """Columns, rows and rules of one kit on one bus class."""
    model = lay_out(operation, inventory, bus)
    amps = station_peak_a(operation, inventory, bus)
    lay_panels(model)
    lay_station(model, amps)
    order_equal_units(model)
    apply_rules(model, sky.coldest_degc, amps)
    lay_backups(model)
    add_stock(model)
    return model


def cases_under(model: KitModel, sky: Sky, name: str = "base") -> tuple[Case, ...]:
    """Every case that a kit must pass under a sky: all in order first, then each loss."""
    base = case_under(model, sky, name)
    return (base, *backup_cases(model, base))


def build_plan(model: KitModel, cases: tuple[Case, ...]) -> Plan:
    """A plan of one kit, with the operation's objectives in their order."""
    order = ["mass", "price", "items"]
    order.remove(model.operation.least)
    names = [model.operation.least, *order]
    upper = model.upper()
    if names[0] == "price":
        # what has no price cannot be compared, so it is not chosen
        for j, column in enumerate(model.columns):
            if any(model.inventory.by_id[i].price_cents is None for i in column.uses):
                upper[j] = 0
    return Plan(
        lower=np.zeros(len(model.columns)),
        upper=upper,
        rows=tuple(model.rows),
        cases=cases,
        objectives=tuple(Objective(name, _weights(model, name), _fixed(model, name)) for name in names),
        tie_break=tuple(model.uses().values()),
        is_integer=np.array([c.is_integer for c in model.columns]),
        is_spare=np.array([c.is_spare for c in model.columns]),
    )


def _weights(model: KitModel, name: str) -> Floats:
    def cost(column: Column) -> float:
        total = 0
        for item_id, n in column.uses.items():
            item = model.inventory.by_id[item_id]
            price = UNPRICED_CENTS if item.price_cents is None else item.price_cents
            total += n * {"mass": item.mass_g, "price": price, "items": 1}[name]
        return float(total)

    return np.array([cost(c) for c in model.columns])


def _fixed(model: KitModel, name: str) -> int:
    inventory = model.inventory
    pieces = [(use.count, inventory.by_id[use.id]) for use in model.operation.loads]
    pieces += [(extra.count, extra) for extra in inventory.extras]
    getters: dict[str, Callable[[Item], int]] = {"mass": _grams, "price": _known_cents, "items": lambda _: 1}
    return sum(n * getters[name](item) for n, item in pieces)


def _grams(item: Item) -> int:
    return item.mass_g


def _known_cents(item: Item) -> int:
    return item.price_cents or 0


def pack(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    *,
    seconds: float = math.inf,
    reporter: Reporter | None = None,
) -> Choice:
    """Choose the best kit of an inventory for an operation under a sky.

    Each bus class is solved, the best kit so far being the bound for the next.

    Parameters
    ----------
    seconds : float
        Time limit over all classes. [s]

    Returns
    -------
    Choice
        Status "no-kit" comes with the strongest kit; "time-limit" with the best so far, if any.
    """
    deadline = time.monotonic() + seconds
    solved: list[Solved] = []
    best: Solved | None = None
    bounds: list[float] = []
    is_proved = True
    for bus in bus_classes(inventory.batteries):
        model = build_model(operation, inventory, bus, sky)
        plan = build_plan(model, cases_under(model, sky))
        cutoff = math.inf if best is None else best.outcome.objective
        left = max(0.05, deadline - time.monotonic())
        outcome = choose(plan, seconds=left, cutoff=cutoff, reporter=reporter)
        here = Solved(model, plan, outcome)
        solved.append(here)
        if outcome.status == "time-limit":
            is_proved = False
            bounds.append(outcome.bound)
        if outcome.counts is not None and (best is None or values_of(here) < values_of(best)):
            best = here
    base = Choice(
        operation,
        inventory,
        sky,
        status="no-kit",
        proof=Proof(None, None, is_proved),
        solved=tuple(solved),
        blocks=tuple((s.model.bus, tuple(s.model.blocks)) for s in solved),
    )
    base = with_need(base, best.model.bus if best else (solved[0].model.bus if solved else None))
    if best is not None:
        objective = best.outcome.objective
        bound = objective if is_proved else min(objective, *bounds)
        is_proved = is_proved or bound >= objective
        status: Status = "found" if is_proved else "time-limit"
        return measured(replace(base, status=status, proof=Proof(objective, bound, is_proved)), best)
    if not is_proved:
        lowest_bound = min(bounds)
        bound_or_none = lowest_bound if math.isfinite(lowest_bound) else None
        return replace(base, status="time-limit", proof=Proof(None, bound_or_none, False))
    return replace(base, shortfall=strongest_of(solved, max(5.0, min(60.0, deadline - time.monotonic()))))


def values_of(solved: Solved) -> tuple[object, ...]:
    """What kits of different classes are compared by: the objectives, then the ids."""
    counts = solved.outcome.counts
    assert counts is not None
    objectives = tuple(o.of(counts) for o in solved.plan.objectives)
    ids = tuple(sorted((p.id, -p.count) for p in packed_of(solved.model, counts)))
    return (*objectives, ids)


def with_need(choice: Choice, bus: BusClass | None) -> Choice:
    """The choice with what the loads ask for on a bus class."""
    nominal_v = bus.nominal_v if bus else 12.8
    parts = draws(choice.operation, choice.inventory, nominal_v)
    need_wh = float(np.sum(total_wh(parts, choice.operation.n_steps)))
    most_a = station_peak_a(choice.operation, choice.inventory, bus) if bus else peak_a(parts)
    return replace(choice, need_wh=need_wh, peak_a=most_a)


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
    charge_wh = float(verdict.charge_wh[k, step])
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
    elapsed_h = float(np.cumsum(step_lengths_h(operation))[step])
    moment = operation.start.astimezone(UTC) + timedelta(hours=elapsed_h)
    return moment.astimezone(operation.site.timezone)


def hours_without_sun(conditions: Conditions, plant: Floats) -> float:
    """Hours until what must be held back is reached with no sun at all, in the coldest window. [h]"""
    layout = conditions.layout
    dark = plant.copy()
    dark[layout.panel(0, 0) : layout.demand(0)] = 0.0
    only = conditions.window(0) if conditions.capacity_share.shape[0] == 1 else conditions
    verdict = simulate(only, dark)
    free_wh = verdict.charge_wh - verdict.held_wh
    start_wh = plant[layout.capacity] * (1 - conditions.reserve_share) - plant[layout.missing] - conditions.reserve_wh
    ends_h = np.concatenate([[0.0], np.cumsum(conditions.step_h)])
    hours = float(ends_h[-1])
    for row in free_wh:
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


def strongest_of(solved: Sequence[Solved], seconds: float) -> Shortfall:
    """The strongest kit of classes of which none has one that works.

    Parameters
    ----------
    seconds : float
        Time limit over all classes. [s]
    """
    deadline = time.monotonic() + seconds
    best: tuple[float, Solved, Floats] | None = None
    for s in solved:
        floor = 0.0 if best is None else best[0]
        left = max(0.1, deadline - time.monotonic())
        found = strongest(s.plan, s.outcome.memories, seconds=left, least_share=floor)
        if found.counts is not None and (best is None or found.share > best[0] + 1e-9):
            best = (found.share, s, found.counts)
    if best is None:
        need = 0.0
        if solved:
            conditions = solved[0].plan.cases[0].conditions
            need = float(conditions.load_w @ conditions.step_h)
        return Shortfall((), (), need, None)
    _, s, counts = best
    margins: list[tuple[float, int]] = []
    for case in s.plan.cases:
        if case.is_asked(counts):
            verdict = simulate(case.conditions, case.plant(counts))
            # the last window that would have to be survived
            k = int(np.argsort(-verdict.margin_wh, kind="stable")[case.n_needed - 1])
            margins.append((float(verdict.margin_wh[k]), int(verdict.lowest_step[k])))
    margin_wh, step = min(margins)
    return Shortfall(
        packed_of(s.model, counts),
        joins_of(s.model, counts),
        max(0.0, -margin_wh),
        step_end(s.model.operation, step),
        s,
        counts,
    )
