"""Rents at which kits share what there is not enough of."""

from __future__ import annotations

import itertools

import numpy as np
import pytest
from scipy.optimize import linprog

from kitopt.choice.rents import OFFERED, OWNED, Rents, Taking, Thing, better_rents

ALL = 10**9
"""Farther than any rent is from none."""
THINGS: list[Thing] = [(OWNED, "battery"), (OWNED, "panel"), (OFFERED, "controller")]


def drawn(seed: int) -> tuple[dict[int, list[Taking]], dict[Thing, int]]:
    """Kits of two numbers, each with one that takes nothing, and how much there is."""
    rng = np.random.default_rng(seed)
    there = {thing: int(rng.integers(1, 3)) for thing in THINGS}
    kits: dict[int, list[Taking]] = {}
    for o in (0, 1):
        kits[o] = [Taking({}, int(rng.integers(200, 400)))]
        for _ in range(6):
            takes = {thing: int(rng.integers(0, n + 1)) for thing, n in there.items()}
            kits[o].append(Taking({thing: n for thing, n in takes.items() if n}, int(rng.integers(0, 200))))
    return kits, there


def cheapest_pair(kits: dict[int, list[Taking]], there: dict[Thing, int]) -> int:
    """Two kits that there is enough for, by trying every pair."""
    pairs = itertools.product(*kits.values())
    enough = (pair for pair in pairs if all(sum(kit.takes.get(t, 0) for kit in pair) <= n for t, n in there.items()))
    return min(sum(kit.cents for kit in pair) for pair in enough)


@pytest.mark.parametrize("seed", range(20))
def test_the_best_rents_tell_what_shares_of_kits_would_cost(seed: int) -> None:
    # the dual of Dantzig and Wolfe's master program; SciPy's linprog is the reference
    kits, there = drawn(seed)
    columns = [(o, kit) for o, some in kits.items() for kit in some]
    reference = linprog(
        [kit.cents for _, kit in columns],
        A_ub=[[kit.takes.get(thing, 0) for _, kit in columns] for thing in there],
        b_ub=list(there.values()),
        A_eq=[[float(of == o) for of, _ in columns] for o in kits],
        b_eq=[1.0] * len(kits),
    )
    _, told = better_rents(kits, there, {}, ALL, 1)
    assert told == pytest.approx(reference.fun, abs=1e-6)
    assert told <= cheapest_pair(kits, there) + 1e-6


@pytest.mark.parametrize("seed", range(20))
def test_whatever_the_rents_no_pair_costs_less_than_they_tell(seed: int) -> None:
    kits, there = drawn(seed)
    rents: Rents = {
        thing: int(rent) for thing, rent in zip(there, np.random.default_rng(seed).integers(0, 150, 3), strict=True)
    }
    told = sum(min(kit.pays(rents) for kit in some) for some in kits.values())
    assert told - sum(rent * there[thing] for thing, rent in rents.items()) <= cheapest_pair(kits, there)


def test_one_thing_goes_to_the_kit_that_would_pay_more_for_it() -> None:
    battery: Thing = (OWNED, "battery")
    # without it one costs 20 more, the other 30: by hand, the first goes without, and the rent is between these
    kits = {0: [Taking({battery: 1}, 10), Taking({}, 30)], 1: [Taking({battery: 1}, 20), Taking({}, 50)]}
    rents, told = better_rents(kits, {battery: 1}, {}, ALL, 1)
    assert told == pytest.approx(30 + 20)
    assert 20 <= rents[battery] <= 30


def test_rents_keep_near_and_to_whole_steps() -> None:
    battery: Thing = (OWNED, "battery")
    kits = {0: [Taking({battery: 1}, 0), Taking({}, 3000)], 1: [Taking({battery: 1}, 0), Taking({}, 5000)]}
    near: Rents = {battery: 1000}
    rents, told = better_rents(kits, {battery: 1}, near, 440, 100)
    assert rents == {battery: 1400}
    assert told == pytest.approx(1440)
