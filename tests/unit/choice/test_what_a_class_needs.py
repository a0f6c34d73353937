"""What is known of a bus class before any work: a battery that makes it what it is is packed, or bought."""

from __future__ import annotations

import random
from dataclasses import replace
from functools import partial

import pytest
from oracle.many import dated, several

from kitopt.budget import UNLIMITED
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.search import Search
from kitopt.model.bus import BusClass, setters_of
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky


def _the_same(sky: Sky, _: Operation) -> Sky:
    return sky


def _problems(n: int) -> list[Problem]:
    found = []
    for number in range(n):
        some = dated(several(number, 1), random.Random(number))
        (task,) = some.tasks
        offered = {battery.id: 1 for battery in some.inventory.batteries if number % 2 and battery.count == 1}
        prices = dict.fromkeys(offered, 1_000)
        wanted = (Wanted((task.operation,)),)
        sky_of = partial(_the_same, task.sky)
        found.append(Problem(wanted, some.inventory, sky_of, ((0,),), offered=offered, prices=prices))
    return found


@pytest.mark.parametrize("name", ["mass", "items", "cost"])
def test_no_kit_of_a_class_has_less_than_is_known_of_it_before(name: str) -> None:
    n_told = 0
    for problem in _problems(20):
        allowed = problem.offered
        every = Search(problem, [name], UNLIMITED, allowed, told="none")
        for bus in every.classes:

            def is_other(one: BusClass, bus: BusClass = bus) -> bool:
                return one != bus

            found = Search(problem, [name], UNLIMITED, allowed, told="none", skips=is_other).alone(0)
            floor = every._floor_of([0], bus)
            assert floor <= found.value
            setters = {battery.id for some in setters_of(bus) for battery in some}
            assert found.best is None or setters & found.best.program.used(found.best.outcome.counts)[0].keys()
            n_told += floor > every._floor([0])
    assert n_told >= 5


def test_a_class_that_is_too_heavy_by_itself_is_left_out_unless_it_is_told_of() -> None:
    n_left_out = 0
    for problem in _problems(20):
        first = problem.stock.batteries[0]
        worse = {"efficiency": first.efficiency - 0.01, "lowest_charging_degc": first.lowest_charging_degc + 1.0}
        heavy = replace(first, id="much-too-heavy", mass_g=50_000, count=1, **worse)
        stock = replace(problem.stock, batteries=(*problem.stock.batteries, heavy))
        with_heavy = Problem(problem.wanted, stock, problem.sky_of)
        told = Search(with_heavy, ["mass"], UNLIMITED).alone(0)
        untold = Search(with_heavy, ["mass"], UNLIMITED, told="none")
        found = untold.alone(0)
        assert found.value == told.value
        assert len(told.tried) == len(untold.classes)
        if found.has_kits and found.value < heavy.mass_g:
            of_heavy = [k for k, bus in enumerate(untold.classes) if (heavy,) in setters_of(bus)]
            assert all(untold._bounds[0, k] >= heavy.mass_g for k in of_heavy)
            n_left_out += len(of_heavy)
    assert n_left_out >= 5
