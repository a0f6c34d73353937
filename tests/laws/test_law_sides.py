"""What is said of panel sides must hold of every kit that works.

Which kits work is the oracle's word, from plain loops: each has one of the sides that are listed up to its own
objective, and at least the batteries that the side is said to need.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator
from dataclasses import replace

import numpy as np
import pytest
from oracle import World, kits_in_order
from oracle.compare import column_counts, is_judged_by
from oracle.instances import Instance, numbered
from oracle.search import legal_banks
from oracle.wired_instances import wired

from kitopt.choice import Solved, pack
from kitopt.choice.kit import best_kit
from kitopt.engine import Objective, choose, listing
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listing, fixed_of
from kitopt.engine.plan import Plan
from kitopt.engine.prices import RulesForbid, TooMany
from kitopt.engine.sides import Sides, can_hold
from kitopt.engine.solver import solve
from kitopt.engine.strongest import scaled
from kitopt.engine.write import add_sides
from kitopt.inventory import read_inventory
from kitopt.inventory.demo import demo_folder
from kitopt.operation import read_operation
from kitopt.sky import windows_for

LATE_S = 1e9


@pytest.mark.parametrize("instance_of", [numbered, wired])
def test_choices_are_the_same_where_capacities_are_too_many_to_be_told(
    instance_of: Callable[[int], Instance], side_numbers: range, monkeypatch: pytest.MonkeyPatch
) -> None:
    instances = [instance_of(number) for number in side_numbers]
    right = [pack(one.operation, one.inventory, one.sky) for one in instances]
    monkeypatch.setattr("kitopt.engine.banks.MOST_SUMS", 0)
    monkeypatch.setattr("kitopt.engine.banks._MOST_STEPS", 30)
    for number, one, choice in zip(side_numbers, instances, right, strict=True):
        told = pack(one.operation, one.inventory, one.sky)
        assert (told.status, told.proof) == (choice.status, choice.proof), number
        assert told.packed == choice.packed, number


def listing_of(solved: Solved) -> Listing | None:
    """The listing of a class as its choice makes it; None where its rows allow nothing."""
    plan = solved.plan
    memory = CaseMemory(plan.cases[0])
    assert can_hold(memory.case)
    sides = Sides(memory.case, fixed_of(memory.case, plan, memory.upper_of_coordinates(plan.upper)))
    try:
        return Listing(plan, [sides], plan.objectives[0], lambda: LATE_S)
    except RulesForbid:
        return None


def working_kits(number: int) -> Iterator[tuple[Solved, Listing, np.ndarray, float]]:
    """Every kit of an instance that works, as counts of the class that judges it, and what it costs."""
    instance = numbered(number)
    world = World(instance.operation, instance.inventory, instance.sky)
    solved = pack(instance.operation, instance.inventory, instance.sky).solved
    listings = [listing_of(one) for one in solved]
    for kit in kits_in_order(world):
        for bank in legal_banks(world, kit):
            if not bank.passes():
                continue
            for one, of_class in zip(solved, listings, strict=True):
                counts = column_counts(one, bank.batteries, bank.plugged) if is_judged_by(one, bank) else None
                if counts is not None:
                    assert of_class is not None
                    yield one, of_class, counts, cost(one, counts)


def cost(solved: Solved, counts: np.ndarray) -> float:
    """What a kit costs with all that its rules ask for beside it."""
    model = solved.model
    given = [*model.battery_columns, *model.unit_columns, *model.join_columns]
    lower, upper = solved.plan.lower.copy(), solved.plan.upper.copy()
    lower[given] = upper[given] = counts[given]
    return choose(replace(solved.plan, lower=lower, upper=upper, cases=(), tie_break=())).objective


def test_no_working_kit_has_less_battery_than_its_side_needs(side_numbers: range) -> None:
    n_kits = n_decided = 0
    for number in side_numbers:
        for _, of_class, counts, _ in working_kits(number):
            sides = of_class.sides
            side = sides.of(counts)
            has_wh = sum(wh * counts[j] for j, wh in sides.capacity_terms())
            assert sides.need_wh(side) <= has_wh + 1e-6, number
            assert sides.follow(side) <= has_wh + 1e-6, number
            n_kits += 1
            n_decided += sides.need_wh(side) > 0.5 * has_wh
    assert n_kits > 20
    assert n_decided > 5


def test_a_listing_goes_on_where_one_for_fewer_cases_stands(side_numbers: range) -> None:
    n_told = n_fewer = n_late = 0
    for number in side_numbers:
        instance = numbered(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        most = 1.5 * (choice.proof.objective or 1000.0)
        for solved in choice.solved:
            one = listing_of(solved)
            if one is None:
                continue
            plan, first = solved.plan, one.sides
            harder = CaseMemory(scaled(plan.cases[0], 1.2))
            second = Sides(harder.case, fixed_of(harder.case, plan, harder.upper_of_coordinates(plan.upper)))

            def of_both(plan: Plan = plan, sides: tuple[Sides, ...] = (first, second)) -> Listing:
                return Listing(plan, sides, plan.objectives[0], lambda: LATE_S)

            try:
                alone = one.within(most, 2.0)
                gone_on = of_both().go_on_from([one])
                n_late += gone_on.reach > 0.0
                gone_on.within(most)
                fresh = of_both().within(most)
            except (TooMany, RulesForbid):
                continue
            # what was learned in between may rule out more
            here = gone_on.within(most)
            assert {*map(bytes, here.sides)} == {*map(bytes, fresh.sides)}, number
            assert sorted(here.need_wh) == sorted(fresh.need_wh), number
            n_told += len(here)
            n_fewer += len(alone) > 0 and not len(here)
    assert n_told > 3
    assert n_fewer > 2
    assert n_late > 20


@pytest.mark.parametrize(("many", "is_closer"), [(40, False), (0, False), (40, True)])
def test_every_side_of_a_kit_as_good_as_the_cutoff_is_listed(
    side_numbers: range, many: int, is_closer: bool, monkeypatch: pytest.MonkeyPatch
) -> None:
    # of no more sides than so many none is looked at for what it tells of others
    monkeypatch.setattr(listing, "_MANY", many)
    sets_within, look_closer = Listing._sets, Listing._look_closer
    n_more: list[int] = []

    def too_many_at_first(of_class: Listing, most: float) -> np.ndarray:
        # what few panels need is then looked at more closely
        if not of_class._is_closer:
            raise TooMany
        return sets_within(of_class, most)

    def counting(of_class: Listing) -> None:
        n_before = len(of_class.sides.tangents)
        look_closer(of_class)
        n_more.append(len(of_class.sides.tangents) - n_before)

    n_kits = 0
    for number in side_numbers:
        for _, of_class, counts, value in working_kits(number):
            try:
                with monkeypatch.context() as patched:
                    if is_closer:
                        patched.setattr(Listing, "_sets", too_many_at_first)
                        patched.setattr(Listing, "_look_closer", counting)
                    known = of_class.within(value)
            except TooMany:
                continue
            at = np.flatnonzero(np.all(known.sides == of_class.sides.of(counts), axis=1))
            assert len(at) == 1, number
            has_wh = sum(wh * counts[j] for j, wh in of_class.sides.capacity_terms())
            assert known.need_wh[at[0]] <= has_wh + 1e-6, number
            assert known.least[at[0]] + of_class.objective.fixed <= value + 1e-6, number
            few = of_class.within(value, 1)
            assert few.others <= value + 0.5 or len(few) == len(known), number
            is_among_few = np.any(np.all(few.sides == of_class.sides.of(counts), axis=1))
            assert is_among_few or few.others <= value + 1e-6, number
            assert of_class.floor <= value + 1e-6, number
            n_kits += 1
    assert n_kits > 20
    # tangents are made there, if these sides have none of another kit yet
    n_closer = sum(n > 0 for n in n_more)
    assert n_closer > 5 if is_closer else not n_more


def test_what_a_side_opens_is_borne_once_and_no_kit_costs_less(
    side_numbers: range, monkeypatch: pytest.MonkeyPatch
) -> None:
    n_more = 0
    for number in side_numbers:
        for _, of_class, counts, value in working_kits(number):
            prices, side = of_class._prices, of_class.sides.of(counts)[None, :]
            nothing = np.zeros((1, prices._openings.n))
            has_wh = np.array([sum(wh * counts[j] for j, wh in of_class.sides.capacity_terms())])
            told = float(prices.bound(has_wh, sides=side)[0])
            assert told <= value + 1e-3, number
            with monkeypatch.context() as patched:
                patched.setattr(prices._openings, "of", lambda *_, nothing=nothing: nothing)
                n_more += told > float(prices.bound(has_wh, sides=side)[0]) + 1.0
    assert n_more > 5


def test_a_side_that_no_battery_can_serve_is_not_chosen() -> None:
    # an infinite need once scaled all the others away, and the same kit was tried for ever
    n_chosen = 0
    for number in (0, 6, 8, 26):
        solved, of_class, _, value = next(working_kits(number))
        listed = of_class.within(1.5 * value)
        for only in range(len(listed)):
            need_wh = np.full(len(listed), np.inf)
            need_wh[only] = listed.need_wh[only]
            program = solved.plan.program(solved.plan.objectives[0].weights, ())
            add_sides(program, of_class, replace(listed, need_wh=need_wh))
            values = solve(program).values
            if values is not None:
                counts = solved.plan.whole(values[: solved.plan.n_columns])
                assert np.array_equal(of_class.sides.of(counts), listed.sides[only]), number
                n_chosen += 1
    assert n_chosen > 4


def test_a_tangent_lies_below_what_any_side_needs_and_touches_what_its_own_does() -> None:
    n_touched = n_looked = n_own = 0
    for number in range(40):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            of_class = listing_of(solved)
            if of_class is None or not of_class.sides.n_classes:
                continue
            sides, rng = of_class.sides, np.random.default_rng(number)
            for _ in range(6):
                side = rng.integers(0, 3, sides.n_classes)
                some = np.bincount(sides.kind, side, minlength=sides.n_kinds).astype(np.int64)
                other = rng.integers(0, 3, sides.n_kinds)
                need = sides.need_wh(side)
                below = float(sides.look_at(rng.integers(0, 3, sides.n_classes), side[None, :])[0])
                assert float(sides.at_least_by_sides_wh(side[None, :])[0]) >= below
                assert below <= need + 1e-4, number
                n_looked += below > 0.9 * need > 1.0
                own = sides.tangent(some)
                touched = float(sides.at_least_wh(own, some[None, :])[0])
                assert float(own.hardest_need_wh(some[None, :])[0]) == pytest.approx(touched), number
                for at in (some, other):
                    below = float(sides.at_least_wh(sides.tangent(at), some[None, :])[0])
                    assert below <= need + 1e-4, number
                    n_touched += below > 0.9 * need > 1.0
                if 1.0 < need < math.inf:
                    assert float(sides.look_at(side, side[None, :])[0]) == pytest.approx(need, rel=1e-6), number
                    n_own += 1
    assert n_touched > 20
    assert n_looked > 20
    assert n_own > 40


def test_a_wiring_that_brings_no_more_needs_no_less() -> None:
    operation = read_operation(demo_folder() / "operations" / "coastal-checkpoint.toml")
    operation = replace(operation, hours=52.0, need=replace(operation.need, windows=40))
    # any kit will do, as it is wired otherwise below
    some = best_kit(operation, read_inventory(demo_folder()), windows_for(operation), enough=1e9)
    n_worse = n_better = 0
    for solved in some.solved:
        of_class, counts = listing_of(solved), solved.outcome.counts
        if of_class is None or counts is None:
            continue
        sides, upper = of_class.sides, solved.plan.upper
        # where thin leads and thick ones lead to the same unit
        brings = sides.case.matrix.column
        varied = [
            c for c, own in enumerate(sides.needs.columns) if any(np.any(brings(j) != brings(own[0])) for j in own)
        ]
        for number in range(40):
            rng = np.random.default_rng(number)
            made = counts.copy()
            for c in rng.choice(varied, 2, replace=False).tolist():
                made[[j for j, _ in sides.terms(c)]] = 0.0
                made[rng.choice([j for j, _ in sides.terms(c)])] = 1.0
            here = sides.as_wired(made, upper)
            assert here is not None
            for c in np.flatnonzero(here.side).tolist():
                (used,) = (j for j, _ in sides.terms(c) if made[j] > 0.5)
                for other, _ in sides.terms(c):
                    changed = made.copy()
                    changed[[used, other]] = changed[[other, used]]
                    there = sides.as_wired(changed, upper)
                    assert there is not None
                    if sum(changed[j] for j in here.columns) >= here.n:
                        assert there.need_wh >= here.need_wh - 1e-4, number
                        n_worse += there.need_wh > here.need_wh + 1e-4
                    n_better += there.need_wh < here.need_wh - 1e-4
    assert n_worse > 5
    assert n_better > 5


def test_too_many_sides_are_left_to_cuts(monkeypatch: pytest.MonkeyPatch) -> None:
    # what the sides say, cuts say alone; and with so few sides allowed that they take over midway
    def never(*_: object) -> None:
        raise TooMany

    n_found = 0
    for number in range(30):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            plan = replace(solved.plan, tie_break=())
            with monkeypatch.context() as patched:
                patched.setattr("kitopt.engine.by_sides._MOST_SHOWN", 1)
                midway = choose(plan)
                patched.setattr("kitopt.engine.by_sides.Listing", never)
                by_cuts = choose(plan)
            by_sides = choose(plan)
            assert (by_sides.status, by_sides.objective) == (by_cuts.status, by_cuts.objective), number
            assert (midway.status, midway.objective) == (by_cuts.status, by_cuts.objective), number
            n_found += by_cuts.status == "found"
    assert n_found > 10


def test_the_best_is_found_from_one_side_at_a_time(monkeypatch: pytest.MonkeyPatch) -> None:
    # in pieces, so that one piece less decides, which a side that is not told yet may have
    def never(*_: object) -> None:
        raise TooMany

    n_found = n_listed = 0
    for number in range(40):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            pieces = Objective("pieces", (solved.plan.objectives[0].weights > 0.0).astype(np.float64))
            plan = replace(solved.plan, objectives=(pieces,), tie_break=())
            with monkeypatch.context() as patched:
                patched.setattr("kitopt.engine.by_sides._FIRST_SIDES", 1)
                patched.setattr(listing, "_NOT_FEW", 0)
                by_one = choose(plan)
                patched.setattr("kitopt.engine.by_sides.Listing", never)
                by_cuts = choose(plan)
            assert (by_one.status, by_one.objective) == (by_cuts.status, by_cuts.objective), number
            n_found += by_cuts.status == "found"
            n_listed += any(len(one.listings) for one in by_one.memories)
    assert n_found > 10
    assert n_listed > 10
