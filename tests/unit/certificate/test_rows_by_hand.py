"""Rows of a certificate on batteries of 10 Wh at 100 g in the dark: what is left to be solved, by hand.

17 Wh are drawn, and 1 Wh by what goes along. Two batteries leave 20, 18.75, 17.5 and 16.25 Wh in four windows, three
at least 24 Wh.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from dark_batteries import memory

from kitopt.budget import UNLIMITED
from kitopt.certificate.document import _LISTED, differences
from kitopt.certificate.learned import Learned, Origin
from kitopt.certificate.proof import Stated, _Prover, prove
from kitopt.certificate.stated import _survived
from kitopt.certificate.verify import _case_of_others
from kitopt.engine import Objective, Plan
from kitopt.engine.case import Trial
from kitopt.engine.judge import TOLERANCE_WH
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


@pytest.mark.parametrize(("is_there", "grams"), [(0, 0.0), (1, 300.0)])
def test_rows_bind_no_kit_of_which_the_case_is_not_asked(is_there: int, grams: float) -> None:
    # what is lost with a joiner is lost only where the joiner is there
    case = replace(memory(4, 1, hours=1.0, load_w=17.0).case, within=2, less=((1, 0, 0.0),))
    upper = np.array([5.0, 1.0, float(is_there)])
    cost = Objective("mass", np.array([100.0, 0.0, 0.0]))
    made = Plan(np.array([0.0, 1.0, float(is_there)]), upper, (), (case,), (cost,))
    origin = Origin(0, made, case)
    at = np.array([1.0, 1.0, float(is_there)])
    cut = origin.cut(at, [2, 3])
    assert cut is not None
    assert least_g(made, [origin], [cut]) == pytest.approx(grams)
    assert least_g(made, [origin], [origin.spell(at, window) for window in range(4)]) == pytest.approx(grams)


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


def test_what_the_case_does_not_know_is_not_told() -> None:
    made = plan(1)
    wider = Plan(np.zeros(3), np.array([5.0, 1.0, 9.0]), (), made.cases, (Objective("mass", np.ones(3)),))
    row = Origin(0, wider, wider.cases[0]).cut(np.array([1.0, 1.0, 4.0]), [2, 3])
    assert row is not None
    assert row.counts == ((0, 1.0), (1, 1.0))


def test_a_kit_that_is_proposed_again_is_refused_by_itself() -> None:
    # a solver keeps rows within a tolerance: what it proposes in spite of them is ruled out for good
    made = plan(1)
    prover = _Prover(made, 300.0, UNLIMITED)
    prover._refuse(kit(2))
    n_before = len(prover.stated.rows)
    assert n_before
    prover._refuse(kit(2))
    assert prover.stated.rows[n_before:] == [Origin(0, made, made.cases[0]).kit(kit(2))]


def test_a_margin_a_rounding_below_zero_counts_as_survived() -> None:
    assert _survived(np.array([1.0, -TOLERANCE_WH, -1.0])) == {"survived": 2, "lowest_wh": -TOLERANCE_WH}
    assert _survived(np.array([-1.0])) == {"survived": 0, "lowest_wh": 0.0}


@pytest.mark.parametrize(
    ("spells", "is_one"),
    [([0, 3], True), ([3, 9], True), ([], False), ([-1, 3], False), ([3, 10], False), ([3, 3], False), ([4, 3], False)],
)
def test_other_spells_are_some_of_all_in_their_order(spells: list[int], is_one: bool) -> None:
    trial = Trial(lambda n: n - 1, lambda counts: None, lambda windows: memory(len(windows), 0).case)
    one: Any = SimpleNamespace(plan=SimpleNamespace(trials=[trial]))
    found = _case_of_others(one, spells, [10])
    assert (found is not None) is is_one
    # of all ten one may fail, and of the two no more
    assert found is None or found.n_allowed == 1
    assert _case_of_others(one, [0], []) is None


def test_the_first_few_differences_of_a_place_are_told() -> None:
    found = list(differences([0] * (_LISTED + 5), [1] * (_LISTED + 5), "rows"))
    assert [fault.column for fault in found] == [f"rows[{i}]" for i in range(_LISTED)]
    assert list(differences({"a": 1.0}, {"a": 1.0 + 1e-9}, "")) == []
