"""Choosing without weather: objectives in their order, ties, cutoffs and time.

The reference tries every point of the box in plain loops.
"""

from __future__ import annotations

import math
import random
from collections.abc import Callable, Iterator
from dataclasses import replace
from itertools import product

import numpy as np
import pytest
from dark_batteries import memory
from oracle import World, answer
from oracle.instances import numbered
from oracle.wired_instances import wired

from kitopt.budget import Budget, OutOfTime
from kitopt.choice import pack
from kitopt.engine import Objective, Plan, Row, choose
from kitopt.inventory.items import Inventory

UPPER = (2, 1, 3, 1, 2)


def plan_of(seed: int) -> tuple[Plan, Callable[[tuple[int, ...]], bool], list[list[int]]]:
    """Five columns, two covering rows and a stock row; small weights so that ties abound."""
    rng = random.Random(seed)
    cover = [[rng.randint(0, 3) for _ in UPPER] for _ in range(2)]
    need = [rng.randint(1, 7) for _ in range(2)]
    weights = [[rng.randint(1, 3) for _ in UPPER], [rng.randint(1, 2) for _ in UPPER], [1] * 5]
    rows = [Row(tuple(enumerate(map(float, row))), lower=n) for row, n in zip(cover, need, strict=True)]
    rows.append(Row(((0, 1.0), (2, 1.0)), upper=3.0))
    plan = Plan(
        np.zeros(5),
        np.array(UPPER, dtype=np.float64),
        tuple(rows),
        (),
        tuple(Objective(f"o{i}", np.array(w, dtype=np.float64), fixed=i) for i, w in enumerate(weights)),
        tuple(np.eye(5)),
    )

    def works(x: tuple[int, ...]) -> bool:
        reached = [sum(c * n for c, n in zip(row, x, strict=True)) for row in cover]
        return all(r >= n for r, n in zip(reached, need, strict=True)) and x[0] + x[2] <= 3

    return plan, works, weights


@pytest.mark.parametrize("seed", range(60))
def test_objectives_in_their_order_and_then_the_earliest_columns(seed: int) -> None:
    plan, works, weights = plan_of(seed)
    outcome = choose(plan)
    points = [x for x in product(*(range(u + 1) for u in UPPER)) if works(x)]
    if not points:
        assert outcome.status == "no-kit"
        assert outcome.counts is None
        return

    def rank(x: tuple[int, ...]) -> tuple[list[int], list[int]]:
        return [sum(w * n for w, n in zip(row, x, strict=True)) for row in weights], [-n for n in x]

    best = min(points, key=rank)
    assert outcome.status == "found"
    assert outcome.proved
    assert outcome.counts is not None
    assert outcome.counts.tolist() == list(best)
    assert outcome.objective == outcome.bound == rank(best)[0][0]


def test_objectives_are_in_their_order_where_equals_are_not_told_apart() -> None:
    n_found = 0
    for seed in range(20):
        plan, works, weights = plan_of(seed)
        outcome = choose(replace(plan, tie_break=()))
        values = [
            tuple(sum(w * n for w, n in zip(row, x, strict=True)) for row in weights)
            for x in product(*(range(u + 1) for u in UPPER))
            if works(x)
        ]
        if outcome.counts is not None:
            n_found += 1
            assert tuple(round(float(np.dot(row, outcome.counts))) for row in weights) == min(values), seed
    assert n_found > 10


def test_a_cutoff_admits_its_own_value_and_nothing_above() -> None:
    n_found = 0
    for seed in range(10):
        plan, _, _ = plan_of(seed)
        free = choose(plan)
        if free.counts is None:
            continue
        n_found += 1
        assert choose(plan, cutoff=free.objective).objective == free.objective
        none = choose(plan, cutoff=free.objective - 1)
        assert none.status == "no-kit"
        # and no more is said than was asked: what costs one more is open
        assert none.bound == free.objective
    assert n_found >= 3


def test_out_of_time_before_the_start() -> None:
    plan, _, _ = plan_of(0)
    outcome = choose(plan, budget=Budget.of(0.0))
    assert outcome.status == "time-limit"
    assert not outcome.proved
    assert outcome.counts is None
    assert outcome.objective == math.inf
    # nothing at all costs what is fixed of the first objective, 0
    assert outcome.bound == 0.0
    assert choose(plan, budget=Budget.of(0.0), least=3.0).bound == 3.0


