"""What a panel side leaves of the batteries, what these cost whole, and what is left when one thing is lost.

Checked by trying every set of batteries, by the rules' own rows, and by programs that are stated anew.
"""

from __future__ import annotations

import itertools
import math
from dataclasses import replace
from functools import cache
from typing import Any

import numpy as np
import pytest

from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.program import Program
from kitopt.engine import Plan, choose
from kitopt.engine.banks import Banks
from kitopt.engine.charging import Levels
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listed, Listing, fixed_of
from kitopt.engine.losses import Spared
from kitopt.engine.plan import Objective, Row
from kitopt.engine.sides import Sides
from kitopt.engine.solver import Answer, Stated, solve
from kitopt.engine.whole import Whole
from kitopt.engine.write import add_sides
from kitopt.inventory import demo_folder, read_inventory
from kitopt.model.bus import bus_classes
from kitopt.operation import read_operation
from kitopt.sky import windows_for

EVERY = tuple(np.linspace(0.0, 1.0, 9))


@cache
def laid(*backup: str) -> tuple[Plan, Sides]:
    """The demo's largest class under a few spells of weather, what may be lost, and the sides of its first case."""
    inventory = read_inventory(demo_folder())
    outing = read_operation(demo_folder() / "operations" / "coastal-checkpoint.toml")
    outing = replace(outing, need=replace(outing.need, windows=60, backup=backup))
    bus = max(bus_classes(inventory.batteries), key=lambda one: len(one.batteries))
    weather = windows_for(outing)
    plan = Program(Problem((Wanted((outing,)),), inventory, lambda _: weather), {0: [bus]}).plan(["mass"])
    memory = CaseMemory(plan.cases[0])
    return replace(plan, trials=()), memory.sides(fixed_of(memory.case, plan, memory.upper_of_coordinates(plan.upper)))


def few(plan: Plan, sides: Sides) -> Plan:
    """The plan with one battery of a type at most, so that every set of them can be tried."""
    upper = plan.upper.copy()
    of_capacity = [j for j, _ in sides.capacity_terms()]
    upper[of_capacity] = np.minimum(upper[of_capacity], 1.0)
    return replace(plan, upper=upper)


def sets_of(plan: Plan, banks: Banks) -> list[tuple[int, ...]]:
    """Every set of batteries, each by its place."""
    places = [b for b, j in enumerate(banks.columns) if plan.upper[j] > 0.0]
    return [some for n in range(len(places) + 1) for some in itertools.combinations(places, n)]


@pytest.mark.parametrize("seed", range(4))
def test_the_cheapest_batteries_are_those_that_trying_every_set_finds(seed: int) -> None:
    plan, sides = laid()
    plan = few(plan, sides)
    banks, levels = Banks(sides, plan), Levels(sides.case.charging, sides.needs)
    assert levels.n > 2
    rng = np.random.default_rng(seed)
    wh = dict(sides.capacity_terms())
    by_wh = float(rng.uniform(0.0, 8.0))
    # beyond what the capacity is worth some cost more and some less
    costs = rng.normal(0.0, 300.0, len(banks.columns))
    taken = float(np.sum(np.minimum(costs * plan.upper[banks.columns], 0.0)))
    until = [levels.from_which(j) for j in banks.columns]
    least = banks.least(costs, by_wh)
    for level in range(levels.n):
        left = [some for some in sets_of(plan, banks) if all(until[b] > level for b in some)]
        made = np.array([sum(wh[banks.columns[b]] for b in some) for some in left], dtype=np.float64)
        each = np.array([sum(costs[b] + by_wh * wh[banks.columns[b]] for b in some) for some in left], dtype=np.float64)
        for need in rng.uniform(0.0, banks.sums[-1], 12).tolist():
            enough = made >= need - 1e-6
            next_wh = float(np.min(made[enough], initial=math.inf))
            at = np.array([need])
            assert banks.made(at, np.array([level]))[0] == pytest.approx(next_wh)
            told = float(least[level, banks.step(at)[0]])
            any_wh = banks.sums[np.searchsorted(banks.sums, need - 1e-6)]
            right = max(float(np.min(each[enough], initial=math.inf)) - taken, by_wh * float(any_wh))
            # where capacities are many some are told as one, with what the least of them costs
            assert told == pytest.approx(right) if len(banks.sums) == banks.shape[1] else told <= right + 1e-6


