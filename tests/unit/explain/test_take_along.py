"""What a change takes along: the adapter of another radio, a battery's fused lead, a Y for one more panel."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from oracle.instances import GENDERLESS, battery, controller, load, operation, panel, sky

from kitopt.choice import Choice, pack
from kitopt.explain import Why
from kitopt.explain.conflict import conflict_of
from kitopt.explain.repairs import BESIDE, Repair, repairs
from kitopt.explain.take_along import lead_for, y_for
from kitopt.inventory.items import Connector, Converter, Inventory, Lead
from kitopt.operation.terms import LoadUse, Span
from kitopt.report.document import document
from kitopt.report.repairs import repairs_section

LATCH = Connector("pv-latch", "plug")
ROUND = Connector("barrel-5.5x2.1", "socket")
LATCH_IN = Connector("pv-latch", "socket")


def lead(item_id: str, one: Connector, other: Connector, **changes: Any) -> Lead:
    values: dict[str, Any] = {"length_m": 0.2, "area_mm2": 6.0, "max_a": 40.0, "mass_g": 50}
    return Lead(id=item_id, name=item_id, from_connector=one, to_connector=other, **(values | changes))


def choose(owned: Inventory, hours: float, light: list[float], *uses: LoadUse, **changes: Any) -> Choice:
    values = {"step_h": 1.0, "reserve_share": 0.0, "station_connector": GENDERLESS, "panel_distance_m": 0.0} | changes
    return pack(operation(uses, hours, **values), owned, sky([light]))


def told(choice: Choice) -> str:
    return " ".join(" ".join(repairs_section(choice, repairs(choice))).split())


def of(choice: Choice, family: str, kind: str = "") -> list[Repair]:
    found = repairs(choice)
    every = (*found.work, *found.not_enough)
    return [one for one in every if one.change.family == family and kind in type(one.change.thing).__name__]


def test_a_radio_of_the_role_comes_with_its_adapter() -> None:
    # 57.6 Wh; the shack's radio listens with 10 W for 8 h: 22.4 Wh short. The other one draws 4 W: 32 Wh, 25.6 left
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        leads=(lead("unused", LATCH, LATCH_IN),),
        has_leads_file=True,
        loads=(
            load("oak", idle_w=10.0, full_w=60.0, role=("hf",)),
            load("oak-2", idle_w=3.0, full_w=10.0, role=("vhf",)),
            load(
                "moss",
                idle_w=4.0,
                full_w=20.0,
                role=("portable", "hf"),
                connector=Connector("barrel-5.5x2.1", "socket"),
            ),
        ),
    )
    choice = choose(owned, 8.0, [0.0] * 8, LoadUse("oak", mode="ssb", transmit_share=0.0))
    (radio,) = of(choice, "radio")
    assert radio.works
    assert [change.family for change in radio.changes] == ["radio", "lead"]
    assert radio.gain_wh == pytest.approx(22.4 + 25.6)
    # 1,000 g of battery, 500 g of radio and 40 g of adapter
    assert radio.mass_g == 1540
    text = "moss instead of oak with an adapter from genderless-30 to barrel-5.5x2.1:plug: +48 Wh, 1.54 kg in all."
    assert text in told(choice)
    value = document(choice, Why(repairs=repairs(choice)))
    (told_value,) = [one for one in value["repairs"] if one["family"] == "radio"]
    assert [one["family"] for one in told_value["also"]] == ["lead"]
    assert value["repairs_tried"]["most_solves"] == BESIDE.solves
    # names that are alike say nothing
    assert all(one.change.value != "oak-2" for one in of(choice, "radio"))


def test_a_radio_without_a_role_is_not_changed_for_another() -> None:
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        loads=(load("radio-10", idle_w=10.0, full_w=10.0), load("radio-5", idle_w=5.0, full_w=5.0)),
    )
    assert of(choose(owned, 8.0, [0.0] * 8, LoadUse("radio-10"), station_connector=None), "radio") == []


def usb_supply() -> Converter:
    ends = {"from_connector": GENDERLESS, "to_connector": Connector("usb-a", "socket")}
    values = {"out_v": 5.0, "max_w": 15.0, "efficiency": 0.9, "idle_ma": 0.0, "price_cents": None, "count": 1}
    return Converter(id="supply", name="", mass_g=45, **ends, **values)  # type: ignore[arg-type]


@pytest.mark.parametrize("battery_wh", [None, 5.0])
def test_what_a_converter_lacks_is_tried_before_leads_of_panels(battery_wh: float | None) -> None:
    # four panels that reach nothing once took all the tries; the phone's own 5 Wh are less than the 8 that it draws
    phone = load("phone", full_w=1.0, supply_v=5.0, connector=Connector("usb-c", "socket"), battery_wh=battery_wh)
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        controllers=(controller("c", "pwm", 10.0, pv_connector=LATCH_IN),),
        panels=tuple(panel(f"p{n}", 20.0, connector=Connector(f"odd-{n}", "plug")) for n in range(4)),
        leads=(lead("unused", LATCH, LATCH_IN),),
        converters=(usb_supply(),),
        has_leads_file=True,
        loads=(phone,),
    )
    choice = choose(owned, 8.0, [0.0] * 8, LoadUse("phone"))
    assert choice.status == "no-kit"
    (adapter,) = (one for one in of(choice, "lead") if one.works)
    assert str(adapter.change.value) == "usb-a:plug usb-c:plug"
    # the chain of facts says what is wanting, whether or not the phone has a battery
    said = " ".join(fact.text for solved in choice.solved for fact in conflict_of(solved))
    assert "Converter supply (usb-a:socket) and load phone (usb-c:socket) cannot be joined" in said


def test_one_more_battery_comes_with_its_own_fused_lead() -> None:
    # each battery without a fused plug has a fused lead of its own, and there is only one
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0, fused=False),),
        leads=(lead("fused", GENDERLESS, GENDERLESS, fuse_a=5.0, fuse_at_m=0.1),),
        has_leads_file=True,
        loads=(load("lamp", full_w=10.0),),
    )
    choice = choose(owned, 8.0, [0.0] * 8, LoadUse("lamp"))
    assert choice.shortfall is not None
    assert choice.shortfall.shortfall_wh == pytest.approx(22.4)
    (more,) = of(choice, "one more", "Battery")
    assert more.works
    # two batteries, the lead that is owned and the one that is not, and the lamp
    assert more.mass_g == 2 * 1000 + 50 + 40 + 500
    assert "one more a with a fused lead from genderless-30 to genderless-30: +58 Wh, 2.59 kg in all." in told(choice)


def noon(*more: Lead, n_panels: int = 1) -> Choice:
    """One panel of 20 W in the sun for the first four of eight hours, its plug in the controller's only socket.

    The lamp of 20 W burns throughout, 160 Wh. The battery holds 0.3 of 10 Ah x 12.8 V x 0.9 at the start, 34.56 Wh.
    Ampere-hours count, so of the panel's watt-hours 12.8 / 13.4 come in.
    """
    owned = Inventory(
        "invented",
        batteries=(battery("a", 10.0, efficiency=1.0),),
        controllers=(controller("c", "mppt", 10.0, efficiency=1.0, pv_connector=LATCH_IN),),
        panels=(panel("p", 20.0, count=n_panels, connector=LATCH, power_per_degc=0.0, output_factor=1.0),),
        leads=(lead("strip", GENDERLESS, GENDERLESS, ways=6), *more),
        has_leads_file=True,
        loads=(load("lamp", full_w=20.0),),
    )
    return choose(owned, 8.0, [1000.0] * 4 + [0.0] * 4, LoadUse("lamp"), start_charge_share=0.3)


def test_one_more_panel_comes_with_a_y() -> None:
    choice = noon()
    given_wh = 20.0 * 4 * 12.8 / 13.4
    assert choice.shortfall is not None
    assert choice.shortfall.shortfall_wh == pytest.approx(160 - 34.56 - given_wh, rel=0.02)
    (more,) = of(choice, "one more", "Panel")
    assert [change.family for change in more.changes] == ["one more", "lead"]
    assert more.works
    # more is left at the end, but in the first hour the load may come before the sun: 34.56 - 20 Wh
    assert more.gain_wh == pytest.approx(160 - 34.56 - given_wh + 14.56, rel=0.02)
    assert "one more p with a Y for pv-latch: +64 Wh" in told(choice)
    # of two panels on a Y that is owned, the second needs nothing beside it
    (alone,) = of(noon(lead("y", LATCH_IN, LATCH, ways=2)), "one more", "Panel")
    assert [change.family for change in alone.changes] == ["one more"]


def test_a_y_alone_lets_a_panel_in_that_is_owned() -> None:
    # both panels are owned and one of them finds no place: the Y is all that is wanting
    (y,) = of(noon(n_panels=2), "lead")
    assert y.works
    assert "a Y for pv-latch, for p: +64 Wh" in told(noon(n_panels=2))


def test_pairs_are_tried_where_no_single_change_does_it() -> None:
    # 57.6 Wh are there; 10, 8 and 0.5 W for eight hours need 148 Wh, and without the second lamp still 84 Wh
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        loads=(load("lamp", full_w=10.0), load("second", full_w=8.0), load("third", full_w=0.5)),
    )
    uses = (LoadUse("lamp", spans=(Span(540, 1020),)), LoadUse("second"), LoadUse("third"))
    choice = choose(owned, 8.0, [0.0] * 8, *uses, station_connector=None)
    found = repairs(choice)
    assert not any(one.does_what_was_asked for one in found.work if len(one.ways) == 1)
    (pair,) = [one for one in found.work if len(one.ways) == 2]
    # 84 Wh of 115.2 Wh: the first of the pairs whose gains would do, 64 + 57.6 of the 90.4 Wh that are wanting
    assert [way[0].family for way in pair.ways] == ["load off", "one more"]
    assert pair.gain_wh == pytest.approx(148 - 57.6 + 115.2 - 84)
    assert "second left at home, and one more a: +122 Wh, 3.00 kg in all." in told(choice)
    assert found.n_pairs == 1
    assert found.n_solves <= found.most_solves


def test_one_more_battery_that_is_fused_and_fits_takes_nothing_along() -> None:
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        leads=(lead("strip", GENDERLESS, GENDERLESS, ways=6),),
        has_leads_file=True,
        loads=(load("lamp", full_w=10.0),),
    )
    for batteries in ("in turn", "parallel"):
        choice = choose(owned, 8.0, [0.0] * 8, LoadUse("lamp"), batteries=batteries)
        (more,) = of(choice, "one more", "Battery")
        assert more.works
        # its own plug goes into the strip: two batteries, the strip in parallel alone, and the lamp
        assert [change.family for change in more.changes] == ["one more"]
        assert more.mass_g in (2 * 1000 + 500, 2 * 1000 + 50 + 500)


def test_a_y_for_a_panel_of_which_there_is_one_goes_to_a_controllers_input() -> None:
    choice = noon()
    (offered,) = (one for one in choice.inventory.panels)
    y = y_for(choice, offered)
    assert y is not None
    assert isinstance(y.thing, Lead)
    # two panels' plugs go into it, and it goes into the input as one of them would
    assert (y.thing.ways, y.thing.from_connector, y.thing.to_connector) == (2, LATCH_IN, LATCH)
    bare = replace(choice, inventory=replace(choice.inventory, controllers=()))
    assert y_for(bare, offered) is None
    assert y_for(replace(choice, inventory=replace(choice.inventory, has_leads_file=False)), offered) is None


def far(distance_m: float) -> Choice:
    """A panel some way off, of other plugs than the controller, and no lead for it."""
    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0),),
        controllers=(controller("c", "mppt", 10.0, pv_connector=LATCH_IN),),
        panels=(panel("p", 20.0, connector=ROUND),),
        leads=(lead("strip", GENDERLESS, GENDERLESS, ways=6),),
        has_leads_file=True,
        loads=(load("lamp", full_w=10.0),),
    )
    return choose(owned, 8.0, [1000.0] * 8, LoadUse("lamp"), panel_distance_m=distance_m)


def test_a_lead_that_nobody_owns_is_as_long_and_heavy_as_the_way_to_the_panel() -> None:
    choice = far(5.0)
    (block,) = {block for _, some in choice.blocks for block in some if block.items == ("p", "c")}
    change = lead_for(choice, block)
    assert change is not None
    made = change.thing
    assert isinstance(made, Lead)
    # 165 g for each of 5 m, beside the plugs' 40 g
    assert (made.length_m, made.mass_g) == (5.0, 40 + 825)
    assert made.from_connector.mates_with(ROUND)
    assert made.to_connector.mates_with(LATCH_IN)
    # a lead of a panel has no fuse of a battery's
    assert made.fuse_a is None
    (beside,) = {block for _, some in far(0.0).blocks for block in some if block.items == ("p", "c")}
    short = lead_for(far(0.0), beside)
    assert short is not None
    assert isinstance(short.thing, Lead)
    assert (short.thing.length_m, short.thing.mass_g) == (0.2, 40)
