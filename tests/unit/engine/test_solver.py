"""The adapter reads the solver's status itself, and refuses what the solver would swallow.

Optima are those of small knapsacks worked out by dynamic programming or by hand.
"""

from __future__ import annotations

import math
import random
import time
from dataclasses import replace
from typing import Any

import numpy as np
import pytest

from kitopt.engine import solver
from kitopt.engine.solver import Program, solve
from kitopt.errors import SolverFailed


def covering(weights: list[int], values: list[int], need: int) -> Program:
    """The least weight of pieces whose values reach a need."""
    program = Program()
    columns = [program.add_column(0, 1, integer=True, cost=w) for w in weights]
    program.add_row([(j, float(v)) for j, v in zip(columns, values, strict=True)], lower=need)
    return program


def least_weight(weights: list[int], values: list[int], need: int) -> float:
    """The same by dynamic programming over the value reached."""
    best = [0.0] + [math.inf] * need
    for w, v in zip(weights, values, strict=True):
        for reached in range(need, 0, -1):
            best[reached] = min(best[reached], best[max(0, reached - v)] + w)
    return best[need]


@pytest.mark.parametrize("seed", range(15))
def test_the_optimum_of_a_knapsack(seed: int) -> None:
    rng = random.Random(seed)
    weights = [rng.randint(1, 40) for _ in range(12)]
    values = [rng.randint(1, 30) for _ in range(12)]
    need = rng.randint(1, sum(values))
    answer = solve(covering(weights, values, need))
    assert answer.status == "optimal"
    assert answer.objective == pytest.approx(least_weight(weights, values, need), abs=1e-6)
    assert answer.bound == pytest.approx(answer.objective, abs=1e-6)
    assert answer.values is not None
    chosen = np.round(answer.values)
    assert np.abs(answer.values - chosen).max() < 1e-6
    assert chosen @ values >= need


@pytest.mark.parametrize("relaxed", [False, True])
def test_infeasible_is_said(relaxed: bool) -> None:
    answer = solve(covering([1, 1], [3, 4], 8), relaxed=relaxed)
    assert (answer.status, answer.values, answer.objective) == ("infeasible", None, math.inf)


def test_infeasible_only_in_whole_numbers() -> None:
    # 2x = 1 has the solution x = 1/2 and no whole one
    program = Program()
    program.add_column(0, 5, integer=True, cost=1.0)
    program.add_row([(0, 2.0)], 1.0, 1.0)
    assert solve(program).status == "infeasible"
    assert solve(program, relaxed=True).objective == pytest.approx(0.5)


def test_infeasible_is_checked_again_without_presolve(monkeypatch: pytest.MonkeyPatch) -> None:
    # wrong verdicts with presolve on have been reported to the solver's tracker
    real, asked = solver.Stated.solve, []

    def lying(self: solver.Stated, *, presolve: bool = True, **more: Any) -> solver.Answer:
        asked.append(presolve)
        if presolve:
            return solver.Answer("infeasible", None, math.inf, math.inf)
        return real(self, presolve=presolve, **more)

    monkeypatch.setattr(solver.Stated, "solve", lying)
    answer = solve(covering([1, 1], [3, 4], 7))
    # what do linear terms alone tell, is there any point, and then which is best
    assert asked == [True, False, False, False]
    assert (answer.status, answer.objective) == ("optimal", 2.0)


def test_unbounded_is_no_optimum() -> None:
    # PuLP calls it infeasible; it is neither a kit nor a proof that there is none
    program = Program()
    program.add_column(0, math.inf, integer=False, cost=-1.0)
    with pytest.raises(SolverFailed, match="stopped with"):
        solve(program, relaxed=True)


