"""Steps of choosing several kits that need no solver: what is bought together, what is sure, what lasts, by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any, cast

import numpy as np
import pytest
from dark_batteries import conditions, memory
from oracle.instances import battery, sky

from kitopt.choice.classes import OverClasses
from kitopt.choice.found import Found
from kitopt.choice.laid import Laid
from kitopt.choice.lasts import lasts_h
from kitopt.choice.offers import unpriced
from kitopt.choice.problem import most_of_each
from kitopt.choice.program import Program
from kitopt.choice.search import Search
from kitopt.choice.side_by_side import SideBySide, _if_made
from kitopt.engine import Row
from kitopt.engine.solver import solve


def test_what_has_no_price_is_told() -> None:
    assert unpriced([battery("dear", 4.0), battery("unknown", 4.0, price_cents=None)]) == ["unknown"]


def test_what_is_bought_for_one_outing_serves_another_after_it() -> None:
    assert most_of_each({"a": 1, "b": 3}, {"a": 2, "c": 1}) == {"a": 2, "b": 3, "c": 1}


@pytest.mark.parametrize(("bound", "is_sure"), [(10.0, True), (9.0, False), (math.inf, True)])
def test_an_answer_is_sure_when_nothing_less_is_open(bound: float, is_sure: bool) -> None:
    best: Any = SimpleNamespace(outcome=SimpleNamespace(objective=10.0))
    assert OverClasses(best, (), bound).is_sure is is_sure


def test_without_counts_only_an_infinite_bound_is_sure() -> None:
    assert OverClasses(None, (), math.inf).is_sure
    assert not OverClasses(None, (), 9.0).is_sure


@pytest.mark.parametrize(("name", "least"), [("cost", 5.0), ("mass", 8.0), ("items", 8.0)])
def test_what_is_bought_may_serve_all_and_what_is_carried_may_not(name: str, least: float) -> None:
    # alone they need 3 and 5 at the least
    some: Any = SimpleNamespace(names=(name,))
    each = {0: Found(None, 3.0, is_sure=False), 1: Found(None, 5.0, is_sure=False)}
    assert Search.least_of(some, each) == least


def test_for_no_outing_nothing_is_needed() -> None:
    found = Search.together(cast(Any, None), [])
    assert (found.best, found.bound, found.is_sure) == (None, 0.0, True)


@pytest.mark.parametrize(
    ("bought", "n_rows"), [({"a": 2}, 2), ({"a": 1, "b": 1}, 3), ({"a": 3}, 0), ({"a": 1, "c": 1}, 0)]
)
def test_a_purchase_that_cannot_be_made_needs_no_row_against_it(bought: dict[str, int], n_rows: int) -> None:
    # two of a and one of b are on offer
    side = SideBySide()
    some: Any = SimpleNamespace(side=side, buys={"a": side.add_column(2.0), "b": side.add_column(1.0)})
    Program.forbid_purchase(some, bought)
    assert len(side.rows) == n_rows
    if n_rows:
        program = side.plan([], [], [], []).program(np.zeros(len(side.upper)))
        for item_id, j in some.buys.items():
            program.lower[j] = bought.get(item_id, 0)
        assert solve(program).status == "infeasible"


def test_what_is_laid_out_is_for_the_very_same_weather() -> None:
    one, other = sky([[0.0]]), sky([[0.0]])
    laid = Laid(("asked",), (one, other), cast(Any, None), 0, ())
    assert laid.is_for(("asked",), [one, other])
    assert not laid.is_for(("asked",), [one, one])
    assert not laid.is_for(("asked",), [one])
    assert not laid.is_for(("more",), [one, other])


@pytest.mark.parametrize(("n_allowed", "hours"), [(0, 3.0), (1, 5.0), (2, math.inf)])
def test_counts_last_until_more_windows_fail_than_may(n_allowed: int, hours: float) -> None:
    # 2 W over hours 1, 2, 2 and 1 long draw 2, 6, 10 and 12 Wh: of 10 Wh too much in the last step, of the 6.25 Wh that
    # the cold window leaves in the one before
    case = memory(2, n_allowed).case
    longer = replace(
        conditions(2, 4),
        load_w=np.array([2.0, 2.0, 2.0, 2.0]),
        step_h=np.array([1.0, 2.0, 2.0, 1.0]),
        capacity_share=np.array([[1.0] * 4, [0.625] * 4]),
    )
    assert lasts_h(replace(case, conditions=longer), np.array([1.0, 0.0])) == hours


def test_a_row_asks_nothing_of_a_kit_that_is_not_made() -> None:
    three = Row(((0, 1.0),), lower=3.0, upper=5.0)
    # column 1 says whether it is made: then 3 to 5, else 0 to 5
    rows = _if_made(three, 1)
    keeps = {
        (n, made): all(row.holds(np.array([float(n), float(made)])) for row in rows)
        for n in range(7)
        for made in (0, 1)
    }
    assert [n for n in range(7) if keeps[n, 1]] == [3, 4, 5]
    assert [n for n in range(7) if keeps[n, 0]] == [0, 1, 2, 3, 4, 5]
    owes = _if_made(Row(((0, -1.0),), upper=-2.0), 1)
    assert [n for n in range(4) if all(row.holds(np.array([float(n), 1.0])) for row in owes)] == [2, 3]
    assert all(row.holds(np.array([0.0, 0.0])) for row in owes)
