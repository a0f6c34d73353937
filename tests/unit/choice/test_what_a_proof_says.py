"""How sure an answer is: bound ≤ optimum ≤ objective in one unit, for every command and at any time; unknown is told.

The optimum is what the same question comes to with time enough, which the laws hold to trying every kit.
"""

from __future__ import annotations

import math
import pickle
import random
from collections.abc import Callable
from dataclasses import dataclass, replace

import numpy as np
import pytest
from oracle.instances import numbered
from oracle.many import Several, dated, several

from kitopt.budget import Budget, OutOfTime
from kitopt.choice import Choice, Proof, pack
from kitopt.choice.classes import over_classes
from kitopt.choice.season import buy
from kitopt.choice.sharing import share
from kitopt.choice.standing import grab_kit
from kitopt.engine import Outcome
from kitopt.operation.plans import Event, Outing, Programme, Standing
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

NUMBERS = range(5)


class UpAfter:
    """A reporter by whose count the time is up: no clock is asked."""

    def __init__(self, rounds: int) -> None:
        self.left = rounds

    def round(self, *, bound: float, best: float | None, n_rows: int) -> None:
        if self.left <= 0:
            raise OutOfTime
        self.left -= 1

    def say(self, text: str) -> None:
        pass


def budgets() -> list[Budget]:
    """None at all, some, and enough."""
    return [Budget.of(0.0), *(Budget(reporter=UpAfter(n)) for n in (1, 2, 4, 7)), Budget()]


def sky_of(some: Several) -> Callable[[Operation], Sky]:
    return lambda operation: next(t.sky for t in some.tasks if t.operation.name == operation.name)


def programme(number: int) -> tuple[Programme, Several]:
    some = dated(several(number, 2), random.Random(number))
    return Programme("invented", "invented", tuple(Outing(t.operation) for t in some.tasks)), some


def assert_holds(proof: Proof, optimum: Proof) -> None:
    """What is told in part does not contradict what is known in the end."""
    assert optimum.proved
    assert proof.of == optimum.of
    if proof.proved:
        assert proof.objective == optimum.objective
    elif proof.bound is not None:
        assert proof.bound <= (math.inf if optimum.objective is None else optimum.objective)
    if proof.objective is not None:
        assert optimum.objective is not None
        assert optimum.objective <= proof.objective
        assert proof.bound is not None
        assert proof.gap == pytest.approx((proof.objective - proof.bound) / max(1.0, proof.objective))
    else:
        assert proof.gap is None
        # what is not known has a bound all the same: what is carried whatever is chosen
        assert proof.proved == (proof.bound is None)


def assert_parts_are_told_in_grams(choices: list[Choice]) -> None:
    for choice in choices:
        assert choice.proof.of == "mass"
        assert choice.proof.objective == choice.mass_g
        assert choice.proof.bound is not None
        assert choice.proof.bound <= choice.mass_g


@pytest.mark.parametrize("number", NUMBERS)
def test_of_one_kit(number: int) -> None:
    one = numbered(number)
    found = [pack(one.operation, one.inventory, one.sky, budget=budget) for budget in budgets()]
    for choice in found:
        assert choice.status == choice.proof.status
        assert bool(choice.packed) == (choice.proof.objective is not None)
        assert_holds(choice.proof, found[-1].proof)
    assert found[0].status == "time-limit"
    assert found[-1].status != "time-limit"


@pytest.mark.parametrize("number", NUMBERS)
def test_of_a_grab_kit(number: int) -> None:
    some = several(number, 2, backup=True)
    events = tuple(Event(t.operation.name, (t.operation,), ("",)) for t in some.tasks)
    standing = Standing("invented", "invented", events)
    found = [grab_kit(standing, some.inventory, sky_of(some), budget=budget) for budget in budgets()]
    for kit in found:
        assert kit.status == kit.proof.status
        assert_holds(kit.proof, found[-1].proof)
        assert kit.proof.objective in (None, kit.mass_g)
        assert_parts_are_told_in_grams(list(kit.choices))


@pytest.mark.parametrize("number", NUMBERS)
def test_of_shared_kits(number: int) -> None:
    plan, some = programme(number)
    found = [share(plan, some.inventory, sky_of(some), budget=budget) for budget in budgets()]
    for shared in found:
        assert shared.status == shared.proof.status
        assert_holds(shared.proof, found[-1].proof)
        # loads and extras count as they do in each kit
        assert shared.proof.objective in (None, shared.mass_g)
        assert_parts_are_told_in_grams([sheet.choice for sheet in shared.sheets if sheet.choice is not None])
        for sheet, known in zip(shared.sheets, found[-1].sheets, strict=True):
            assert (sheet.share is None) == (sheet.status == "time-limit")
            if sheet.status == "no-kit":
                assert known.status == "no-kit"
    assert {sheet.share for sheet in found[0].sheets} == {None}


