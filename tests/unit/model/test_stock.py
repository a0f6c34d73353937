"""Bounds on the pieces of each item: worked out by hand."""

from __future__ import annotations

from dataclasses import replace

from oracle.instances import battery, load, operation, sky

from kitopt.choice import pack
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Bound, LoadUse


def test_a_battery_of_other_volts_can_be_forced_in() -> None:
    # 14 Wh are drawn, 92 Wh are in the one that is forced; where the other is used no column takes it
    forced = replace(battery("a24", 4.0, mass_g=500, count=1), nominal_v=25.6)
    inventory = Inventory(
        "invented",
        batteries=(forced, battery("b12", 4.0, mass_g=400, count=1)),
        loads=(load("lamp", full_w=1.0, mass_g=0),),
    )
    asked = replace(operation((LoadUse("lamp"),), 14.0, step_h=1.0), bounds=(Bound("a24", 1),))
    choice = pack(asked, inventory, sky([[0.0] * 14] * 2, step_h=1.0))
    assert [one.id for one in choice.packed if one.kind == "battery"] == ["a24"]