def plans(n: int) -> Iterator[Plan]:
    """Of every bus class of the first random instances."""
    for number in range(n):
        instance = numbered(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            yield solved.plan


def test_learned_rows_spare_the_second_choice_its_proposals() -> None:
    n_learned = 0
    for plan in plans(30):
        first = choose(plan)
        again = choose(plan, memories=first.memories)
        assert (again.status, again.objective) == (first.status, first.objective)
        assert again.rounds <= first.rounds
        n_learned += first.rounds > again.rounds
    assert n_learned > 0


def test_a_kit_whose_sides_can_be_listed_is_found_by_them() -> None:
    # cuts alone would find the same, in more rounds
    n_listed = 0
    for plan in plans(10):
        n_listed += bool(choose(plan).memories[0].listings)
    assert n_listed > 5


class UpAtOnce:
    """A reporter by whose word the time is up at the first round."""

    def round(self, **_: object) -> None:
        raise OutOfTime

    def say(self, text: str) -> None:
        pass


def test_what_the_least_battery_costs_is_known_before_any_kit() -> None:
    # 17 W over an hour from batteries of 8.75 Wh in the colder window, at 100 g each: two at least. What else is packed
    # draws 1 W and makes it three
    case = memory(2, 0, hours=1.0, load_w=17.0).case
    objective = Objective("mass", np.array([100.0, 0.0]))
    plan = Plan(np.array([0.0, 1.0]), np.array([5.0, 1.0]), (), (case,), (objective,))
    cut_short = choose(plan, budget=Budget(reporter=UpAtOnce()))
    assert (cut_short.status, cut_short.bound) == ("time-limit", 200.0)
    assert choose(plan).objective == 300.0


def test_a_bound_never_exceeds_the_optimum_when_time_is_short() -> None:
    for number in range(40):
        instance = numbered(number)
        right = answer(World(instance.operation, instance.inventory, instance.sky))
        # whether time runs out is the machine's affair; what is said must be true either way
        choice = pack(instance.operation, instance.inventory, instance.sky, budget=Budget.of(0.0))
        if choice.status == "no-kit":
            assert right.first is None, number
        elif choice.status == "found":
            assert choice.proof.objective == right.first, number
        elif right.first is not None and choice.proof.bound is not None:
            assert choice.proof.bound <= right.first, number
            assert choice.proof.objective is None or choice.proof.objective >= right.first, number


def with_heavier_copies(inventory: Inventory) -> Inventory:
    """One piece of every lead, and a heavier one that is needed only where the first is taken."""
    firsts = tuple(replace(lead, count=1) for lead in inventory.leads)
    copies = tuple(replace(lead, id=f"{lead.id}-heavy", count=2, mass_g=lead.mass_g + 15) for lead in inventory.leads)
    return replace(inventory, leads=firsts + copies)


def test_a_cutoff_at_the_optimum_is_found_where_leads_are_scarce_and_one_below_is_not() -> None:
    # a heavier lead is worth taking only where the better one is needed elsewhere
    n_found = 0
    for number in range(60):
        instance = wired(number)
        for solved in pack(instance.operation, with_heavier_copies(instance.inventory), instance.sky).solved:
            plan = replace(solved.plan, objectives=solved.plan.objectives[:1], tie_break=())
            whole = choose(plan)
            if whole.counts is not None:
                n_found += 1
                assert choose(plan, cutoff=whole.objective).objective == whole.objective, number
                assert choose(plan, cutoff=whole.objective - 1).status == "no-kit", number
    assert n_found > 20


def test_rules_broken_by_whole_counts_are_those_that_adding_up_finds() -> None:
    rng = np.random.default_rng(3)
    n_broken = 0
    for number in range(40):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            plan = solved.plan
            for _ in range(20):
                counts = np.floor(rng.random(plan.n_columns) ** 4 * (plan.upper + 1))
                expected = [
                    row
                    for row in plan.rows
                    if not row.lower - 1e-6 <= sum(c * float(counts[j]) for j, c in row.terms) <= row.upper + 1e-6
                ]
                assert plan.broken_rows(counts) == expected
                n_broken += len(expected)
    assert n_broken > 100
