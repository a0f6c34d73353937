"""What happens without one piece, against choosing from scratch from an inventory that has one piece less."""

from __future__ import annotations

import random
from collections import Counter
from dataclasses import replace
from typing import Any

import pytest
from oracle.instances import Instance, battery, load, numbered, operation, sky

from kitopt.ask import Asker, at_most
from kitopt.budget import Budget
from kitopt.choice import Choice, pack
from kitopt.explain import without as module
from kitopt.explain.without import Without, without_each
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse
from kitopt.report.reasons import as_value, section, sentence

KINDS = ("batteries", "controllers", "panels")
CHUNKS = [range(0, 40)]


def solved(instance: Instance) -> Choice:
    return pack(instance.operation, instance.inventory, instance.sky)


def with_count(inventory: Inventory, item_id: str, count: int) -> Inventory:
    """The same inventory, with so many of one item owned."""
    changed: dict[str, Any] = {
        kind: tuple(replace(x, count=count) if x.id == item_id else x for x in getattr(inventory, kind))
        for kind in KINDS
    }
    return replace(inventory, **changed)


@pytest.mark.parametrize("numbers", CHUNKS, ids=lambda chunk: f"{chunk.start}-{chunk.stop - 1}")
def test_every_figure_equals_a_solve_from_scratch(numbers: range) -> None:
    found = short = 0
    for number in numbers:
        instance = numbered(number)
        choice = solved(instance)
        for without in without_each(choice):
            # owned is one less than was packed: whatever is left over of the item is no longer there either
            poorer = with_count(instance.inventory, without.id, without.count - 1)
            other = pack(instance.operation, poorer, instance.sky)
            assert without.status == other.status, (number, without)
            if other.status == "found":
                found += 1
                assert other.proof.objective is not None
                assert choice.proof.objective is not None
                assert without.more == other.proof.objective - choice.proof.objective, (number, without)
            else:
                assert other.shortfall is not None
                assert without.fits == bool(other.shortfall.packed), (number, without)
                if without.fits:
                    short += 1
                    assert without.shortfall_wh == pytest.approx(other.shortfall.shortfall_wh, abs=1.0), number
    assert found >= 1
    assert short >= 10


def test_what_one_question_teaches_does_not_spoil_the_next() -> None:
    # the same questions in another order and by askers that know nothing of each other
    n_compared = 0
    for number in range(30):
        choice = solved(numbered(number))
        rules = {w.id: at_most(w.id, w.count - 1) for w in without_each(choice)}
        alone = {item_id: Asker(choice).ask(rule).proof.objective for item_id, rule in rules.items()}
        order = sorted(rules)
        random.Random(number).shuffle(order)
        together = Asker(choice).ask_each([rules[item_id] for item_id in order])
        assert {item_id: again.proof.objective for item_id, again in zip(order, together, strict=True)} == alone
        n_compared += len(rules)
    assert n_compared > 25


def test_what_is_told_after_a_few_steps_is_true(monkeypatch: pytest.MonkeyPatch) -> None:
    # the more steps the more is told, and nothing ever that more steps would take back
    told = Counter[str]()
    for number in range(40):
        choice = solved(numbered(number))
        exact = {one.id: one for one in without_each(choice)}
        for most in (0, 2, 5, 10, 20, 40, 80):
            monkeypatch.setattr(module, "_MOST_STEPS", most)
            for one in without_each(choice):
                whole = exact[one.id]
                told[f"{one.status}, {one.more is not None or one.shortfall_wh is not None}"] += 1
                assert one.status in (whole.status, "time-limit"), (number, most, one)
                if one.more is not None:
                    assert whole.more is not None, (number, most, one)
                    assert one.more >= whole.more, (number, most, one)
                    assert one.status == "time-limit" or one.more == whole.more, (number, most, one)
                if one.shortfall_wh is not None:
                    assert one.shortfall_wh == pytest.approx(whole.shortfall_wh, abs=1.0), (number, most, one)
        monkeypatch.undo()
    # each sort of answer was seen
    assert set(told) >= {
        "found, True",
        "no-kit, True",
        "no-kit, False",
        "time-limit, True",
        "time-limit, False",
    }, told


def lamp_inventory(*batteries: Any) -> Instance:
    """A lamp of 10 W for 8 h and no sun: 80 Wh, and no reserve."""
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0)
    owned = Inventory("invented", batteries=tuple(batteries), loads=(load("lamp", full_w=10.0),))
    return Instance(outing, owned, sky([[0.0] * 8]))


def only(instance: Instance) -> tuple[Choice, Without]:
    choice = solved(instance)
    (without,) = without_each(choice)
    return choice, without


def test_a_heavier_one_instead() -> None:
    # 10 Ah x 12.8 V x 0.9 = 115.2 Wh is enough; without it the one of 1,300 g
    choice, without = only(lamp_inventory(battery("a", 10.0), battery("b", 10.0, mass_g=1300, price_cents=4000)))
    assert (without.id, without.status, without.more, without.mass_g_more) == ("a", "found", 300, 300)
    assert without.price_cents_more == -1000
    assert (without.instead, without.gone) == ((("b", 1),), (("a", 1),))
    assert sentence(choice, without) == "300 g heavier (b instead)"
    assert as_value(choice, without) == {
        **{"rule": "without", "text": "Without it: 300 g heavier (b instead).", "status": "found", "more": 300},
        **{"mass_g_more": 300, "price_more": -10.0, "instead": [{"id": "b", "count": 1}]},
        **{"without": [{"id": "a", "count": 1}], "shortfall_wh": None, "time": None},
    }


def test_a_tie_is_said_to_be_a_tie() -> None:
    choice, without = only(lamp_inventory(battery("a", 10.0), battery("b", 10.0)))
    assert without.more == 0
    assert without.is_tie
    assert sentence(choice, without) == "a tie: as light (b instead)"


def test_no_kit_without_it_says_how_far_and_when() -> None:
    # two of 5 Ah hold 57.6 Wh each; one alone is 80 - 57.6 = 22.4 Wh short after 8 h from nine
    choice, without = only(lamp_inventory(battery("a", 5.0, count=2)))
    assert without.count == 2
    assert without.status == "no-kit"
    assert without.shortfall_wh == pytest.approx(22.4)
    assert sentence(choice, without) == "no kit: 22 Wh short at Sat 10 Oct 17:00"
    assert section(choice, [without])[1] == "  1 of 2 a  no kit: 22 Wh short at Sat 10 Oct 17:00"


def test_nothing_at_all_fits_without_the_only_battery() -> None:
    choice, without = only(lamp_inventory(battery("a", 10.0)))
    assert not without.fits
    assert without.shortfall_wh is None
    assert "nothing else" in sentence(choice, without)


def test_a_kit_that_is_not_proved_has_no_reasons() -> None:
    choice = solved(lamp_inventory(battery("a", 10.0)))
    assert without_each(replace(choice, proof=replace(choice.proof, proved=False))) == ()


def test_reasons_that_are_cut_short_say_so() -> None:
    choice = solved(lamp_inventory(battery("a", 10.0), battery("b", 10.0, mass_g=1300)))
    (without,) = without_each(choice, budget=Budget.of(0.0))
    assert without.status == "time-limit"
    told = section(choice, [without])
    assert "not known" in told[1]
    assert "kitopt why" in told[-1]