def hard(n: int = 60) -> Program:
    """A market-split problem: equalities in binaries that no branching settles soon (Cornuéjols and Dawande 1999)."""
    rng = random.Random(1)
    program = Program()
    columns = [program.add_column(0, 1, integer=True) for _ in range(n)]
    for _ in range(6):
        numbers = [float(rng.randint(0, 99)) for _ in columns]
        over, under = (program.add_column(0, math.inf, integer=False, cost=1.0) for _ in range(2))
        half = float(sum(numbers) // 2)
        program.add_row([*zip(columns, numbers, strict=True), (over, -1.0), (under, 1.0)], half, half)
    return program


def test_a_time_limit_with_something_in_hand_is_no_optimum() -> None:
    # PuLP reports it as optimal
    began = time.monotonic()
    answer = solve(hard(), seconds=1.0)
    assert time.monotonic() - began < 60
    assert answer.status == "stopped"
    assert answer.values is not None
    assert answer.bound < answer.objective


def test_a_time_limit_with_nothing_in_hand_gives_no_values() -> None:
    # PuLP gives zeros, which would be the empty kit
    program = hard()
    # without slack even a first point is out of reach
    for j in range(60, 72):
        program.upper[j] = 0.0
    answer = solve(program, seconds=0.5)
    assert answer.status == "stopped"
    assert answer.values is None
    assert answer.objective == math.inf


@pytest.mark.parametrize("nothing", ["kUnknown", "kSolveError"])
def test_what_the_solver_comes_to_nothing_with_is_begun_anew(nothing: str) -> None:
    import highspy

    stated = solver.Stated(covering([1, 1], [3, 4], 7), is_relaxed=True)
    real, cleared = stated._highs, []

    class ComesToNothing:
        """The solver, that does not know until it has begun anew."""

        def __getattr__(self, name: str) -> Any:
            return getattr(real, name)

        def getModelStatus(self) -> Any:
            return real.getModelStatus() if cleared else getattr(highspy.HighsModelStatus, nothing)

        def clearSolver(self) -> Any:
            cleared.append(True)
            return real.clearSolver()

    stated._highs = ComesToNothing()
    assert stated.solve().objective == pytest.approx(2.0)
    assert cleared == [True]


def test_an_option_that_the_solver_does_not_know_is_refused() -> None:
    with pytest.raises(SolverFailed, match="mip_rel_gab"):
        solver.Stated(Program(), is_relaxed=False)._set({"output_flag": False, "mip_rel_gab": 0.0})


def test_no_gap_is_left_between_large_numbers() -> None:
    # the solver's own default leaves 1e-4 of 5,000,000, which is 500
    program = covering([5_000_000, 5_000_001, 5_000_003], [7, 7, 7], 7)
    answer = solve(program)
    assert answer.objective == pytest.approx(5_000_000, abs=1e-3)
    assert answer.values is not None
    assert np.round(answer.values).tolist() == [1, 0, 0]


def test_a_small_shortfall_of_a_large_need_is_seen() -> None:
    # 10,000 Wh needed and 9,999.999 there: the solver's own tolerance of 1e-6 must not be stretched by scaling
    program = Program()
    program.add_column(0, 1, integer=True, cost=1.0)
    program.add_row([(0, 9_999.999 / 10_000)], lower=1.0)
    assert solve(program).status == "infeasible"


def test_a_known_point_changes_nothing_but_time() -> None:
    program = covering([3, 5, 7], [2, 3, 4], 5)
    assert solve(program, start={0: 1.0, 1: 1.0, 2: 1.0}).objective == solve(program).objective == 8.0


def test_the_order_of_columns_is_kept_beyond_the_tenth() -> None:
    # PuLP sorts columns by name, and "x10" comes before "x2"
    program = Program()
    for j in range(25):
        program.add_column(j, j, integer=False, cost=1.0)
    answer = solve(program, relaxed=True)
    assert answer.values is not None
    assert answer.values.tolist() == list(range(25))


def test_each_row_has_its_own_dual() -> None:
    # minimise x + 2y with x + y >= 3 and 0 <= x <= 1 as a two-sided row: dual 2 and -1, by hand
    program = Program()
    x = program.add_column(0, math.inf, integer=False, cost=1.0)
    y = program.add_column(0, math.inf, integer=False, cost=2.0)
    program.add_row([(x, 1.0)], -5.0, 1.0)
    program.add_row([(x, 1.0), (y, 1.0)], lower=3.0)
    answer = solve(program, relaxed=True)
    assert answer.objective == pytest.approx(5.0)
    assert answer.duals is not None
    assert answer.duals[1] == pytest.approx(2.0)


def test_a_row_changed_in_the_solver_reads_like_one_that_was_stated_so() -> None:
    rng = random.Random(3)
    for _ in range(20):
        program = Program()
        for _ in range(6):
            program.add_column(0, rng.choice([0, 1, 5]), integer=False, cost=float(rng.randint(1, 9)))
        short = program.add_column(0, math.inf, integer=False, cost=50.0)
        program.add_row([(j, float(rng.randint(-1, 4))) for j in range(6)], upper=12.0)
        row = program.add_row([*((j, float(rng.randint(1, 5))) for j in range(6)), (short, 1.0)], lower=3.0)
        stated = solver.Stated(program, is_relaxed=True)
        for least in (3.0, 11.0, 0.5, 40.0):
            stated.set_rows(np.array([row]), np.array([least]), np.array([math.inf]))
            program.rows[row] = (program.rows[row][0], least, math.inf)
            kept, anew = stated.solve(), solve(program, relaxed=True)
            assert kept.objective == pytest.approx(anew.objective)
            assert kept.values is not None
            assert sum(c * kept.values[j] for j, c in program.rows[row][0]) >= least - 1e-6


def test_columns_that_their_bounds_fix_count_as_any_other() -> None:
    program = covering([3, 4, 5], [2, 3, 4], 8)
    program.lower[1] = program.upper[1] = 1.0
    answer = solve(program)
    # one of the second, at 4, leaves 5 to be covered: 2 + 4 for 8 is cheaper than 2 + 2 + 2 for 9
    assert answer.objective == pytest.approx(12.0)
    assert answer.values is not None
    assert np.round(answer.values).tolist() == [1, 1, 1]
    assert solve(program, cutoff=11.0).status == "infeasible"
    assert solve(program, cutoff=12.0).objective == pytest.approx(12.0)
    program.lower, program.upper = [0.0, 1.0, 1.0], [0.0, 1.0, 1.0]
    assert solve(program).status == "infeasible"
    program.lower[0] = program.upper[0] = 1.0
    assert (solve(program).status, solve(program).objective) == ("optimal", 12.0)


@pytest.mark.parametrize("is_whole", [False, True])
def test_what_is_told_as_it_stands_has_the_optimum_of_another_solver_to_which_pulp_states_it(*, is_whole: bool) -> None:
    rng, n_kept, n_held = random.Random(5), 0, 0
    for _ in range(30):
        program = Program()
        for _ in range(6):
            upper = rng.choice([0.0, 1.0, 5.0])
            program.add_column(rng.choice([0.0, upper]), upper, integer=is_whole, cost=float(rng.randint(-3, 9)))
        for _ in range(4):
            # a row may have two sides, or equal ones
            terms = [(j, float(rng.randint(-2, 5))) for j in rng.sample(range(6), 4)]
            low = float(rng.randint(-9, 6))
            program.add_row(terms, rng.choice([low, -math.inf]), rng.choice([low, low + 4.0, math.inf]))
        # the terms stay those of its rows where some columns may have less
        terms_of_all = program.terms()
        less = [low if rng.random() < 0.3 else high for low, high in zip(program.lower, program.upper, strict=True)]
        for one in (program, replace(program, upper=[*less[:3], *program.upper[3:]])):
            least = solver.least_otherwise(one)
            answer = solver.Stated(one, is_relaxed=not is_whole, as_it_stands=terms_of_all).solve()
            assert (answer.status == "infeasible") is (least is None)
            assert least is None or answer.objective == pytest.approx(least)
            n_kept += least is not None
            n_held += least is None
    assert min(n_kept, n_held) >= 5
