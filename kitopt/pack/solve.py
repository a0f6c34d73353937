"""One kit for one operation: each bus class in turn, the best so far being the bound for the next."""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.engine import choose
from kitopt.engine.judge import simulate
from kitopt.engine.strongest import strongest
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.operation.terms import Operation
from kitopt.pack.build import build_model, build_plan, cases_under
from kitopt.pack.measure import joins_of, measured, packed_of, step_end, with_need
from kitopt.pack.terms import Choice, Floats, Proof, Shortfall, Solved, Status
from kitopt.sky.windows import Sky

_SECONDS_STRONGEST = 60.0


def pack(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    *,
    budget: Budget = UNLIMITED,
) -> Choice:
    """Choose the best kit of an inventory for an operation under a sky.

    Each bus class is solved, the best kit so far being the bound for the next.

    Returns
    -------
    Choice
        Status "no-kit" comes with the strongest kit; "time-limit" with the best so far, if any.
    """
    solved: list[Solved] = []
    best: Solved | None = None
    bounds: list[float] = []
    is_proved = True
    for bus in bus_classes(inventory.batteries):
        model = build_model(operation, inventory, bus, sky)
        plan = build_plan(model, cases_under(model, sky))
        cutoff = math.inf if best is None else best.outcome.objective
        outcome = choose(plan, budget=budget, cutoff=cutoff)
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
    return replace(base, shortfall=strongest_of(solved, budget.slice(_SECONDS_STRONGEST)))


def values_of(solved: Solved) -> tuple[object, ...]:
    """What kits of different classes are compared by: the objectives, then the ids."""
    counts = solved.outcome.counts
    assert counts is not None
    objectives = tuple(o.of(counts) for o in solved.plan.objectives)
    ids = tuple(sorted((p.id, -p.count) for p in packed_of(solved.model, counts)))
    return (*objectives, ids)


def strongest_of(solved: Sequence[Solved], budget: Budget = UNLIMITED) -> Shortfall:
    """The strongest kit of classes of which none has one that works."""
    best: tuple[float, Solved, Floats] | None = None
    for s in solved:
        floor = 0.0 if best is None else best[0]
        found = strongest(s.plan, s.outcome.memories, budget=budget, least_share=floor)
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
