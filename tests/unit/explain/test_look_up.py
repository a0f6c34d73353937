"""Guesses that decide: thresholds by hand, and each threshold by choosing from scratch on both sides of it."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

from oracle.instances import battery, controller, load, numbered, operation, panel, sky

from kitopt.ask import Question
from kitopt.budget import Budget
from kitopt.choice import Choice, pack
from kitopt.explain.look_up import LookUp, _Doubt, look_up
from kitopt.inventory.items import Assumed, Inventory
from kitopt.operation.terms import LoadUse
from kitopt.report.look_up import look_up_section, look_up_value


def guessed(*columns: tuple[str, str, str], hours: float = 8.0, lamp_w: float = 10.0, **changes: Any) -> Choice:
    """A lamp of 10 W for eight hours, 80 Wh; a of 1,000 g holds 82.9 Wh when 7.2 Ah of it are there, b more."""
    owned = Inventory(
        "invented",
        batteries=(
            battery("a", 8.0, measured_ah=7.2, max_discharge_a=4.0),
            battery("b", 12.0, mass_g=1600),
            battery("c", 6.0, mass_g=700, measured_ah=5.4, max_discharge_a=3.0),
        ),
        loads=(load("lamp", full_w=lamp_w),),
        assumed=tuple(Assumed("batteries.csv", *one, "a rule") for one in columns),
    )
    outing = operation((LoadUse("lamp"),), hours, step_h=1.0, reserve_share=0.0, **changes)
    return pack(outing, owned, sky([[0.0] * outing.n_steps]))


def section(choice: Choice, found: LookUp) -> str:
    return " ".join(" ".join(look_up_section(choice, found)).split())


def test_thresholds_by_hand() -> None:
    # 80 Wh / 12.8 V / 0.9 = 6.944 Ah are needed. c has 5.4 Ah by a guess; usual are up to 1.15 x 6 = 6.9 Ah: too few.
    # a has 7.2 Ah by a guess, of 4 to 9.2 Ah: at 6.9 Ah it is not enough any more, and b is 600 g heavier
    choice = guessed(("a", "measured_ah", "7.2"), ("c", "measured_ah", "5.4"))
    assert [one.id for one in choice.packed] == ["a", "lamp"]
    found = look_up(choice)
    (one,) = found.thresholds
    assert (one.guess.id, one.column, one.towards, one.is_above, one.at) == ("a", "measured_ah", "worse", False, 6.9)
    assert (one.instead, one.gone, one.objective) == ((("b", 1),), (("a", 1),), 2100)
    assert (
        "measured_ah of a, taken as 7.2 Ah: at 6.9 Ah or less b comes in and a stays home, 600 g heavier."
        in section(choice, found)
    )
    (value,) = look_up_value(choice, found)["thresholds"]
    assert (value["at"], value["or"], value["better"], value["mass_g"]) == (6.9, "less", False, 2100)


def test_a_guess_that_kept_a_battery_out() -> None:
    # 40 W / 12.8 V = 3.125 A: more than the 3 A that c is taken to give; usual are 0.3 to 6 A for each of its 6 Ah
    choice = guessed(("c", "max_discharge_a", "3"), hours=1.0, lamp_w=40.0)
    assert [one.id for one in choice.packed] == ["a", "lamp"]
    (one,) = look_up(choice).thresholds
    assert (one.guess.id, one.towards, one.is_above, one.at) == ("c", "better", True, 3.2)
    assert (one.instead, one.gone, one.mass_g) == ((("c", 1),), (("a", 1),), 1200)


def test_what_does_not_decide_takes_one_solve_together() -> None:
    choice = guessed(("b", "measured_ah", "12"), ("b", "depth_share", "0.9"), ("b", "max_discharge_a", "20"))
    found = look_up(choice)
    assert (found.thresholds, found.n_guesses, found.n_solves) == ((), 3, 1)
    assert "the answer stays the same (3 asked about, 1 solve)" in section(choice, found)
    assert look_up_section(choice, look_up(guessed())) == []


def test_where_no_kit_works_a_guess_may_be_all_that_is_in_the_way() -> None:
    # 10 h need 100 Wh / 12.8 V / 0.9 = 8.68 Ah; a alone is owned, and 9.2 Ah are usual at most
    choice = guessed(("a", "measured_ah", "7.2"), hours=10.0)
    owned = replace(choice.inventory, batteries=tuple(b for b in choice.inventory.batteries if b.id == "a"))
    choice = pack(choice.operation, owned, choice.sky)
    assert choice.status == "no-kit"
    found = look_up(choice)
    (one,) = found.thresholds
    assert (one.at, one.mass_g) == (8.7, 1500)
    assert "at 8.7 Ah or more a kit works, 1.50 kg." in section(choice, found)


def test_the_solves_are_limited_by_their_number_and_never_by_the_clock() -> None:
    choice = guessed(("a", "measured_ah", "7.2"), ("c", "measured_ah", "5.4"))
    found = look_up(choice, most_solves=1)
    assert (found.is_cut_short, found.n_solves) == (True, 1)
    assert "Some were left out" in section(choice, found)
    assert look_up(choice, budget=Budget.of(0.0)).is_cut_short


def test_what_is_not_proved_best_has_no_thresholds() -> None:
    choice = guessed(("a", "measured_ah", "7.2"))
    unproved = replace(choice, proof=replace(choice.proof, proved=False))
    assert look_up(unproved) == LookUp()


def test_in_several_circuits_a_guess_decides_for_all_of_them() -> None:
    # the lamp's 80 Wh are 6.944 Ah as above: more than the 6.5 Ah that a is taken to have, so b, 600 g heavier, is its;
    # the torch's 40 Wh are 3.47 Ah, for which c, the lightest, has 5.4 Ah
    choice = guessed(("a", "measured_ah", "6.5"))
    batteries = tuple(replace(b, measured_ah=6.5) if b.id == "a" else b for b in choice.inventory.batteries)
    loads = (*choice.inventory.loads, load("torch", full_w=5.0))
    uses = (LoadUse("lamp", circuit="light"), LoadUse("torch", circuit="hand"))
    owned = replace(choice.inventory, batteries=batteries, loads=loads)
    both = pack(replace(choice.operation, loads=uses), owned, choice.sky)
    assert sorted(one.id for one in both.packed) == ["b", "c", "lamp", "torch"]
    (one,) = look_up(both).thresholds
    assert (one.guess.id, one.towards, one.is_above, one.at) == ("a", "better", True, 7.0)
    assert (one.instead, one.gone) == ((("a", 1),), (("b", 1),))
    # where it is guessed that it has enough already, nothing better can be found in any circuit
    enough = replace(owned, batteries=tuple(replace(b, measured_ah=7.2) if b.id == "a" else b for b in batteries))
    assert not [one for one in look_up(pack(both.operation, enough, both.sky)).thresholds if one.towards == "better"]


def test_whether_a_panel_tilts_may_decide() -> None:
    # the light comes from the side alone: a panel that lies flat gives nothing, and b holds the 80 Wh of the lamp; one
    # that tilts gives 0.75 of 20 W, more than the lamp's 10 W, so that the small a is enough beside it
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0), battery("b", 10.0, mass_g=3000)),
        panels=(panel("p", 20.0, mass_g=500, tilts=False),),
        controllers=(controller("c", "mppt", 10.0),),
        loads=(load("lamp", full_w=10.0),),
        assumed=(Assumed("panels.csv", "p", "tilts", "no", "a rule"),),
    )
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0)
    choice = pack(outing, owned, sky([[1000.0] * 8], flat_wm2=[[0.0] * 8]))
    assert [one.id for one in choice.packed] == ["b", "lamp"]
    (one,) = look_up(choice).thresholds
    assert (one.guess.id, one.column, one.towards, one.at) == ("p", "tilts", "better", True)
    # a, the panel, the controller and the lamp
    assert (one.gone, one.mass_g) == ((("b", 1),), 1000 + 500 + 150 + 500)


def test_every_threshold_lies_between_two_answers() -> None:
    """Choose from scratch at each threshold and just before it."""
    n = 0
    for number in range(12):
        instance = numbered(number)
        columns = ("measured_ah", "max_charge_a", "max_discharge_a", "depth_share", "efficiency")
        assumed = [
            Assumed("batteries.csv", b.id, column, f"{getattr(b, column):g}", "a rule")
            for b in instance.inventory.batteries
            for column in columns
        ]
        assumed += [
            Assumed("panels.csv", p.id, "output_factor", f"{p.output_factor:g}", "") for p in instance.inventory.panels
        ]
        owned = replace(instance.inventory, assumed=tuple(assumed))
        choice = pack(instance.operation, owned, instance.sky)
        for one in look_up(choice, most_solves=25).thresholds:
            assert not isinstance(one.at, bool)
            here = getattr(owned.by_id[one.guess.id], one.column)
            doubt = _Doubt(one.guess, one.column, here, one.at, one.towards)
            asked = Question(choice.operation, owned).under(doubt.at(one.at))
            other = pack(asked.operation, asked.inventory, choice.sky)
            assert other.proof.objective == one.objective != choice.proof.objective, number
            assert one.is_above == (one.at > here)
            n += 1
    assert n >= 5