@pytest.mark.parametrize("seed", range(4))
def test_where_capacities_are_too_many_batteries_are_told_to_cost_a_little_less(
    seed: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    plan, sides = laid()
    plan = few(plan, sides)
    exact = Banks(sides, plan)
    monkeypatch.setattr("kitopt.engine.banks.MOST_SUMS", 0)
    rounded = Banks(sides, plan)
    assert rounded.most_wh == pytest.approx(exact.most_wh)
    rng = np.random.default_rng(seed)
    by_wh = float(rng.uniform(0.0, 8.0))
    costs = rng.normal(0.0, 300.0, len(exact.columns))
    right, told = exact.least(costs, by_wh), rounded.least(costs, by_wh)
    near = 0
    for level in range(exact.levels.n):
        for need in rng.uniform(0.0, 1.1 * exact.most_wh, 40).tolist():
            at, of = np.array([need]), np.array([level])
            next_wh = float(exact.made(at, of)[0])
            # what is needed may be met where a battery counts for a little more, and is asked for as it is
            assert rounded.made(at, of)[0] == need or not math.isfinite(next_wh)
            if math.isfinite(next_wh):
                here, there = float(right[level, exact.step(at)[0]]), float(told[level, rounded.step(at)[0]])
                assert there <= here + 1e-6
                near += there > here - 0.05 * abs(here) - 100.0
    assert near > 20


def test_a_battery_is_ruled_out_by_just_those_sides_whose_rows_forbid_it() -> None:
    plan, sides = laid()
    levels = Levels(sides.case.charging, sides.needs)
    joins = [j for c in range(sides.n_classes) for j, _ in sides.terms(c)]
    rng, n_ruled_out, n_left = np.random.default_rng(1), 0, 0
    for _ in range(12):
        weights = np.zeros(plan.n_columns)
        weights[rng.choice(joins, 40, replace=False)] = -rng.uniform(1.0, 5.0, 40)
        program = plan.program(weights, [Row(tuple((j, 1.0) for j in joins), upper=float(rng.integers(1, 4)))])
        answer = solve(program)
        assert answer.values is not None
        counts = plan.whole(answer.values[: plan.n_columns])
        side = sides.of(counts)
        (level,) = levels.of(1, sides=side[None, :]).tolist()
        for j, _ in sides.capacity_terms():
            if plan.upper[j] == 0.0:
                continue
            program = plan.program(np.zeros(plan.n_columns), [Row(((j, 1.0),), lower=1.0)])
            for c, n in enumerate(side.tolist()):
                program.add_row(sides.terms(c), float(n), float(n))
            is_ruled_out = level >= levels.from_which(j)
            if is_ruled_out:
                assert solve(program).status == "infeasible"
            n_ruled_out += is_ruled_out
            n_left += solve(program, relaxed=True).status != "infeasible" and not is_ruled_out
    assert n_ruled_out > 5
    assert n_left > 5


def listed(plan: Plan, sides: Sides) -> Listed:
    """The sides within a tenth of the best."""
    return Listing(plan, [sides], plan.objectives[0], lambda: math.inf).within(1.1 * choose(plan).objective)


def by_itself(stated: Stated, **how: Any) -> Answer:
    return stated.solve(absolute_gap=0.999, **how)


def test_what_a_side_costs_whole_is_what_a_program_stated_anew_says() -> None:
    plan, sides = laid()
    mass = plan.objectives[0]
    listing = Listing(plan, [sides], mass, lambda: math.inf)
    found = listed(plan, sides)
    assert len(found) > 5
    base, n_none, n_same, n_more = Whole(plan, sides.in_plan, mass, []), 0, 0, 0
    for most in (1.0, 2.0, 3.0):
        # the same with a row more, which some of the kits obey
        batteries = tuple((j, 1.0) for j, _ in sides.capacity_terms())
        narrower = replace(plan, rows=(*plan.rows, Row(batteries, upper=most, rule="asked", text="few batteries")))
        after = Whole(narrower, sides.in_plan, mass, [], base)
        for i in range(0, len(found), max(1, len(found) // 8)):
            one = Listed(found.sides[i : i + 1], found.need_wh[i : i + 1], np.zeros(1))
            each = []
            for of, whole in ((plan, base), (narrower, after)):
                program = of.program(mass.weights)
                add_sides(program, listing, one)
                each.append(solve(program).objective + mass.fixed)
                told = whole.least(one.sides[0], (float(one.need_wh[0]),), math.inf, by_itself)
                assert told == pytest.approx(each[-1]), i
            n_none += math.isinf(each[1])
            n_same += each[0] == pytest.approx(each[1])
            n_more += each[0] + 0.5 < each[1] < math.inf
    assert n_none > 0
    assert n_same > 0
    assert n_more > 0


@pytest.mark.parametrize("share", EVERY)
def test_what_is_asked_in_all_leaves_enough_whichever_battery_is_lost(share: float) -> None:
    plan, sides = laid("battery")
    plan = few(plan, sides)
    losses = [case for case in plan.cases if case.within is not None]
    spared = Spared(losses, sides, plan.upper)
    wh = [each for j, each in sides.capacity_terms() if plan.upper[j] > 0.0]
    assert {one.lost_wh for one in spared.losable} <= set(wh)
    need = share * sum(wh)
    right = min(
        (
            sum(some)
            for n in range(1, len(wh) + 1)
            for some in itertools.combinations(wh, n)
            if sum(some) - max(some) >= need - 1e-6
        ),
        default=math.inf,
    )
    assert spared._in_all(np.array([need]))[0] == pytest.approx(right if need > 0.0 else 0.0)


def test_a_side_that_may_lose_something_needs_what_the_worst_of_what_is_left_does() -> None:
    plan, sides = laid("controller", "panel")
    memories = [CaseMemory(case) for case in plan.cases if case.within is not None]
    fixed = fixed_of(memories[0].case, plan, memories[0].upper_of_coordinates(plan.upper))
    alone = memories[0].sides(fixed)
    spared = Spared([memory.case for memory in memories], alone, plan.upper)
    assert not spared.losable
    n_more = 0
    for side in listed(plan, sides).sides[:12]:
        classes = np.flatnonzero(side)
        one_less = [side - np.where(np.arange(len(side)) == c, 1, 0) for c in classes.tolist()]
        units = {int(alone.needs.unit[c]) for c in classes}
        dead = [np.where(alone.needs.unit == u, 0, side) for u in units]
        right = max(alone.need_wh(left) for left in (side, *one_less, *dead))
        assert spared.need_wh(side) == pytest.approx(right)
        n_more += right > alone.need_wh(side) + 1.0
    assert n_more > 3


def test_nothing_is_told_of_a_loss_that_another_thing_decides() -> None:
    # as the joiner at a controller's input does, without which there is nothing to be lost
    plan, sides = laid("controller")
    losses = [case for case in plan.cases if case.within is not None]
    side = listed(plan, sides).sides[0]
    assert np.any(side)
    alone = CaseMemory(losses[0]).sides(
        fixed_of(losses[0], plan, CaseMemory(losses[0]).upper_of_coordinates(plan.upper))
    )
    assert Spared(losses, alone, plan.upper).need_wh(side) > alone.need_wh(side) + 1.0
    other = next(j for j, _ in sides.capacity_terms())
    elsewhere = [replace(case, within=other) for case in losses]
    assert Spared(elsewhere, alone, plan.upper).need_wh(side) == alone.need_wh(side)


def test_more_than_a_limit_is_not_asked_for() -> None:
    # what a wider plan says is above it is not solved for again
    plan, sides = laid()
    found = listed(plan, sides)
    base = Whole(plan, sides.in_plan, plan.objectives[0], [])
    need = (float(found.need_wh[0]),)
    least = base.least(found.sides[0], need, math.inf, by_itself)

    def never(stated: Stated, **how: Any) -> Answer:
        raise AssertionError

    heavier = Objective("mass", plan.objectives[0].weights, plan.objectives[0].fixed)
    after = Whole(plan, sides.in_plan, heavier, [], base)
    assert after.least(found.sides[0], need, least - 1.0, never) == least
