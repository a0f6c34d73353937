"""How a search goes on until the best is known: what listing, memory and solver tell it is written down here."""

from __future__ import annotations

import math
from dataclasses import replace
from types import SimpleNamespace
from typing import Any

import numpy as np
import pytest
from dark_batteries import memory

from kitopt.budget import UNLIMITED, OutOfTime
from kitopt.engine import Objective, Outcome, Plan
from kitopt.engine.by_sides import Refused
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listed
from kitopt.engine.plan import Row
from kitopt.engine.prices import TooMany
from kitopt.engine.search import _Chooser, choose
from kitopt.engine.solver import solve
from kitopt.errors import ModelError

MASS = Objective("mass", np.array([1.0]))


def sides(n: int, others: float = math.inf) -> Listed:
    """So many sides; a kit with another costs at least that."""
    return Listed(np.zeros((n, 1), dtype=np.int64), np.zeros(n), np.zeros(n), others)


class Told:
    """A listing that gives what is written down, and keeps what it was asked."""

    def __init__(self, *answers: Listed | None) -> None:
        self.answers = list(answers)
        self.asked: list[tuple[float, float]] = []

    reach, n_looked_at = -math.inf, 0

    def within(self, most: float, few: float = math.inf) -> Listed:
        self.asked.append((most, few))
        answer = self.answers.pop(0)
        if answer is None:
            raise TooMany
        return answer


def chooser(told: Told, *best: float | None, most: float = 20.0) -> _Chooser:
    """One that finds these, in turn, among the sides that it is given; None where there is nothing."""
    made = _Chooser(Plan(np.zeros(1), np.array([most]), (), (), (MASS,)), UNLIMITED, math.inf, [], -math.inf)
    found = list(best)

    def settle(*_: Any, **__: Any) -> bool:
        value = found.pop(0)
        if value is not None:
            made.best = np.array([value])
        return value is not None

    listings: list[Any] = [told]
    made._listings, made._settle = listings, settle  # type: ignore[method-assign]
    return made


@pytest.mark.parametrize(("others", "best"), [(8.5, 9.0), (9.5, 10.0)])
def test_what_may_be_one_better_is_asked_for(others: float, best: float) -> None:
    # 10 is found, and what is not told costs 8.5 or 9.5 at least: 9 in whole numbers, or 10
    told = Told(sides(1, others), sides(2), sides(2))
    some = chooser(told, 10.0, 9.0)
    assert some._among_sides(MASS, 12.0)
    assert some.best is not None
    assert (some.best[0], some.bound) == (best, best)


def test_where_the_first_sides_give_nothing_more_are_asked_for() -> None:
    told = Told(sides(1, 3.0), sides(4), sides(4))
    some = chooser(told, None, 7.0)
    assert some._among_sides(MASS, 12.0)
    assert some.bound == 7.0
    assert told.asked[1][1] > told.asked[0][1]


def test_too_many_sides_are_asked_for_within_less_until_that_is_next_to_nothing() -> None:
    told = Told(None, sides(1), sides(1))
    some = chooser(told, 1010.0, most=5000.0)
    some.bound = 1000.0
    assert some._among_sides(MASS, math.inf)
    assert 1000.0 < told.asked[1][0] < told.asked[0][0]
    assert some.bound == 1010.0
    # with a kit in hand too: 5 % of the bound, the half, the half of that, and no less than 1 %
    told = Told(None, None, None, None)
    known = chooser(told, most=5000.0)
    known.bound, known.best = 1000.0, np.array([1200.0])
    with pytest.raises(TooMany):
        known._among_sides(MASS, math.inf)
    assert [most for most, _ in told.asked] == [1050.0, 1025.0, 1012.5]


def test_what_is_found_above_what_was_listed_does_not_widen_it_while_more_waits_there() -> None:
    # 12 is found within 8; what waits there is told first, then what lies between, up to less than 12
    told = Told(sides(1, 7.0), sides(4), sides(4), sides(4), sides(4), sides(4), sides(4))
    told.reach = 8.0
    some = chooser(told, 12.0, 12.0, 12.0, 12.0, 12.0, 12.0)
    some.bound = 4.0
    assert some._among_sides(MASS, math.inf)
    assert some.bound == 12.0
    asked = [most for most, _ in told.asked]
    assert asked[:2] == [8.0, 8.0]
    assert asked == sorted(asked)
    assert asked[-1] <= 12.0


