"""A load with a battery of its own, charged at a panel's USB socket: worked out by hand.

A panel of 10 W that gives three quarters of its label passes 3.75 W in 500 Wm⁻², its socket 2.5 W of that. The phone
draws 1 W and has 10 Wh, of which a tenth is held back; a watt-hour that its plug takes in is 0.85 Wh in its battery.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from oracle.instances import Instance, battery, load, operation, panel, sky

from kitopt.choice import Choice, pack
from kitopt.engine.judge import simulate
from kitopt.inventory.items import Connector, Converter, Extra, Inventory
from kitopt.model.own_battery import own_store
from kitopt.operation.terms import LoadUse

USB = Connector("usb-c", "socket")
N_HOURS = 14


def instance(dark_h: int, *, has_converter: bool = False, count: int = 1) -> Instance:
    """A lamp on the bus and a phone; no sun for some hours, then 500 Wm⁻²."""
    sunny = panel("fold", 10.0, usb_w=2.5, count=1, mass_g=300)
    phone = load("phone", full_w=1.0, idle_w=0.0, supply_v=5.0, battery_wh=10.0, connector=USB, count=2, mass_g=0)
    lamp = load("lamp", full_w=1.0, mass_g=0)
    supply = Converter(
        id="usb-5v",
        name="",
        mass_g=40,
        price_cents=100,
        count=1,
        from_connector=lamp.connector,
        to_connector=Connector("usb-a", "socket"),
        out_v=5.0,
        max_w=15.0,
        efficiency=0.9,
        idle_ma=0.0,
    )
    stock = Inventory(
        "invented",
        panels=(sunny,),
        batteries=(battery("b4", 4.0, mass_g=400, count=1),),
        loads=(lamp, phone),
        converters=(supply,) if has_converter else (),
    )
    uses = (LoadUse("lamp"), LoadUse("phone", count=count))
    outing = operation(uses, float(N_HOURS), step_h=1.0, confidence=Fraction(1, 2))
    return Instance(outing, stock, sky([[0.0] * dark_h + [500.0] * (N_HOURS - dark_h)] * 2, step_h=1.0))


def packed(made: Instance) -> Choice:
    return pack(made.operation, made.inventory, made.sky)


def pieces(choice: Choice) -> dict[str, int]:
    return {one.id: one.count for one in choice.packed if one.kind not in ("load", "extra")}


def test_its_margin_is_what_is_left_before_the_first_sun() -> None:
    # after 7 h 3 Wh are left; in the first hour of sun the load may come first: 2 Wh, and 1 Wh is held back
    made = instance(7)
    choice = packed(made)
    assert choice.made is not None
    model = choice.made.model
    at = {model.socket(j).panel is not None: j for j in model.socket_columns}
    own = own_store(model, at[True], made.sky)
    verdict = simulate(own.conditions, own.matrix.column(at[True]))
    assert verdict.margin_wh == pytest.approx([1.0, 1.0])
    # 1.5 W over what it draws for 7 h of sun, 0.85 of it stored, never above full
    assert verdict.charge_wh[0, 7:] == pytest.approx([3 + 1.275 * n for n in range(1, 6)] + [10.0, 10.0])
    # without the panel nothing is left after 14 h: 4 Wh below empty, 5 Wh below what is held back
    alone = own_store(model, at[False], made.sky)
    assert simulate(alone.conditions, alone.matrix.column(at[False])).margin_wh == pytest.approx([-5.0, -5.0])


def test_without_a_converter_the_panel_goes_to_the_phone_and_to_nothing_else() -> None:
    choice = packed(instance(7))
    assert choice.status == "found"
    assert pieces(choice) == {"b4": 1, "fold": 1}
    assert not choice.joins
    (wire,) = [wire for wire in choice.wiring if wire.kind == "socket"]
    assert (wire.source, wire.sink, wire.amps) == ("fold", "phone", 0.5)
    # the lamp's 14 Wh alone are drawn from the battery
    assert choice.lowest is not None
    assert choice.lowest.margin_wh == pytest.approx(4.0 * 12.8 * 0.9 * 0.9 - 14.0)


def test_what_hangs_on_a_panel_goes_along_with_one_that_charges_a_phone_alone() -> None:
    made = instance(7)
    pegs = Extra(id="pegs", name="", mass_g=150, price_cents=None, count=1, hangs_on=("panel",))
    with_pegs = replace(made, inventory=replace(made.inventory, extras=(pegs,)))
    assert {one.id: one.count for one in packed(with_pegs).packed}["pegs"] == 1
    # 14 Wh of 14.4 Wh that are not held back: no panel
    loads = tuple(replace(one, battery_wh=16.0) if one.battery_wh else one for one in made.inventory.loads)
    without = replace(made, inventory=replace(made.inventory, extras=(pegs,), loads=loads))
    assert "pegs" not in {one.id for one in packed(without).packed}


def test_a_phone_that_runs_out_in_any_spell_needs_the_bus() -> None:
    # nine dark hours leave 1 Wh, and the tenth may begin with the load: 1 Wh short of what is held back
    short = packed(instance(9))
    assert short.status == "no-kit"
    (text,) = {b.text for _, some in short.blocks for b in some if b.rule == "own-battery"}
    assert text == "phone on the socket of fold is 1.0 Wh short in some spell"
    on_bus = packed(instance(9, has_converter=True))
    assert pieces(on_bus) == {"b4": 1, "usb-5v": 1}


def test_each_of_two_phones_needs_a_panel_of_its_own() -> None:
    # there is one panel, and the converter has one port: 14 Wh of the lamp and 15.6 Wh of the other phone are drawn
    assert packed(instance(7, count=2)).status == "no-kit"
    both = packed(instance(7, count=2, has_converter=True))
    assert pieces(both) == {"b4": 1, "fold": 1, "usb-5v": 1}
    assert both.lowest is not None
    assert both.lowest.margin_wh == pytest.approx(4.0 * 12.8 * 0.9 * 0.9 - 14.0 - 14.0 / 0.9)


def test_a_battery_that_is_enough_needs_neither_panel_nor_converter() -> None:
    made = instance(7, has_converter=True)
    loads = tuple(replace(one, battery_wh=16.0) if one.battery_wh else one for one in made.inventory.loads)
    choice = packed(replace(made, inventory=replace(made.inventory, loads=loads)))
    # 14 Wh of 14.4 Wh that are not held back
    assert pieces(choice) == {"b4": 1}
