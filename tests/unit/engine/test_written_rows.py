"""What is learned, written into a program: the least number of batteries of 10 Wh that obeys it, by hand."""

from __future__ import annotations

from dataclasses import replace
from types import SimpleNamespace
from typing import cast

import numpy as np
import pytest
from dark_batteries import memory

from kitopt.engine import write
from kitopt.engine.learned import CaseMemory
from kitopt.engine.sides import Sides
from kitopt.engine.solver import Program, solve
from kitopt.engine.write import Asked, add_joint, add_learned


def fewest(some: CaseMemory, *others: int) -> float:
    """How many batteries obey what was learned, beside what goes along and so many of other things."""
    program = Program()
    program.add_column(0, 9, integer=True, cost=1.0)
    for n in (1, *others):
        program.add_column(n, n, integer=True)
    add_learned(program, some, some.upper_of_coordinates(np.array([9.0, 1.0, *(1.0 for _ in others)])))
    return solve(program).objective


@pytest.mark.parametrize("few_rows", [40, 0], ids=["in counts", "in coordinates"])
@pytest.mark.parametrize(("n_allowed", "least"), [(0, 3), (1, 3), (2, 2)])
def test_windows_may_be_given_up_but_no_more_than_may_fail(
    n_allowed: int, least: int, few_rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # 18 Wh in all; two batteries have 20, 18.75, 17.5 and 16.25 Wh in four windows, three at least 24
    monkeypatch.setattr(write, "_FEW_ROWS", few_rows)
    some = memory(4, n_allowed, hours=1.0, load_w=17.0)
    some.learn_windows(np.array([1.0, 1.0]), some.judge(np.array([1.0, 1.0])))
    # of two that may fail as many windows are asked as there are; of none the two that are hardest
    assert len({row.window for row in some.window_rows}) == (2 if n_allowed == 0 else 4)
    assert fewest(some) == pytest.approx(least)


@pytest.mark.parametrize("few_rows", [40, 0], ids=["in counts", "in coordinates"])
@pytest.mark.parametrize(("n_allowed", "least"), [(0, 3), (1, 3), (2, 2)])
def test_rows_bind_no_kit_of_which_the_case_is_not_asked(
    n_allowed: int, least: int, few_rows: int, monkeypatch: pytest.MonkeyPatch
) -> None:
    # as above, of a thing that is lost with a joiner: 17 Wh are to be met only where the joiner is there
    monkeypatch.setattr(write, "_FEW_ROWS", few_rows)
    for learn in (CaseMemory.learn, CaseMemory.learn_windows):
        some = memory(4, n_allowed, hours=1.0, load_w=17.0)
        some.case = replace(some.case, within=2, less=((1, 0, 0.0),))
        learn(some, np.array([1.0, 1.0]), some.judge(np.array([1.0, 1.0])))
        for is_there in (0, 1):
            found = fewest(some, is_there)
            # a row that holds whichever windows are given up may ask for less than these together
            assert found == 0.0 if not is_there else 0.0 < found <= least
        assert found == least or learn is CaseMemory.learn


def asked(program: Program, each_wh: list[list[float]], in_all_wh: float) -> Asked:
    """One plant of batteries that may have a side for each list of what its windows ask."""
    batteries = program.add_column(0, 9, integer=True, cost=1.0)
    chosen = [program.add_column(0, 1, integer=True) for _ in each_wh]
    program.add_row([(y, 1.0) for y in chosen], 1.0, 1.0)
    sides = cast(Sides, SimpleNamespace(capacity_terms=lambda: [(batteries, 10.0)]))
    program.add_row([(batteries, 10.0)], lower=in_all_wh)
    return Asked(sides, chosen, np.full(len(each_wh), in_all_wh), np.array(each_wh))


@pytest.mark.parametrize(("n_allowed", "least"), [(0, 6), (1, 4), (2, 3)])
def test_several_plants_give_up_the_same_windows(n_allowed: int, least: int) -> None:
    """One asks 10, 20, 30 Wh, the other 30, 10, 10, and 10 in any case: by hand.

    Of none given up 3 and 3 batteries; of one it is the first window, 3 and 1; of two the first and the last, 2 and 1.
    """
    program = Program()
    plants = [asked(program, [[10.0, 20.0, 30.0]], 10.0), asked(program, [[30.0, 10.0, 10.0]], 10.0)]
    add_joint(program, memory(3, n_allowed).case, plants)
    assert solve(program).objective == pytest.approx(least)


def test_of_two_sides_that_which_asks_less_is_taken() -> None:
    # 20 and 30 Wh of the one, 10 and 20 of the other, each in all 10: with one window given up 2 batteries, or 1
    program = Program()
    plant = asked(program, [[20.0, 30.0], [10.0, 20.0]], 10.0)
    add_joint(program, memory(2, 1).case, [plant])
    found = solve(program)
    assert found.objective == pytest.approx(1.0)
    only = Program()
    add_joint(only, memory(2, 1).case, [asked(only, [[20.0, 30.0]], 10.0)])
    assert solve(only).objective == pytest.approx(2.0)


def test_as_many_hard_windows_as_may_fail_ask_nothing() -> None:
    program = Program()
    plant = asked(program, [[10.0, 20.0, 30.0]], 10.0)
    n_before = len(program.rows)
    add_joint(program, memory(3, 2).case, [plant])
    assert len(program.rows) == n_before