def test_what_fails_a_trial_is_not_proved_best() -> None:
    told = Told(sides(1, 8.5), sides(2))
    some = chooser(told, 10.0)
    refuses: Any = SimpleNamespace(fails=lambda counts: counts[0] == 10.0)
    some.plan = replace(some.plan, trials=(refuses,))
    with pytest.raises(Refused):
        some._among_sides(MASS, 12.0)
    # it was asked once: what would have proved it was not
    assert len(told.asked) == 1
    assert some.bound <= 8.5


def test_one_battery_more_than_a_failing_kit_bounds_what_is_worth_trying() -> None:
    # two batteries of 8.75 Wh in the colder window for 18 Wh fail, three do; see `dark_batteries`
    case = memory(2, 0, hours=1.0, load_w=17.0).case
    mass = Objective("mass", np.array([100.0, 0.0]))
    plan = Plan(np.array([0.0, 1.0]), np.array([5.0, 1.0]), (), (case,), (mass,))
    some = _Chooser(plan, UNLIMITED, math.inf, [CaseMemory(case)], -math.inf)
    assert some._try_neighbours(np.array([1.0, 1.0]), mass, math.inf) == math.inf
    assert some.best is None
    assert some._try_neighbours(np.array([2.0, 1.0]), mass, math.inf) == 300.0
    assert some.best is not None
    assert some.best.tolist() == [3.0, 1.0]
    # no more than is known already, and no more than there are
    assert some._try_neighbours(np.array([2.0, 1.0]), mass, math.inf) == math.inf
    assert some._try_neighbours(np.array([5.0, 1.0]), mass, math.inf) == math.inf


class Learns:
    """What is known of a case that every kit fails; it may find rows without binaries, or none."""

    def __init__(self, *, finds: bool) -> None:
        self.finds, self.n_windows_asked = finds, 0
        self.case = SimpleNamespace(is_asked=lambda counts: True)

    def upper_of_coordinates(self, upper: np.ndarray) -> np.ndarray:
        return upper

    def judge(self, counts: np.ndarray) -> None:
        return None

    def passes(self, verdict: None) -> bool:
        return False

    def learn(self, counts: np.ndarray, verdict: None) -> bool:
        return self.finds

    def learn_windows(self, counts: np.ndarray, verdict: None) -> None:
        self.n_windows_asked += 1


@pytest.mark.parametrize("finds", [True, False])
def test_rows_with_binaries_are_learned_where_there_are_none_without(finds: bool) -> None:
    memory_of: Any = Learns(finds=finds)
    some = _Chooser(Plan(np.zeros(1), np.ones(1), (), (), (MASS,)), UNLIMITED, math.inf, [memory_of], -math.inf)
    assert not some._judge_all(np.array([1.0]))
    assert memory_of.n_windows_asked == (0 if finds else 1)
    assert not some.forbidden
    # rows say yes and the judge says no once more: never these again
    assert not some._judge_all(np.array([1.0]))
    assert [counts.tolist() for counts in some.forbidden] == [[1.0]]


@pytest.mark.parametrize(("cost", "others"), [(0.0, [0.0, 2.0, 3.0]), (1.0, [0.0])])
def test_another_kit_has_less_of_something_or_more_of_what_is_free(cost: float, others: list[float]) -> None:
    # one piece of three is packed; of what costs something more is never as good
    mass = Objective("mass", np.array([cost]))
    plan = Plan(np.zeros(1), np.array([3.0]), (), (), (mass,), (np.ones(1),))
    some = _Chooser(plan, UNLIMITED, math.inf, [], -math.inf)
    found = []
    for n in (0.0, 1.0, 2.0, 3.0):
        program = plan.program(np.zeros(1))
        other = some._told_apart(program, np.array([1.0]), mass)
        program.lower[0] = program.upper[0] = n
        answer = solve(program)
        assert answer.values is not None
        found += [n] if answer.values[other] > 0.5 else []
    assert found == others


