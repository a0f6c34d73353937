"""Changes by hand, and an asker that asks nothing twice."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from oracle.instances import battery, load, operation, sky

from kitopt.ask import Asker, Change, Question, at_least, at_most
from kitopt.ask import asker as module
from kitopt.budget import Budget
from kitopt.choice import Choice, pack
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse, Operation
from kitopt.sky.windows import Sky


def dark(outing: Operation) -> Sky:
    return sky([[0.0] * outing.n_steps], step_h=outing.need.step_h)


def lamp() -> Choice:
    """A lamp of 10 W for 8 h: 80 Wh; a holds 5 Ah x 12.8 V x 0.9 = 57.6 Wh, b 115.2 Wh."""
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0)
    batteries = (
        battery("a", 5.0, count=3, mass_g=600, price_cents=5000),
        battery("b", 10.0, mass_g=1000, price_cents=20000),
    )
    owned = Inventory("invented", batteries=batteries, loads=(load("lamp", full_w=10.0),))
    return pack(outing, owned, dark(outing))


@pytest.mark.parametrize(
    ("change", "packed"),
    [
        (Change("hours", value=5.0), {"a": 1}),  # 50 Wh
        (Change("hours", value=16.0), {"a": 1, "b": 1}),  # 160 of 172.8 Wh
        (Change("load", value=0.7), {"a": 1}),  # 56 Wh
        (Change("least", value="price"), {"a": 2}),
        (Change("price cap", value=15000.0), {"a": 2}),
        (at_most("b", 0), {"a": 2}),
        (at_least("a", 2), {"a": 2}),
        (Change("load off", "lamp", "less", 0, LoadUse("lamp", full_share=0.5)), {"a": 1}),
    ],
)
def test_a_change_by_hand(change: Change, packed: dict[str, int]) -> None:
    choice = lamp()
    after = Asker(choice, dark).ask(change)
    assert {p.id: p.count for p in after.packed if p.id != "lamp"} == packed
    # and the same in full, as from the start
    asked = Question(choice.operation, choice.inventory).under(change)
    full = Asker(choice, dark).ask(change, is_in_full=True)
    if not change.is_rule:
        whole = pack(asked.operation, asked.inventory, dark(asked.operation))
        assert (full.packed, full.proof, full.lowest) == (whole.packed, whole.proof, whole.lowest)


def test_one_more_of_what_is_owned_or_not() -> None:
    owned = lamp().inventory
    more = Change("one more", "b", thing=owned.by_id["b"]).inventory(owned)
    assert [(x.id, x.count) for x in more.batteries] == [("a", 3), ("b", 2)]
    new = Change("one more", "aa", thing=battery("aa", 1.0, count=7)).inventory(owned)
    assert [(x.id, x.count) for x in new.batteries] == [("a", 3), ("aa", 1), ("b", 1)]


def test_a_guess_proved_wrong() -> None:
    owned = replace(lamp().inventory, contact_ohm={"pv": 0.002})
    known = Change("guess", "b", ("measured_ah", 9.0)).inventory(owned)
    assert [x.measured_ah for x in known.batteries] == [x.measured_ah for x in owned.batteries[:1]] + [9.0]
    families = Change("guess", "barrel", ("contact_mohm", 8.0)).inventory(owned)
    assert families.contact_ohm == {"pv": 0.002, "barrel": 0.008}
    assert Change("guess", "barrel", ("max_a", 8.0)).inventory(owned).contact_a == {"barrel": 8.0}


def test_a_value_as_it_is_written() -> None:
    assert Change("guess", "b", ("measured_ah", 9.25)).text == "measured_ah 9.25"
    assert Change("hours", value=36.0).text == "36"
    assert Change("confidence", value=Fraction(9, 10)).text == "90"
    assert Change("lead", value="one other").text == "one other"


def test_nothing_is_asked_twice(monkeypatch: pytest.MonkeyPatch) -> None:
    choice = lamp()
    asked: list[Operation] = []
    real = module.best_kit

    def counted(outing: Operation, *args: object, **more: object) -> Choice:
        asked.append(outing)
        return real(outing, *args, **more)  # type: ignore[arg-type]

    monkeypatch.setattr(module, "best_kit", counted)
    asker = Asker(choice, dark)
    # as it was asked already, though in other words
    assert asker.ask(Change("hours", value=8.0), Change("least", value="mass")) is choice
    assert asked == []
    first = asker.ask(Change("hours", value=9.0))
    again = asker.ask(Change("hours", value=9.0))
    assert (again.packed, again.proof) == (first.packed, first.proof)
    asker.ask(Change("hours", value=9.0), is_in_full=True)
    asker.ask(Change("hours", value=9.0), at_most("b", 0))
    assert asked == [replace(choice.operation, hours=9.0)]


def test_what_takes_too_long_is_not_known(monkeypatch: pytest.MonkeyPatch) -> None:
    choice = lamp()
    for budget, most in ((Budget(), 0), (Budget.of(0.0), 100)):
        monkeypatch.setattr(module, "MOST_PROPOSALS", most)
        for change in (Change("hours", value=9.0), at_most("b", 0)):
            after = Asker(choice, dark, budget).ask(change, is_in_full=True)
            assert (after.status, after.packed) == ("time-limit", ())
