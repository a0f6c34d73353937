"""Guesses that keep something out by a rule, with the value that would let it in; by hand."""

from __future__ import annotations

from dataclasses import replace

from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.choice import Choice, pack
from kitopt.explain import cautions
from kitopt.inventory.items import Assumed, Inventory
from kitopt.operation.terms import LoadUse


def choose(guess: Assumed, most_pv_v: float = 50.0) -> Choice:
    """A heater of 40 W for an hour, 3.125 A; a gives 3 A and weighs less than b."""
    owned = Inventory(
        "invented",
        batteries=(battery("a", 6.0, mass_g=700, max_discharge_a=3.0), battery("b", 8.0)),
        controllers=(controller("c", "mppt", 5.0, max_pv_v=most_pv_v),),
        panels=(panel("p", 20.0),),
        loads=(load("heater", full_w=40.0),),
        assumed=(guess,),
    )
    outing = operation((LoadUse("heater"),), 1.0, step_h=1.0, reserve_share=0.0)
    return pack(outing, owned, replace(sky([[300.0]]), coldest_degc=-5.0))


def told(choice: Choice) -> list[str]:
    return [one.text for one in cautions(choice) if one.text.startswith("A guess keeps")]


def test_a_battery_that_is_taken_to_give_too_little() -> None:
    (text,) = told(choose(Assumed("batteries.csv", "a", "max_discharge_a", "3", "0.5 of capacity_ah per hour")))
    # 40 W / 12.8 V = 3.125 A, told rounded up
    assert text == (
        "A guess keeps a out: max_discharge_a of a is blank and taken as 3 A. "
        "Look it up: at 3.2 A or more a may come in."
    )


def test_what_was_read_from_a_label_is_no_guess() -> None:
    assert told(choose(Assumed("batteries.csv", "b", "max_discharge_a", "20", "a rule"))) == []


def test_a_panel_that_is_taken_to_rise_too_high() -> None:
    # 21.96 V and 0.3 % for each of 30 K below 25 °C: 23.94 V; 23 V are allowed, so 21.1 V at 25 °C, rounded down
    (text,) = told(choose(Assumed("panels.csv", "p", "voc_v", "21.96", "1.28 times vmp_v, for limits"), 23.0))
    assert text == (
        "A guess keeps p out: voc_v of p is blank and taken as 21.96 V. "
        "Look it up: at 21.1 V or less p may come in on c."
    )
