"""Standard kits against trying every set, and what stores hold against counting every set of sites."""

from __future__ import annotations

import itertools
from dataclasses import replace

import numpy as np
import pytest

from kitopt.study.found import Asking
from kitopt.study.processes import Here
from kitopt.study.row import Row
from kitopt.study.standard import pick
from kitopt.study.stock import stocks
from kitopt.study.terms import Question, Store, Study


def by_trying(passes: np.ndarray, weights: list[float], costs: list[int], most: int) -> tuple[float, int]:
    """Served priority and what is carried, of the best set of at most so many kits."""
    best = (0.0, 0)
    for n in range(most + 1):
        for some in itertools.combinations(range(len(costs)), n):
            can = [[costs[j] for j in some if row[j]] for row in passes]
            weight = sum(w for w, one in zip(weights, can, strict=True) if one)
            cost = sum(min(one) for one in can if one)
            if weight > best[0] + 1e-9 or (abs(weight - best[0]) < 1e-9 and cost < best[1]):
                best = (weight, cost)
    return best


@pytest.mark.parametrize("first", range(0, 200, 50))
def test_standard_kits_are_the_best_of_every_set(first: int) -> None:
    for seed in range(first, first + 50):
        rng = np.random.default_rng(seed)
        n_sites, n_kits = int(rng.integers(1, 9)), int(rng.integers(1, 8))
        passes = rng.random((n_sites, n_kits)) < rng.choice([0.2, 0.5, 0.8])
        weights = (rng.integers(1, 5, n_sites) / 2).tolist()
        costs = (rng.integers(1, 20, n_kits) * 100).tolist()
        most = int(rng.integers(0, 4))
        found = pick(passes, weights, costs, most)
        assert (found.weight, found.cost) == pytest.approx(by_trying(passes, weights, costs, most)), seed
        assert len(found.kits) <= most
        for site, j in enumerate(found.of_site):
            assert j is None or (j in found.kits and passes[site, j])


def test_one_standard_kit_for_all_huts(huts: Study) -> None:
    # the cold hut's night needs a box-10 and three box-4; whatever does there holds the kits of all others
    study = replace(huts, standard_kits=1)
    (standard,) = Asking(study, Here()).region().standard
    assert [standard.kits[j] for j in standard.picked.kits] == [(("box-10", 1), ("box-4", 3))]
    assert standard.picked.weight == 4.0
    # with a second, the warm hut alone could leave a box-4 at home: the far one is cold in January
    (_, more) = (standard.picked, standard.one_more)
    assert (more.weight, standard.picked.cost - more.cost) == (4.0, 500)


def test_where_a_standard_kit_is_said_to_pass_it_passes_when_it_is_judged_itself(huts: Study) -> None:
    # that a kit holds the best one of a plan is told by proof, and of it nothing is asked: here it is
    (standard,) = Asking(replace(huts, standard_kits=2), Here()).region().standard
    kits = tuple(standard.kits[j] for j in standard.picked.kits)
    judged = Asking(replace(huts, kits=kits), Here()).region().answered.rows
    assert len(judged) == len(kits) * len(list(huts.questions()))
    claims = [
        row
        for question, row in judged.items()
        for j in [standard.picked.of_site[question.place]]
        if j is not None and standard.kits[j] == question.kit
    ]
    assert len(claims) == len(list(huts.questions()))
    assert {row.status for row in claims} == {"found"}


def test_a_store_holds_what_any_of_its_sites_may_need(huts: Study) -> None:
    def kit(place: int, when: int, pattern: int) -> str:
        return ["a:1, b:2", "a:3", "b:1, c:1"][(place + when * pattern) % 3]

    study = replace(huts, places=tuple(replace(one, store="shed") for one in huts.places), stores=(Store("shed", 2),))
    rows = {
        one: Row("", "", "", "", "", "", "found", kit=kit(one.place, one.when, one.pattern))
        for one in study.questions()
    }
    (found,) = stocks(study, rows, {})
    holds: dict[str, int] = {}
    for when in range(2):
        needs = []
        for place in range(3):
            total: dict[str, int] = {}
            for pattern in range(2):
                for part in kit(place, when, pattern).split(", "):
                    item_id, n = part.split(":")
                    total[item_id] = max(total.get(item_id, 0), int(n))
            needs.append(total)
        for some in itertools.combinations(needs, 2):
            for item_id in "abc":
                holds[item_id] = max(holds.get(item_id, 0), sum(one.get(item_id, 0) for one in some))
    assert dict(found.holds) == holds
    assert found.unserved == ()


def test_a_store_tells_the_sites_for_which_it_holds_nothing(huts: Study) -> None:
    rows = {one: Row("", "", "", "", "", "", "found", kit="a:1") for one in huts.questions()}
    rows[Question(1, 1, 0, 0)] = Row("", "", "", "", "", "", "no-kit")
    (found,) = stocks(huts, rows, {})
    assert found.unserved == ("Cold hut",)
    assert found.holds == (("a", 1),)
