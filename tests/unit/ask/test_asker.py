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


@pytest.mark.parametrize(("ah", "packed", "short_wh"), [(5.0, "more", 9.76), (20.0, "b", 15.52)])
def test_one_more_where_no_kit_meets_any_share_of_the_need(ah: float, packed: str, short_wh: float) -> None:
    # batteries 30 % full; a quarter is held back, and at 0 °C 15 % is locked away: a tenth is short, and 4 Wh drawn
    outing = operation((LoadUse("lamp"),), 4.0, step_h=1.0, reserve_share=0.25, start_charge_share=0.3)
    owned = Inventory("invented", batteries=(battery("b", 10.0),), loads=(load("lamp", full_w=1.0),))
    choice = pack(outing, owned, sky([[0.0] * 4], battery_degc=0.0))
    assert choice.shortfall is not None
    assert choice.shortfall.shortfall_wh == pytest.approx(15.52)
    asker = Asker(choice, lambda _: sky([[0.0] * 4], battery_degc=0.0))
    after = asker.ask(Change("one more", "more", thing=battery("more", ah)), is_in_full=True).shortfall
    assert after is not None
    # of 57.6 Wh 5.76 are short and 4 drawn, of 230.4 Wh 23.04: the larger battery is the weaker kit
    assert [one.id for one in after.packed if one.kind == "battery"] == [packed]
    assert after.shortfall_wh == pytest.approx(short_wh)


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
        monkeypatch.setattr(module, "MOST_STEPS", most)
        for change in (Change("hours", value=9.0), at_most("b", 0)):
            after = Asker(choice, dark, budget).ask(change, is_in_full=True)
            assert (after.status, after.packed) == ("time-limit", ())


def test_a_rule_on_two_circuits_is_asked_of_both_together() -> None:
    # as under `lamp`, and a fan of 10 W for 8 h beside it: 80 Wh each, one on b, one on two a: 2,200 g. Without b four
    # a are needed and three are there; with no more than two a nothing changes, and with three a at least it is
    # one more
    base = lamp()
    uses = (LoadUse("fan", circuit="shack"), LoadUse("lamp"))
    owned = replace(base.inventory, loads=(load("fan", full_w=10.0), *base.inventory.loads))
    outing = replace(base.operation, loads=uses)
    choice = pack(outing, owned, dark(outing))
    asker = Asker(choice, dark)

    def batteries(one: Choice) -> dict[str, int]:
        return {p.id: p.count for p in one.packed if p.kind == "battery"}

    assert batteries(choice) == {"a": 2, "b": 1}
    without, few, many = asker.ask_each([at_most("b", 0), at_most("a", 2), at_least("a", 3)])
    assert (without.status, without.proof.proved) == ("no-kit", True)
    assert batteries(few) == {"a": 2, "b": 1}
    assert batteries(many) == {"a": 3, "b": 1}


def test_another_class_is_asked_only_as_far_as_a_rule_leaves_it_better() -> None:
    # 80 Wh: b of 1,000 g, else c, lead-acid with 20 Ah x 12 V x 0.5 = 120 Wh of 1,100 g, else two a of 1,200 g
    base = lamp()
    lead_acid = battery(
        "c", 20.0, mass_g=1100, price_cents=3000, chemistry="agm", nominal_v=12.0, depth_share=0.5, efficiency=0.85
    )
    owned = replace(base.inventory, batteries=(*base.inventory.batteries, lead_acid))
    choice = pack(base.operation, owned, dark(base.operation))
    asker = Asker(choice, dark)

    def under(*rules: Change) -> dict[str, int]:
        after = asker.ask(*rules)
        assert after.proof.proved or not after.packed
        return {p.id: p.count for p in after.packed if p.kind == "battery"}

    assert under(at_most("a", 2)) == {"b": 1}
    assert under(at_most("b", 0)) == {"c": 1}
    # what is known of c without any rule does for this one too
    assert under(at_most("b", 0), at_most("a", 2)) == {"c": 1}
    # c itself is ruled out, or a is asked for, which no kit of lead-acid takes
    assert under(at_most("b", 0), at_most("c", 0)) == {"a": 2}
    assert under(at_most("b", 0), at_least("a", 1)) == {"a": 2}
    # c is asked for, which no kit of the first class takes; and then nothing is left
    assert under(at_least("c", 1)) == {"c": 1}
    assert under(at_least("c", 1), at_least("a", 1)) == {}