def two_kinds(*trials: Any) -> Plan:
    """One at least of two kinds: of 100 g, of which there are two, or of 150 g."""
    needed = Row(((0, 1.0), (1, 1.0)), lower=1.0, rule="needs", text="one at least")
    objective = Objective("mass", np.array([100.0, 150.0]))
    return Plan(np.zeros(2), np.array([2.0, 1.0]), (needed,), (), (objective,), trials=trials)


def test_counts_that_are_forbidden_never_come_again_and_no_others_are() -> None:
    some = _Chooser(two_kinds(), UNLIMITED, math.inf, [], -math.inf)
    # by mass: 1 + 0, 0 + 1, 2 + 0, 1 + 1, 2 + 1, at most in one place and nothing in the other among them
    for grams in (100.0, 150.0, 200.0, 250.0, 350.0):
        answer = solve(some._program(some.plan.objectives[0].weights))
        assert answer.objective == pytest.approx(grams)
        assert answer.values is not None
        some.forbidden.append(some._whole(answer.values))
    assert solve(some._program(some.plan.objectives[0].weights)).status == "infeasible"


def test_an_answer_of_the_solver_that_breaks_a_rule_is_a_defect_and_no_kit() -> None:
    some = _Chooser(two_kinds(), UNLIMITED, math.inf, [], -math.inf)
    with pytest.raises(ModelError, match="the solver's counts break needs: one at least"):
        some._whole(np.zeros(2))


def test_a_kit_that_there_was_no_time_to_try_is_none() -> None:
    def fails(counts: np.ndarray) -> bool:
        raise OutOfTime

    outcome = choose(two_kinds(SimpleNamespace(fails=fails, cases=())))
    assert (outcome.status, outcome.counts, outcome.proved) == ("time-limit", None, False)
    # what is known without it stays known: nothing is lighter than one of the first kind
    assert outcome.bound == 100.0


def test_what_has_too_many_sides_is_put_off_only_where_it_may_be() -> None:
    some = chooser(Told())
    some._by_sides = lambda *_: None  # type: ignore[method-assign, assignment]
    some.may_put_off = True
    put_off = some.run()
    assert (put_off.status, put_off.is_put_off, put_off.counts) == ("time-limit", True, None)
    some.may_put_off = False
    # then the program is solved whole: nothing is asked for, so that nothing is best
    del some._settle  # type: ignore[method-assign]
    asked = some.run()
    assert (asked.status, asked.is_put_off, asked.objective) == ("found", False, 0.0)


@pytest.mark.parametrize(
    ("may_put_off", "cutoff", "is_left"), [(True, math.inf, True), (True, 12.0, False), (False, math.inf, False)]
)
def test_what_has_many_sides_in_vain_is_put_off_while_nothing_bounds_it(
    may_put_off: bool, cutoff: float, is_left: bool
) -> None:
    told = Told(sides(1, 2.0), sides(4, 3.0), sides(40), sides(40))
    told.n_looked_at = 100
    some = chooser(told, None, None, 7.0, 7.0)
    some.may_put_off = may_put_off
    some._is_any = lambda *_: True  # type: ignore[method-assign]
    if is_left:
        with pytest.raises(TooMany):
            some._among_sides(MASS, cutoff)
    else:
        assert some._among_sides(MASS, cutoff)
    assert (len(told.asked) == 1) == is_left
    assert (some.best is None) == is_left


def test_a_kit_in_hand_that_other_windows_refuse_is_not_given_when_time_is_up(monkeypatch: pytest.MonkeyPatch) -> None:
    stopped = Outcome("time-limit", np.array([2.0, 0.0]), 200.0, 100.0, (), 1)
    monkeypatch.setattr(_Chooser, "run", lambda _: stopped)
    refused = two_kinds(SimpleNamespace(fails=lambda counts: True, cases=()))
    assert choose(refused).counts is None
    passed = two_kinds(SimpleNamespace(fails=lambda counts: False, cases=()))
    assert choose(passed) is stopped
