"""What is said of panel sides must hold of every kit that works.

Which kits work is the oracle's word, from plain loops: each has one of the sides that are listed up to its own
objective, and at least the batteries that the side is said to need.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace

import numpy as np
import pytest
from oracle import World, kits_in_order
from oracle.compare import column_counts, is_judged_by
from oracle.instances import numbered
from oracle.search import legal_banks
from oracle.wired_instances import wired

from kitopt.choice import Solved, pack
from kitopt.engine import choose, search
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import Listing, fixed_of
from kitopt.engine.prices import RulesForbid, TooMany
from kitopt.engine.sides import Sides, can_hold
from kitopt.engine.solver import solve
from kitopt.engine.write import add_sides

LATE_S = 1e9


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
            for one, listing in zip(solved, listings, strict=True):
                counts = column_counts(one, bank.batteries, bank.plugged) if is_judged_by(one, bank) else None
                if counts is not None:
                    assert listing is not None
                    yield one, listing, counts, cost(one, counts)


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
        for _, listing, counts, _ in working_kits(number):
            sides = listing.sides
            side = sides.of(counts)
            has_wh = sum(wh * counts[j] for j, wh in sides.capacity_terms())
            assert sides.need_wh(side) <= has_wh + 1e-6, number
            assert sides.follow(side) <= has_wh + 1e-6, number
            n_kits += 1
            n_decided += sides.need_wh(side) > 0.5 * has_wh
    assert n_kits > 50
    assert n_decided > 10


def test_every_side_of_a_kit_as_good_as_the_cutoff_is_listed(side_numbers: range) -> None:
    n_kits = 0
    for number in side_numbers:
        for _, listing, counts, value in working_kits(number):
            try:
                known = listing.within(value)
            except TooMany:
                continue
            at = np.flatnonzero(np.all(known.sides == listing.sides.of(counts), axis=1))
            assert len(at) == 1, number
            has_wh = sum(wh * counts[j] for j, wh in listing.sides.capacity_terms())
            assert known.need_wh[at[0]] <= has_wh + 1e-6, number
            few = listing.within(value, 1)
            assert few.others <= value + 0.5 or len(few) == len(known), number
            is_among_few = np.any(np.all(few.sides == listing.sides.of(counts), axis=1))
            assert is_among_few or few.others <= value + 1e-6, number
            assert listing.floor <= value + 1e-6, number
            n_kits += 1
    assert n_kits > 50


def test_a_side_that_no_battery_can_serve_is_not_chosen() -> None:
    # an infinite need once scaled all the others away, and the same kit was tried for ever
    n_chosen = 0
    for number in (0, 6, 8, 26):
        solved, listing, _, value = next(working_kits(number))
        listed = listing.within(1.2 * value)
        for only in range(len(listed)):
            need_wh = np.full(len(listed), np.inf)
            need_wh[only] = listed.need_wh[only]
            program = solved.plan.program(solved.plan.objectives[0].weights, ())
            add_sides(program, listing.sides, replace(listed, need_wh=need_wh))
            values = solve(program).values
            if values is not None:
                counts = solved.plan.whole(values[: solved.plan.n_columns])
                assert np.array_equal(listing.sides.of(counts), listed.sides[only]), number
                n_chosen += 1
    assert n_chosen > 4


def test_a_tangent_lies_below_what_any_side_needs() -> None:
    n_touched = 0
    for number in range(40):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            listing = listing_of(solved)
            if listing is None or not listing.sides.n_classes:
                continue
            sides, rng = listing.sides, np.random.default_rng(number)
            for _ in range(6):
                side = rng.integers(0, 3, sides.n_classes)
                some = np.bincount(sides.kind, side, minlength=sides.n_kinds).astype(np.int64)
                other = rng.integers(0, 3, sides.n_kinds)
                need = sides.need_wh(side)
                for at in (some, other):
                    below = float(sides.at_least_wh(sides.tangent(at), some[None, :])[0])
                    assert below <= need + 1e-4, number
                    n_touched += below > 0.9 * need > 1.0
    assert n_touched > 20


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
                patched.setattr(search, "_MOST_SHOWN", 1)
                midway = choose(plan)
                patched.setattr(search, "Listing", never)
                by_cuts = choose(plan)
            by_sides = choose(plan)
            assert (by_sides.status, by_sides.objective) == (by_cuts.status, by_cuts.objective), number
            assert (midway.status, midway.objective) == (by_cuts.status, by_cuts.objective), number
            n_found += by_cuts.status == "found"
    assert n_found > 10
