"""What was laid out, listed or refused before is gone on with: it must be what would come of it anew."""

from __future__ import annotations

import contextlib
import math
from dataclasses import replace
from functools import cache

import numpy as np
import pytest

from kitopt.budget import OutOfTime
from kitopt.choice.laid import Dated, Layouts, build_model
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.program import Program
from kitopt.engine import Plan, choose
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listing, fixed_of
from kitopt.engine.sides import Sides
from kitopt.inventory import demo_folder, read_inventory
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.operation import read_operation
from kitopt.operation.terms import Operation
from kitopt.sky import Sky, windows_for

HOURS = (26.0, 4.0, 13.0, 52.0)


@cache
def demo(hours: float) -> tuple[Inventory, Operation, Sky]:
    """The demo under a few spells of weather."""
    inventory = read_inventory(demo_folder())
    outing = read_operation(demo_folder() / "operations" / "coastal-checkpoint.toml")
    outing = replace(outing, hours=hours, need=replace(outing.need, windows=60))
    return inventory, outing, windows_for(outing)


def test_a_model_for_other_hours_is_what_would_be_laid_out_anew() -> None:
    layouts, n_forbidden = Layouts(), 0
    for hours in HOURS:
        inventory, outing, weather = demo(hours)
        for bus in bus_classes(inventory.batteries):
            found = layouts.of(Dated((outing,), inventory, bus, (weather,))).model
            anew = build_model(outing, inventory, bus, weather)
            assert (found.columns, found.rows, found.blocks) == (anew.columns, anew.rows, anew.blocks)
            n_forbidden += not layouts.allow_any(Dated((outing,), inventory, bus, (weather,)))
    # most were taken again
    assert len({id(one.model.columns) for one in layouts._ruled}) < len(HOURS) * len(bus_classes(inventory.batteries))
    assert n_forbidden > 0


def test_a_class_that_the_rules_forbid_has_no_kit_whatever_the_weather() -> None:
    inventory, outing, weather = demo(26.0)
    for bus in bus_classes(inventory.batteries):
        problem = Problem((Wanted((outing,)),), inventory, lambda _, weather=weather: weather)
        program = Program(problem, {0: [bus]})
        plan = replace(program.plan(["mass"]), cases=(), trials=())
        has_any = choose(plan).counts is not None
        # a relaxed program may allow what no whole counts do, never the other way round
        assert problem.layouts.allow_any(Dated((outing,), inventory, bus, (weather,))) or not has_any


def sides_of_demo() -> tuple[Plan, Sides]:
    """The lightest kit of the class with most batteries: its plan, and the sides of its first case."""
    inventory, outing, weather = demo(26.0)
    bus = max(bus_classes(inventory.batteries), key=lambda one: len(one.batteries))
    plan = Program(Problem((Wanted((outing,)),), inventory, lambda _: weather), {0: [bus]}).plan(["mass"])
    memory = CaseMemory(plan.cases[0])
    return plan, memory.sides(fixed_of(memory.case, plan, memory.upper_of_coordinates(plan.upper)))


@pytest.mark.parametrize("few", [1.0, 2.0])
def test_a_listing_that_goes_on_tells_what_one_anew_does(few: float) -> None:
    plan, sides = sides_of_demo()
    mass = plan.objectives[0]

    def listed(*asked: tuple[float, float]) -> set[tuple[bytes, float]]:
        listing = Listing(plan, [sides], mass, lambda: math.inf)
        for most, n in asked:
            found = listing.within(most, n)
        assert math.isinf(found.others)
        return {(side.tobytes(), round(need, 6)) for side, need in zip(found.sides, found.need_wh, strict=True)}

    value = 1.05 * choose(replace(plan, trials=())).objective
    anew = listed((value, math.inf))
    assert len(anew) > few
    gone_on = listed((1.1 * value, few), (value, 2.0 * few), (value, math.inf))
    # prices that were learned on the way may leave out more, never what is part of a best kit
    assert gone_on <= anew
    best = choose(replace(plan, trials=())).counts
    assert best is not None
    assert np.asarray(sides.of(best)).tobytes() in {side for side, _ in gone_on}


@pytest.mark.parametrize("n_looks", [1, 3, 10, 30])
def test_a_listing_that_was_interrupted_loses_nothing(n_looks: int) -> None:
    plan, sides = sides_of_demo()
    value, left = choose(replace(plan, trials=())).objective, [math.inf]

    def left_s() -> float:
        left[0] -= 1.0
        if left[0] < 0.0:
            raise OutOfTime
        return math.inf

    def told(listing: Listing) -> set[bytes]:
        return {side.tobytes() for side in listing.within(value).sides}

    listing = Listing(plan, [sides], plan.objectives[0], left_s)
    listing.within(1.1 * value, 1.0)
    left[0] = float(n_looks)
    with contextlib.suppress(OutOfTime):
        listing.within(1.1 * value, 100.0)
    assert left[0] < 0.0
    left[0] = math.inf
    best = choose(replace(plan, trials=())).counts
    assert best is not None
    here = told(listing)
    assert np.asarray(sides.of(best)).tobytes() in here
    assert here == told(Listing(plan, [sides], plan.objectives[0], lambda: math.inf))
