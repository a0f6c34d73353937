"""Circuits of one operation: kits that draw on one stock, under the same windows, in one plan.

A window is survived when every circuit survives it. Each has a bus of its own, so every combination of their bus
classes is tried; what the circuits need alone bounds what they need together.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Mapping, Sequence
from dataclasses import replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget, OutOfTime, check_time
from kitopt.choice.classes import OverClasses, over_classes
from kitopt.choice.found import Found, Solved
from kitopt.choice.measure import lowest_of, of_found, others_in, part_of
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.program import COST, Program
from kitopt.choice.search import Search
from kitopt.choice.terms import Choice, Floats, Survival
from kitopt.engine import Case, Objective, Outcome, Plan, Row, Trial
from kitopt.engine.joint import joined, simulate
from kitopt.inventory.items import Extra, Inventory
from kitopt.model.bus import BusClass
from kitopt.model.fuse_stock import fuses_taken
from kitopt.model.panel_side import hung_on
from kitopt.operation.extras import always_packed, packed_with_panels
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Rules = Callable[[Solved], Sequence[Row] | None]
_NOT_SOLVED = Outcome("time-limit", None, math.inf, -math.inf)


def best_circuits(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    *,
    budget: Budget = UNLIMITED,
    mass_g: float = math.inf,
    cutoff: float = math.inf,
    is_any_good: bool = False,
    rules: Rules | None = None,
    search: Search | None = None,
    least: float = -math.inf,
) -> Choice:
    """The best kit of an operation with several circuits, not measured yet; without one, what each comes to alone.

    Parameters
    ----------
    mass_g : float
        No kit above this, all circuits together. [g]
    cutoff, is_any_good
        As for `best_kit`, of all circuits together.
    rules : callable, optional
        Rows more for the circuits on some bus classes; None where they leave these no kit.
    search : Search, optional
        One that was asked without these rules: what each circuit comes to alone it knows.
    least : float
        What is known already: no kits cost less.
    """
    if search is None:
        search = search_of(operation, inventory, sky, budget, is_any_good=is_any_good)
    search.budget, problem = budget, search.problem
    alone, found = search_circuits(search, operation, mass_g=mass_g, cutoff=cutoff, rules=rules, least=least)
    choice = of_found(operation, inventory, sky, found, found.tried)
    if choice.packed:
        told = choice.circuits
    else:
        told = tuple(
            (name, of_found(wanted.operation, problem.stock, sky, one, one.tried))
            for name, wanted, one in zip(operation.circuits, problem.wanted, alone, strict=True)
        )
    blocks = tuple((one.model.bus, tuple(one.model.blocks)) for apart in alone for one in apart.tried)
    return replace(choice, blocks=blocks, circuits=told)


def search_of(
    operation: Operation, inventory: Inventory, sky: Sky, budget: Budget = UNLIMITED, *, is_any_good: bool = False
) -> Search:
    """The search for the circuits of an operation."""
    first, *others = in_order(operation.least)
    names = (first,) if is_any_good else (first, "ends", *others)
    return Search(problem_of(operation, inventory, sky), names, budget)


def problem_of(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    offered: Mapping[str, int] | None = None,
    prices: Mapping[str, int] | None = None,
) -> Problem:
    """The circuits of an operation as kits that are needed at the same time."""
    each = [operation.circuit(name) for name in operation.circuits]
    return Problem(
        tuple(Wanted((one,)) for one in each),
        # who takes what belongs to none of them is settled for all together
        replace(inventory, extras=()),
        lambda _: sky,
        (tuple(range(len(each))),),
        offered=offered or {},
        prices=prices or {},
        extras=inventory.extras,
    )


def search_circuits(
    search: Search,
    operation: Operation,
    *,
    mass_g: float = math.inf,
    cutoff: float = math.inf,
    rules: Rules | None = None,
    least: float = -math.inf,
) -> tuple[list[Found], OverClasses[Solved]]:
    """The best kit of each circuit alone, and of all together.

    Parameters
    ----------
    search : Search
        Of the circuits. Where one quantity alone counts, of several kits as good any one will do.
    """
    problem, names, allowed, budget = search.problem, search.names, search.allowed, search.budget
    alone = [search.alone(o, cutoff) for o in range(len(problem.wanted))]
    if not all(found.has_kits for found in alone):
        is_sure = any(found.is_impossible for found in alone)
        return alone, OverClasses(None, (), math.inf if is_sure else 0.0)
    most_g = min(mass_g, math.inf if operation.mass_limit_g is None else float(operation.mass_limit_g))
    known = dict(enumerate(alone))
    in_hand = cutoff

    def attempt(chosen: tuple[int, ...], most: float, before: Solved | None) -> Solved | None:
        nonlocal in_hand
        budget.check()
        if before is not None:
            return before.gone_on_with(most, least, budget)
        with budget.in_force():
            classes = [search.classes[k] for k in chosen]
            program, plan = _laid_out(problem, operation, classes, names, allowed, most_g, budget)
            plan = _none_below(plan, program, [found.bound for found in alone])
        if len(names) == 1:
            plan = replace(plan, tie_break=())
        if rules is not None:
            rows = rules(Solved(program, plan, _NOT_SOLVED))
            if rows is None:
                return None
            plan = replace(plan, rows=(*plan.rows, *rows))
        outcome = program.solve(plan, cutoff=most, least=least, may_put_off=True, budget=budget)
        solved = Solved(program, plan, outcome)
        in_hand = min(in_hand, solved.outcome.objective)
        return solved

    some = _combined(search, known, lambda: in_hand)
    return alone, over_classes(some, attempt, cutoff=cutoff, least=max(least, search.least_of(known)))


def _combined(search: Search, known: Mapping[int, Found], most: Callable[[], float]) -> Iterator[tuple[int, ...]]:
    """Bus classes of all circuits: those that are best alone first, then all that may be part of something better.

    Parameters
    ----------
    most : callable
        What is in hand, of the quantity that counts first.
    """
    first = tuple(search.class_of(found) for found in known.values())
    yield first
    try:
        viable: list[Sequence[int]] = [search.viable(o, known, most()) for o in known]
    except OutOfTime:
        viable = [range(len(search.classes))] * len(known)
    yield from (some for some in product(*viable) if some != first)


def _laid_out(
    problem: Problem,
    operation: Operation,
    classes: Sequence[BusClass],
    names: Sequence[str],
    allowed: Mapping[str, int],
    most_g: float,
    budget: Budget,
) -> tuple[Program, Plan]:
    """All circuits in one plan, each on a bus class, with what counts for all of them together."""
    inventory = replace(problem.stock, extras=problem.extras)
    program = Program(problem, {o: [bus] for o, bus in enumerate(classes)}, allowed, budget=budget)
    side, kits = program.side, [kit for (kit,) in program.kits.values()]
    check_time()
    for bound in operation.bounds:
        terms = [term for kit in kits for term in kit.uses(bound.id)] or [(side.add_column(0.0), 1.0)]
        most = math.inf if bound.most is None else float(bound.most)
        side.add_row(terms, float(bound.least), most, rule="asked", text=f"{bound.id}, as asked")
    for text, row in _shared_rows(program, "air-travel").items():
        side.add_row(row.terms, row.lower, row.upper, rule=row.rule, text=text)
    for (holder, rating_a), terms in _fuses(program).items():
        owned = (inventory.fuses or {}).get((holder, rating_a), 0)
        side.add_row(terms, upper=float(owned), rule="stock", text=f"{owned} × {holder} fuse {rating_a:g} A owned")
    beside: list[tuple[int, Extra]] = []
    for extra in packed_with_panels(operation, inventory):
        joins = [kit.first + j for kit in kits for j in hung_on(kit.model, extra)]
        if joins and extra.count > 0:
            mark = side.add_column(1.0)
            most = sum(side.upper[j] for j in joins)
            terms = [*((j, 1.0) for j in joins), (mark, -most)]
            side.add_row(terms, upper=0.0, rule="packed", text=f"{extra.id} is packed with its panels")
            beside.append((mark, extra))
    plan = program.plan(names)

    def whole(objective: Objective) -> Objective:
        if objective.name not in COST:
            return objective
        cost = COST[objective.name]
        given_price = objective.name == "price"
        weights, fixed = objective.weights.copy(), objective.fixed
        for mark, extra in beside:
            weights[mark] += extra.count * cost(extra)
        for extra in always_packed(operation, inventory):
            fixed += extra.count * ((extra.price_cents or 0) if given_price else cost(extra))
        return replace(objective, weights=weights, fixed=fixed)

    limit = whole(program.objective("mass")).most(most_g)
    items = sorted({i for kit in kits for i in kit.items()})
    own = [kit.cases for kit in kits]
    n_first = len(kits[0].model.columns)
    cases: tuple[Case, ...] = (
        joined(tuple(some[0] for some in own), n_first),
        *(case for some in own for case in some[1:]),
    )
    program.first_cases = list(range(len(cases)))
    plan = replace(
        plan,
        cases=cases,
        trials=(_tried_together(plan.trials, n_first),) if plan.trials else (),
        rows=(*plan.rows, *([] if limit is None else [limit])),
        objectives=tuple(whole(objective) for objective in plan.objectives),
        tie_break=(
            *(side.weights([term for kit in kits for term in kit.uses(i)]) for i in items),
            *(side.weights(kits[0].uses(i)) for i in items),
        ),
    )
    return program, plan


def _tried_together(trials: Sequence[Trial], n_first: int) -> Trial:
    """What every circuit is tried by, survived where all of them survive it."""

    def margins_wh(counts: Floats) -> Floats | None:
        each = [found for trial in trials if (found := trial.margins_wh(counts)) is not None]
        return np.min(each, axis=0) if each else None

    def case_of(windows: NDArray[np.intp]) -> Case:
        return joined(tuple(trial.case_of(windows) for trial in trials), n_first)

    return Trial(trials[0].needed_of, margins_wh, case_of)


def _none_below(plan: Plan, program: Program, floors: Sequence[float]) -> Plan:
    """The plan told what each circuit needs alone: its relaxation then begins there."""
    name = plan.objectives[0].name
    if name not in COST:
        return plan
    rows = [program.least_row(o, 0, name, floor) for o, floor in enumerate(floors)]
    return replace(plan, rows=(*plan.rows, *(row for row in rows if row is not None)))


def _shared_rows(program: Program, rule: str) -> dict[str, Row]:
    """Limits that each circuit keeps alone, as limits that all keep together: by their words."""
    terms: dict[str, list[tuple[int, float]]] = {}
    found: dict[str, Row] = {}
    for (kit,) in program.kits.values():
        for row in kit.model.rows:
            if row.rule == rule:
                terms.setdefault(row.text, []).extend((kit.first + j, c) for j, c in row.terms)
                found[row.text] = replace(row, terms=tuple(terms[row.text]))
    return found


def _fuses(program: Program) -> dict[tuple[str, float], list[tuple[int, float]]]:
    """What all circuits together take of each fuse that is counted."""
    total: dict[tuple[str, float], list[tuple[int, float]]] = {}
    for (kit,) in program.kits.values():
        if kit.model.inventory.fuses is not None:
            for fuse, terms in fuses_taken(kit.model).items():
                total.setdefault(fuse, []).extend((kit.first + j, n) for j, n in terms.items())
    return total


def together(choice: Choice) -> Choice:
    """The choice with how its circuits fare, each and all together."""
    parts = []
    for name, one in choice.circuits:
        assert one.made is not None
        made = one.made
        parts.append((name, part_of(made.model, made.counts, choice.sky, choice.status, is_settled=False)))
    kits = [part.made for _, part in parts if part.made is not None]
    verdicts = [simulate(*made.base) for made in kits]
    margins_wh = np.stack([verdict.margin_wh for verdict in verdicts])
    survives = np.all(np.stack([verdict.survives for verdict in verdicts]), axis=0)
    others = None
    tried = [(made.trial, made.trial.margins_wh(made.counts)) for made in kits if made.trial is not None]
    if tried:
        others = others_in(np.min([margin_wh for _, margin_wh in tried if margin_wh is not None], axis=0), tried[0][0])
    hardest = int(np.argmin(np.min(np.where(survives, margins_wh, np.inf), axis=1)))
    return replace(
        choice,
        joins=tuple(join for _, part in parts for join in part.joins),
        wiring=tuple(wire for _, part in parts for wire in part.wiring),
        survival=Survival(len(survives), int(np.count_nonzero(survives)), kits[0].cases[0].n_needed, others=others),
        lowest=lowest_of(kits[hardest], verdicts[hardest], survives),
        losses=tuple(loss for _, part in parts for loss in part.losses),
        need_wh=sum(part.need_wh for _, part in parts),
        peak_a=max(part.peak_a for _, part in parts),
        no_sun_hours=min(part.no_sun_hours or 0.0 for _, part in parts),
        blocks=tuple(block for _, part in parts for block in part.blocks),
        circuits=tuple(parts),
    )
