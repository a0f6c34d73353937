"""Five solvers and an oracle agree: the programs that ended each proof, solved by others, and every kit tried.

The instances need leads, have nice loads, backups and circuits, several kits and purchases, and each of the three
objectives.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable
from typing import Any

import numpy as np
import pytest
from oracle import World, answer
from oracle.circuits import joint_answer, with_circuits
from oracle.instances import Instance, numbered
from oracle.losses import backed_up
from oracle.many import best_purchase, several, smallest_bags
from oracle.nices import served_answer, with_nices
from oracle.wired_instances import wired
from oracle.wiring import wired_answer
from oracle.witnesses import assert_all_say
from test_law_many import bought_for, grabbed

import kitopt.engine.proposals as proposals
from kitopt.budget import Budget
from kitopt.certificate.proof import prove
from kitopt.certificate.stated import classes_of
from kitopt.choice import Choice, pack
from kitopt.engine.judge import simulate
from kitopt.engine.solver import Answer, Program, solve, solve_within
from kitopt.engine.whole import Whole

LAST = 3
"""So many of the programs that a choice solves are solved by the others: the last ones end the proof."""

Right = tuple[str, float | None]


def plain(number: int) -> tuple[Choice, Right]:
    instance = numbered(number)
    right = answer(World(instance.operation, instance.inventory, instance.sky))
    return packed(instance), ("found" if right.kits else "no-kit", right.first if right.kits else None)


def with_leads(number: int) -> tuple[Choice, Right]:
    instance = wired(number)
    right = wired_answer(World(instance.operation, instance.inventory, instance.sky))
    return packed(instance), ("found" if right.kits else "no-kit", right.first if right.kits else None)


def nice(number: int) -> tuple[Choice, Right]:
    instance = with_nices(number)
    right = served_answer(instance).right
    return packed(instance), ("found" if right.kits else "no-kit", right.first if right.kits else None)


def backup(number: int) -> tuple[Choice, Right]:
    # the third is a long one for the oracle
    instance = backed_up(number + 1)
    right = served_answer(instance).right
    return packed(instance), ("found" if right.kits else "no-kit", right.first if right.kits else None)


def circuits(number: int) -> tuple[Choice, Right]:
    instance = with_circuits(number)
    right = joint_answer(instance)
    return packed(instance), ("no-kit" if right is None else "found", None if right is None else right[0][0])


def bag(number: int) -> tuple[Any, Right]:
    least = random.Random(number).choice(["mass", "items"])
    first, bags = smallest_bags(several(number, 2, backup=True), least)
    some = several(number, 2, backup=True)
    kit = grabbed(some, least)
    # the oracle's bag is without its loads
    kinds = [(p, some.inventory.by_id[p.id]) for p in kit.packed]
    loads = sum(p.count * (item.mass_g if least == "mass" else 1) for p, item in kinds if p.kind == "load")
    return kit, ("found" if bags else "no-kit", first + loads if bags else None)


def bought(number: int) -> tuple[Any, Right]:
    found, some, (owned, prices, together) = bought_for(number, None)
    right = best_purchase(some, owned, prices, together, None)
    return found, (found.status, None if right is None or right.unserved else right.cost)


def packed(instance: Instance) -> Choice:
    return pack(instance.operation, instance.inventory, instance.sky)


SORTS: tuple[Callable[[int], tuple[Any, Right]], ...] = (plain, with_leads, nice, backup, circuits, bag, bought)


def test_other_solvers_find_the_same(witness_numbers: range, monkeypatch: pytest.MonkeyPatch) -> None:
    solved: list[tuple[Program, Answer, float]] = []

    def heard(budget: Budget, program: Program, **options: Any) -> Answer:
        found = solve_within(budget, program, **options)
        if not options.get("relaxed"):
            solved.append((program, found, options.get("cutoff", math.inf)))
        return found

    monkeypatch.setattr(proposals, "solve_within", heard)
    of_sides, n_of_sides = hear_of_sides(monkeypatch), 0
    for number in witness_numbers:
        solved.clear()
        of_sides.clear()
        sort = SORTS[number % len(SORTS)]
        found, (status, first) = sort(number)
        assert (found.status, found.proof.proved) == (status, True), (sort.__name__, number)
        if status == "found" and first is not None:
            assert found.proof.objective == found.proof.bound == first, (sort.__name__, number)
        n_of_sides += len(of_sides)
        try:
            for program, told, cutoff in solved[-LAST:]:
                assert_all_say(program, None if told.status == "infeasible" else told.objective, cutoff)
            for program, value in of_sides[-LAST:]:
                assert_all_say(program, value)
            if isinstance(found, Choice) and not found.circuits and found.status == "found":
                assert_the_proof_made_anew_agrees(found, number)
        except Exception as error:
            error.add_note(f"{sort.__name__}({number})")
            raise
    assert n_of_sides


def hear_of_sides(monkeypatch: pytest.MonkeyPatch) -> list[tuple[Program, float | None]]:
    """The programs of one side each, stated anew, with what they came to; what was not told is left out."""
    solved: list[tuple[Program, float | None]] = []
    asked = Whole._asked

    def heard(whole: Any, side: np.ndarray, needs_wh: tuple[float, ...], solve: Any) -> Any:
        known = asked(whole, side, needs_wh, solve)
        program, rows = whole._program(whole._objective.weights)
        kwh = [wh / 1000.0 for wh in needs_wh]
        ends = [*((float(n), float(n)) for n in side), *((least, math.inf) for least in kwh)]
        for row, (low, high) in zip(rows.tolist(), ends, strict=True):
            program.rows[row] = (program.rows[row][0], low, high)
        if known.counts is not None:
            solved.append((program, float(whole._objective.weights @ known.counts)))
        elif math.isinf(known.least) and known.least > 0.0:
            solved.append((program, None))
        return known

    monkeypatch.setattr(Whole, "_asked", heard)
    return solved


def assert_the_proof_made_anew_agrees(found: Choice, number: int) -> None:
    """The certificate's program has the same optimum by all, and its rows and tables the judge's word."""
    rng = np.random.default_rng(number)
    assert found.proof.objective is not None
    least = []
    for one in classes_of(found.operation, found.inventory, found.sky):
        stated = prove(one.plan, found.proof.objective)
        fixed = one.plan.objectives[0].fixed
        assert_all_say(stated.program(found.proof.objective - 1.0), None)
        told = solve(stated.program())
        least.append(math.inf if told.status == "infeasible" else told.objective + fixed)
        for origin in stated.origins:
            if not origin.has_sides:
                continue
            for _ in range(5):
                side = rng.integers(0, 3, origin.sides.n_classes)
                need = origin.side(side.tolist()).capacity_wh
                plant = origin.sides.needs.plant(side)
                assert need < 0.0 or is_needed(origin, plant, need), side
                # more panels on units that have some ask for no more, but for the rounding that the judge lets pass
                used = np.isin(origin.sides.needs.unit, origin.sides.needs.unit[side > 0])
                more = origin.side((side + used * rng.integers(0, 2, len(side))).tolist()).capacity_wh
                assert need < 0.0 or 0.0 <= more <= need + 1e-4, side
    assert min(least) == pytest.approx(found.proof.objective, abs=1e-6)


def is_needed(origin: Any, plant: np.ndarray, need_wh: float) -> bool:
    """Whether with a little less capacity too many spells are failed, by the judge."""
    if need_wh < 1e-2:
        return True
    conditions, layout = origin.sides.needs._conditions, origin.sides.needs._conditions.layout
    plant = plant.copy()
    plant[layout.charge_limit] = origin.box[layout.charge_limit]
    plant[layout.capacity] = (1.0 - 1e-4) * need_wh - 1e-3
    plant[layout.missing] = origin.sides.needs.missing_share * plant[layout.capacity]
    failed = ~simulate(conditions, plant).survives
    return bool(np.count_nonzero(failed) > origin.n_allowed)
