"""Rows of a certificate on batteries of 10 Wh at 100 g in the dark: what is left to be solved, by hand.

17 Wh are drawn, and 1 Wh by what goes along. Two batteries leave 20, 18.75, 17.5 and 16.25 Wh in four windows, three
at least 24 Wh.
"""

from __future__ import annotations

from collections.abc import Sequence

import numpy as np
import pytest
from dark_batteries import memory

from kitopt.certificate.learned import Learned, Origin
from kitopt.certificate.proof import Stated, prove
from kitopt.engine import Objective, Plan
from kitopt.engine.solver import solve


def plan(n_allowed: int, n_cases: int = 1) -> Plan:
    cases = tuple(memory(4, n_allowed, hours=1.0, load_w=17.0).case for _ in range(n_cases))
    return Plan(np.array([0.0, 1.0]), np.array([5.0, 1.0]), (), cases, (Objective("mass", np.array([100.0, 0.0])),))


def least_g(made: Plan, origins: list[Origin], rows: Sequence[Learned]) -> float:
    return solve(Stated(made, origins, rows=list(rows)).program()).objective


def kit(batteries: int) -> np.ndarray:
    return np.array([float(batteries), 1.0])


@pytest.mark.parametrize(("n_allowed", "grams"), [(0, 300.0), (1, 300.0), (2, 200.0), (4, 0.0)])
def test_of_the_windows_own_rows_as_many_are_left_out_as_may_fail(n_allowed: int, grams: float) -> None:
    made = plan(n_allowed)
    origin = Origin(0, made, made.cases[0])
    rows = [origin.spell(kit(1), window) for window in range(4)]
    assert [row.spell for row in rows] == [0, 1, 2, 3]
    assert least_g(made, [origin], rows) == pytest.approx(grams)


def test_each_case_leaves_out_its_own() -> None:
    made = plan(2, n_cases=2)
    origins = [Origin(number, made, case) for number, case in enumerate(made.cases)]
    rows = [origin.spell(kit(1), window) for origin in origins for window in range(4)]
    assert least_g(made, origins, rows) == pytest.approx(200.0)
    # were all that are left out counted together, two of eight would be too few
    assert origins[0].n_allowed == 2


def test_a_row_of_more_windows_than_may_fail_holds_whichever_are_left_out() -> None:
    made = plan(1)
    origin = Origin(0, made, made.cases[0])
    assert origin.cut(kit(1), [3]) is None
    assert origin.cut(kit(1), [3, 3]) is None
    row = origin.cut(kit(1), [2, 3])
    assert row is not None
    # of the two the third window leaves more: 8.75 Wh a battery, 18 Wh to be met
    assert dict(row.terms) == pytest.approx({0: 8.75 / 17.0, 1: -1.0 / 17.0}, rel=1e-5)
    assert row.lower == 1.0
    assert least_g(made, [origin], [row]) == pytest.approx(300.0)


def test_a_refused_kit_is_left_out_and_no_other() -> None:
    made = plan(1)
    origin = Origin(0, made, made.cases[0])
    assert origin.kit(kit(3)) is None
    refused = [origin.kit(kit(n)) for n in (0, 1)]
    assert least_g(made, [origin], [row for row in refused if row is not None]) == pytest.approx(200.0)
    second = origin.kit(kit(1))
    assert second is not None
    assert least_g(made, [origin], [second]) == pytest.approx(0.0)


@pytest.mark.parametrize(("n_allowed", "grams"), [(1, 300.0), (2, 200.0)])
def test_a_proof_leaves_nothing_below_the_best(n_allowed: int, grams: float) -> None:
    made = plan(n_allowed)
    stated = prove(made, grams)
    assert solve(stated.program(grams - 1.0)).status == "infeasible"
    assert solve(stated.program()).objective == pytest.approx(grams)
