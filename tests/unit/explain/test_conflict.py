"""Why nothing fits together: the facts conflict, and without any one of them they do not."""

from __future__ import annotations

import itertools
from dataclasses import replace

from oracle.instances import battery, load, numbered, operation, sky

from kitopt.choice import Choice, pack
from kitopt.explain import Why
from kitopt.explain.conflict import NEEDS_BATTERY, conflict_of, conflicts, facts_of, is_possible, minimal
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse
from kitopt.report.document import document
from kitopt.report.text import answer


def assert_minimal(choice: Choice) -> int:
    """Each fact of each chain is dropped once; how many were."""
    n_dropped = 0
    for solved in choice.solved:
        facts = conflict_of(solved)
        if not facts:
            # no rule stands in the way: not even an idle station is carried
            assert is_possible(solved.model, facts_of(solved))
            continue
        assert not is_possible(solved.model, facts)
        for dropped in facts:
            assert is_possible(solved.model, [fact for fact in facts if fact is not dropped]), dropped
            n_dropped += 1
    return n_dropped


def lamp(watts: float, *batteries: object, **changes: object) -> Choice:
    outing = replace(operation((LoadUse("lamp"),), 2.0, step_h=1.0), **changes)  # type: ignore[arg-type]
    owned = Inventory("invented", batteries=batteries, loads=(load("lamp", full_w=watts),))  # type: ignore[arg-type]
    return pack(outing, owned, sky([[0.0] * 2]))


def test_a_peak_above_every_battery() -> None:
    # 128 W / 12.8 V = 10 A
    choice = lamp(128.0, battery("a", 5.0, max_discharge_a=5.0), battery("b", 9.0, max_discharge_a=9.0))
    (conflict,) = conflicts(choice)
    assert [fact.text for fact in conflict.facts] == [
        NEEDS_BATTERY,
        "a gives 5 A; the loads peak at 10.0 A",
        "b gives 9 A; the loads peak at 10.0 A",
    ]
    assert assert_minimal(choice) == 3


def test_a_peak_above_all_batteries_side_by_side() -> None:
    choice = lamp(256.0, battery("a", 5.0, count=2, max_discharge_a=5.0), batteries="parallel")
    (conflict,) = conflicts(choice)
    assert [fact.text for fact in conflict.facts] == [
        "the batteries together must carry 20.0 A",
        "all batteries of lifepo4 12.8 V that are owned give 10 A together",
    ]
    assert assert_minimal(choice) == 2


def test_a_mass_limit_below_every_battery() -> None:
    # the lamp weighs 500 g, each battery 1,000 g
    choice = lamp(10.0, battery("a", 5.0), battery("b", 9.0), mass_limit_g=1200)
    (conflict,) = conflicts(choice)
    assert [fact.text for fact in conflict.facts] == [
        NEEDS_BATTERY,
        "the kit may weigh 1,200 g, and loads and extras weigh 500 g of that",
    ]
    assert_minimal(choice)
    why = Why(conflicts=(conflict,))
    assert "Nothing fits together, because\n" in answer(choice, why)
    (told,) = document(choice, why)["conflicts"]
    assert [fact["rule"] for fact in told["facts"]] == ["bus-class", "mass-limit"]


def test_every_chain_of_random_inventories_is_minimal(conflict_numbers: range) -> None:
    n_dropped = 0
    for number in conflict_numbers:
        instance = numbered(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        if choice.status == "no-kit" and choice.shortfall is not None and not choice.shortfall.packed:
            n_dropped += assert_minimal(choice)
    assert n_dropped >= 2


def test_where_something_fits_there_is_no_conflict() -> None:
    choice = lamp(100.0, battery("a", 5.0))
    assert choice.status == "no-kit"
    assert conflicts(choice) == ()


def test_halving_finds_a_part_of_which_nothing_can_be_spared() -> None:
    # all families of two or three numbers below seven as what conflicts
    for wanted in itertools.chain(itertools.combinations(range(7), 2), itertools.combinations(range(7), 3)):
        core = minimal(range(7), lambda some, wanted=wanted: set(wanted) <= set(some))  # type: ignore[misc]
        assert sorted(core) == list(wanted)
    # with two conflicts among them, one of both is found whole
    core = minimal(range(9), lambda some: {1, 5} <= set(some) or {2, 7, 8} <= set(some))
    assert set(core) in ({1, 5}, {2, 7, 8})
