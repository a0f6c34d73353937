"""What a plan says of itself before anything is solved, and what a trial sends back: by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction

import numpy as np
import pytest
from dark_batteries import memory
from numpy.typing import NDArray

from kitopt.budget import OutOfTime
from kitopt.engine import Case, Objective, Plan, Row
from kitopt.engine.case import Trial
from kitopt.engine.judge import TOLERANCE_WH
from kitopt.engine.solver import FEASIBILITY, solve


def plan(
    *rows: Row, lower: tuple[float, ...] = (0.0, 0.0), upper: tuple[float, ...] = (3.0, 3.0), **more: object
) -> Plan:
    made = Plan(np.array(lower), np.array(upper), rows, (), (Objective("mass", np.ones(len(upper))),))
    return replace(made, **more)  # type: ignore[arg-type]


def test_the_least_and_the_most_of_an_objective() -> None:
    # 0 to 3, twice 0 to 1, less 1 to 4, and 10
    of = Objective("mass", np.array([1.0, 2.0, -1.0]), fixed=10)
    bounds = {"lower": (0.0, 0.0, 1.0), "upper": (3.0, 1.0, 4.0)}
    free = plan(**bounds)  # type: ignore[arg-type]
    assert (free.least(of), free.most(of)) == (6.0, 14.0)
    # the first two together are 2 at most, and the last takes 1 off; a row about one of three says nothing
    row = Row(((0, 1.0), (1, 2.0)), upper=2.0)
    assert plan(row, **bounds).most(of) == 11.0  # type: ignore[arg-type]
    assert plan(replace(row, terms=((0, 1.0),)), **bounds).most(of) == 14.0  # type: ignore[arg-type]


def test_a_row_keeps_an_objective_at_a_value() -> None:
    of = Objective("mass", np.array([1.0, 0.0, 3.0]), fixed=4)
    assert of.most(math.inf) is None
    row = of.most(10.0)
    assert row is not None
    # 4 of the 10 are there anyhow
    assert row.holds(np.array([3.0, 9.0, 1.0]))
    assert not row.holds(np.array([4.0, 0.0, 1.0]))


@pytest.mark.parametrize(
    ("row", "is_too_much"),
    [
        # of columns of 0 to 3 there are 6 at most, or 9 with one of them twice, or 3 less what must be of the other
        (Row(((0, 1.0), (1, 1.0)), lower=6.0), False),
        (Row(((0, 1.0), (1, 1.0)), lower=6.5), True),
        (Row(((0, 2.0), (1, 1.0)), lower=9.0), False),
        (Row(((0, 1.0), (1, -1.0)), lower=2.5), True),
        (Row((), lower=1.0), True),
        (Row(((0, 1.0),), upper=0.0), False),
    ],
)
def test_a_rule_that_asks_for_more_than_there_is_forbids_all(row: Row, is_too_much: bool) -> None:
    some = plan(row, lower=(0.0, 1.0))
    assert some.forbids_all == is_too_much
    if row.terms:
        assert (solve(some.program(np.ones(2))).status == "infeasible") == is_too_much


def test_of_rows_of_which_one_must_hold_one_is_enough() -> None:
    either = (Row(((0, 1.0),), upper=1.0), Row(((1, 1.0),), upper=1.0))
    four = Row(((0, 1.0), (1, 1.0)), lower=4.0)
    # 3 and 1, at 1 and 2 each; with neither above 1 there would be no 4, and 2 and 2 keep none
    some = plan(four, either=either)
    answer = solve(some.program(np.array([1.0, 2.0])))
    assert answer.objective == pytest.approx(5.0)
    assert some.broken_rows(np.array([3.0, 1.0])) == []
    assert some.broken_rows(np.array([2.0, 2.0])) == list(either)


@pytest.mark.parametrize("size", [0.01, 1.0, 1000.0])
def test_a_row_is_kept_within_what_the_solver_keeps(size: float) -> None:
    """Twice its tolerance for coefficients up to 1, as many times more for larger ones."""
    row = Row(((0, size),), upper=2.0 * size)
    slack = 2.0 * FEASIBILITY * max(1.0, size) / size
    inside, outside = np.array([2.0 + 0.9 * slack, 0.0]), np.array([2.0 + 1.1 * slack, 0.0])
    assert row.holds(inside)
    assert not row.holds(outside)
    assert plan(row).broken_rows(inside) == []
    assert plan(row).broken_rows(outside) == [row]


@pytest.mark.parametrize(
    ("served", "within", "is_asked"), [(1, 1, True), (0, 1, False), (1, 0, False), (None, 1, True)]
)
def test_a_case_is_asked_where_it_is_served_and_not_told_by_others(
    served: int | None, within: int, is_asked: bool
) -> None:
    case = replace(memory(2, 0).case, served=None if served is None else 2, within=3)
    assert case.is_asked(np.array([5.0, 5.0, float(served or 0), float(within)])) is is_asked


def trial(margins: list[float] | None, n_needed: int) -> Trial:
    every = None if margins is None else np.array(margins)
    return Trial(lambda n: n_needed, lambda counts: every, lambda windows: memory(len(windows), 0).case)


def test_a_trial_that_is_not_asked_or_fails_no_more_than_may_is_passed() -> None:
    counts = np.zeros(2)
    assert not trial(None, 3).fails(counts)
    assert not trial([1.0, -1.0, 1.0], 2).fails(counts)
    # a rounding below zero is survived
    assert not trial([1.0, -TOLERANCE_WH, 1.0], 3).fails(counts)


def test_a_failed_trial_sends_the_hardest_windows_back() -> None:
    # two of twenty may fail, and three do: of the hardest, those three among them, as many may fail
    failed = trial([1.0] * 10 + [-1.0, -2.0, -3.0] + [0.5] * 7, 18)
    assert failed.fails(np.zeros(2))
    assert {10, 11, 12} <= set(failed.taken.tolist())
    assert len(failed.taken) < 20
    (case,) = failed.cases
    assert case.confidence == Fraction(len(failed.taken) - 2, len(failed.taken))
    assert case.n_allowed == 2


def test_a_trial_for_which_the_time_was_up_is_failed_again() -> None:
    is_late = True

    def case_of(windows: NDArray[np.intp]) -> Case:
        if is_late:
            raise OutOfTime
        return memory(len(windows), 0).case

    margins_wh = np.array([-1.0] * 3 + [1.0] * 17)
    failed = Trial(lambda n: 18, lambda counts: margins_wh, case_of)
    with pytest.raises(OutOfTime):
        failed.fails(np.zeros(2))
    is_late = False
    assert failed.fails(np.zeros(2))
    assert len(failed.cases) == 1


def test_values_of_an_objective_differ_by_whole_steps() -> None:
    # 250 x + 400 y + 30 can be 30, 280, 430, 530, ...: what differs is a multiple of 50
    of = Objective("cost", np.array([250.0, 0.0, 400.0]), fixed=30)
    assert of.step == 50
    assert (of.at_least(31.0), of.at_least(80.0), of.at_least(-math.inf)) == (80.0, 80.0, -math.inf)
    assert (of.at_most(79.0), of.at_most(80.0), of.at_most(math.inf)) == (30.0, 80.0, math.inf)
    # of a solver's point a trifle above a value is that value
    assert of.at_least(80.0 + 1e-7) == 80.0
    assert Objective("nothing", np.zeros(2)).step == 1