@pytest.mark.parametrize("money", [None, 5000])
@pytest.mark.parametrize("number", NUMBERS[:4])
def test_of_purchases(number: int, money: int | None) -> None:
    plan, some = programme(number)
    things = {kind: getattr(some.inventory, kind) for kind in ("batteries", "controllers", "panels")}
    offered = {
        kind: tuple(replace(x, id=f"new-{x.id}", price_cents=1000 + 10 * x.mass_g) for x in items)
        for kind, items in things.items()
    }
    catalogue = replace(some.inventory, loads=(), extras=(), **offered)  # type: ignore[arg-type]
    owned = replace(some.inventory, batteries=())
    found = [
        buy(plan, owned, catalogue, sky_of(some), budget_cents=money, budget=budget, with_singles=False)
        for budget in budgets()
    ]
    for purchase in found:
        assert purchase.proof.of == ("price" if money is None else "unserved")
        if found[-1].proof.objective is not None:
            assert_holds(purchase.proof, found[-1].proof)
        assert_parts_are_told_in_grams(list(purchase.choices.values()))
        numbers = sorted([*purchase.choices, *purchase.unserved, *purchase.unknown])
        assert numbers == list(range(len(plan.outings)))
        # that one goes without is said only where it is so
        assert set(purchase.unserved) <= set(found[-1].unserved)
        assert bool(purchase.unknown) <= (purchase.status == "time-limit")
    assert not found[0].choices
    if money is None:  # within a budget, that no battery can be had is known at once
        assert found[0].unknown == tuple(range(len(plan.outings)))


def test_a_class_for_which_there_was_no_time_bounds_the_answer() -> None:
    class Tried:
        def __init__(self, value: float) -> None:
            self.outcome = Outcome("found", None if math.isinf(value) else [value], value, value)  # type: ignore[arg-type]

        def order(self) -> tuple[object, ...]:
            return (self.outcome.objective,)

    def attempt(value: float, cutoff: float, before: Tried | None) -> Tried:
        if value < 0:
            raise OutOfTime
        return Tried(value)

    found = over_classes([9.0, -1.0, 7.0], attempt, least=4.0)
    assert (found.value, found.bound, found.is_sure) == (7.0, 4.0, False)
    assert over_classes([9.0, 7.0], attempt).is_sure
    nothing = over_classes([-1.0], attempt, least=4.0)
    assert (nothing.best, nothing.bound, nothing.is_sure) == (None, 4.0, False)


def test_a_class_that_is_put_off_is_asked_again_within_what_the_others_have_found() -> None:
    @dataclass
    class Tried:
        outcome: Outcome

        def order(self) -> tuple[object, ...]:
            return (self.outcome.objective,)

    asked: list[tuple[str, float, float | None]] = []

    def attempt(name: str, cutoff: float, before: Tried | None) -> Tried:
        asked.append((name, cutoff, None if before is None else before.outcome.objective))
        counts = np.ones(1)
        if name == "hard" and before is None:
            return Tried(Outcome("time-limit", counts, 9.0, 2.0, is_put_off=True))
        value = {"hard": 8.0, "easy": 7.0, "dear": 12.0}[name]
        if cutoff < value:
            return Tried(Outcome("no-kit", None, math.inf, cutoff + 1.0))
        return Tried(Outcome("found", counts, value, value))

    found = over_classes(["hard", "easy"], attempt)
    assert asked == [("hard", math.inf, None), ("easy", 9.0, None), ("hard", 7.0, 9.0)]
    assert (found.value, found.bound, found.is_sure, len(found.tried)) == (7.0, 7.0, True, 2)
    # what was put off is found again, not only what is better
    asked.clear()
    found = over_classes(["hard", "dear"], attempt, has_ties=False)
    assert asked == [("hard", math.inf, None), ("dear", 9.0, None), ("hard", 9.0, 9.0)]
    assert (found.value, found.is_sure) == (8.0, True)


def test_a_choice_is_light_to_keep_and_can_be_measured_again() -> None:
    one = next(x for x in map(numbered, range(100)) if pack(x.operation, x.inventory, x.sky).packed)
    choice = pack(one.operation, one.inventory, one.sky)
    kept = pickle.dumps(choice)
    assert len(kept) < 200_000
    again = pickle.loads(kept)
    assert (again.packed, again.proof, again.lowest) == (choice.packed, choice.proof, choice.lowest)
    assert again.solved == ()
    assert choice.made is not None
    assert [case.matrix.shape for case in again.made.cases] == [case.matrix.shape for case in choice.made.cases]
