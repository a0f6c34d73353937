"""Leads that may fail, and what is packed against it: small kits, each of them worked out by hand.

The battery holds 128 Wh and the radio draws 10 W, 40 Wh in the dark. Under the sun it is 800 Wh, and a panel in half
the sun gives 50 W: any one panel is enough, and none is not.
"""

from __future__ import annotations

from fractions import Fraction
from typing import Any

import pytest
from wired_kits import battery, controller, converter, ids, in_the_sun, lead, load, packed, panel

from kitopt.choice import Choice
from kitopt.inventory.items import Item
from kitopt.operation.terms import LoadUse, Need


def kept_up(*kinds: str) -> dict[str, Any]:
    """What an operation asks for that backs up some kinds."""
    return {"need": Need(confidence=Fraction(1), reserve_share=0.0, step_h=1.0, backup=kinds)}


def without_a_lead(*items: Item, **more: Any) -> Choice:
    """The choice in the dark when any one lead may fail."""
    return packed(*items, **kept_up("lead"), **more)


def lost(choice: Choice) -> list[tuple[str, str]]:
    """Each loss that the kit outlives, as it is told."""
    assert all(one.survived == 1 for one in choice.losses)
    return [(one.kind, one.what) for one in choice.losses]


# -- the station's side: a spare of each kind ------------------------------------------


@pytest.mark.parametrize(("n_radios", "n_leads"), [(1, 2), (2, 3)])
def test_of_leads_to_loads_one_spare_is_packed_of_a_kind(n_radios: int, n_leads: int) -> None:
    # one for each radio and one more, whichever it is that fails; without any backup none is packed beyond what is used
    radios = load(connector="barrel:socket", count=n_radios)
    items = (battery(), radios, lead("cord", "g > barrel:plug", count=4), lead("bar", "g > g", ways=4, count=2))
    assert ids(packed(*items))["cord"] == n_radios
    choice = without_a_lead(*items)
    assert ids(choice)["cord"] == n_leads
    assert choice.proof.proved


def test_where_no_spare_is_owned_no_kit_is_packed() -> None:
    # another lead would do as well, but the spare lies ready for the very lead that fails
    items = (battery(), load(connector="barrel:socket"))
    assert packed(*items, lead("cord", "g > barrel:plug")).status == "found"
    assert without_a_lead(*items, lead("cord", "g > barrel:plug")).status == "no-kit"
    assert without_a_lead(*items, *(lead(name, "g > barrel:plug") for name in ("cord", "wire"))).status == "no-kit"


def test_a_lead_that_goes_from_battery_to_battery_has_a_spare() -> None:
    # 160 Wh: two batteries in turn on one lead, since they are fused themselves
    items = (battery(connector="ring", count=2), load(), lead("tail", "ring > g", count=3))
    assert ids(packed(*items, hours=16.0)) == {"box": 2, "radio": 1, "tail": 1}
    assert ids(without_a_lead(*items, hours=16.0)) == {"box": 2, "radio": 1, "tail": 2}


def test_leads_that_stay_on_their_batteries_have_one_spare() -> None:
    # without a fuse of its own each battery has its own lead with one; of the three any may fail
    tail = lead("tail", "ring > g", count=3, fuse_a=10.0, fuse_at_m=0.1)
    items = (battery(connector="ring", count=2, fused=False), load(), tail)
    assert ids(packed(*items, hours=16.0)) == {"box": 2, "radio": 1, "tail": 2}
    assert ids(without_a_lead(*items, hours=16.0)) == {"box": 2, "radio": 1, "tail": 3}


def test_a_strip_at_which_all_meets_has_a_spare() -> None:
    # a battery and two radios on one connector
    items = (battery(), load(count=2), lead("bar", "g > g", ways=4, count=2))
    assert ids(packed(*items))["bar"] == 1
    assert ids(without_a_lead(*items))["bar"] == 2


def test_a_lead_behind_a_converter_has_a_spare() -> None:
    phone = load("phone", supply_v=5.0, full_w=5.0, connector="micro:socket")
    items = (battery(), converter(), phone, lead("thread", "usb:plug > micro:plug", count=2))
    assert ids(packed(*items)) == {"box": 1, "phone": 1, "step": 1, "thread": 1}
    assert ids(without_a_lead(*items)) == {"box": 1, "phone": 1, "step": 1, "thread": 2}


# -- the panels' side: what hangs on the lead is lost with it --------------------------

BAR = lead("bar", "g > g", ways=6, count=2)
RUN = lead("run", "mc:socket > pv:plug", count=2)


def in_the_sun_without_a_lead(*items: Item, kinds: tuple[str, ...] = ("lead",)) -> Choice:
    """80 h under the sun, with a spare of the strip at hand."""
    return packed(BAR, battery(), load(), *items, sun_wm2=500.0, hours=80.0, **kept_up(*kinds))


def test_a_lead_that_is_lost_takes_its_join_along() -> None:
    # one panel would be enough; its lead lost there is none, so another hangs on a lead and a controller of its own
    items = (panel(connector="mc:plug", count=2), RUN)
    choice = in_the_sun_without_a_lead(*items, controller(count=2))
    assert (ids(choice)["sheet"], ids(choice)["run"], ids(choice)["mppt"]) == (2, 2, 2)
    assert lost(choice) == [("lead", f"the lead of sheet on mppt #{number}") for number in (1, 2)]
    # the only controller has one input: all of the sun comes through one lead
    assert in_the_sun_without_a_lead(*items, controller()).status == "no-kit"


def test_a_joiner_that_is_lost_takes_all_its_panels_along() -> None:
    # each panel gives 15 W, more than is drawn, but what joins the two is the only way to the controller
    small = panel(connector="mc:plug", count=2, rated_w=30.0, imp_a=1.67, isc_a=1.8)
    both = lead("pair", "mc:socket > pv:plug", ways=2)
    assert in_the_sun_without_a_lead(small, both, controller()).status == "no-kit"
    assert in_the_sun(battery(), load(), small, both, controller()).status == "found"


def test_a_lead_of_one_panel_is_no_loss_beside_that_panel() -> None:
    # lead and panel are lost together: it is told once, as the panel
    one, two = (panel(name, connector=f"{name}:plug") for name in ("east", "west"))
    leads = (lead(f"run-{name}", f"{name}:socket > pv:plug") for name in ("east", "west"))
    choice = in_the_sun_without_a_lead(one, two, *leads, controller(count=2), kinds=("panel", "lead"))
    told = lost(choice)
    assert {kind for kind, _ in told} == {"panel"}
    assert {what.split(" on ")[0] for _, what in told} == {"east", "west"}


def test_a_lead_of_a_controller_takes_the_controller_along() -> None:
    # panels plug into their controllers; it is the controllers' own leads that may fail
    items = (panel(count=2), lead("tail", "ring > g", count=2))
    choice = in_the_sun_without_a_lead(*items, controller(count=2, battery_connector="ring"))
    assert (ids(choice)["sheet"], ids(choice)["tail"], ids(choice)["mppt"]) == (2, 2, 2)
    assert lost(choice) == [("controller", "mppt #1"), ("controller", "mppt #2")]
    assert in_the_sun_without_a_lead(*items, controller(battery_connector="ring")).status == "no-kit"


def test_a_joiner_at_a_controllers_input_takes_the_controller_along() -> None:
    # either panel would do, and both hang on the joiner
    items = (panel("east"), panel("west"), lead("y", "pv:socket > pv:plug", ways=2))
    least = kept_up("panel")
    assert packed(BAR, battery(), load(), *items, controller(), sun_wm2=500.0, hours=80.0, **least).status == "found"
    assert in_the_sun_without_a_lead(*items, controller(), kinds=("panel", "lead")).status == "no-kit"


def test_a_controller_without_a_lead_has_none_to_lose() -> None:
    # the panel plugs into the controller, and that into the strip: of the strip alone a spare is needed
    choice = in_the_sun_without_a_lead(panel(), controller())
    assert ids(choice) == {"bar": 2, "box": 1, "mppt": 1, "radio": 1, "sheet": 1}
    assert lost(choice) == []


# -- what else is off while something is lost ------------------------------------------


@pytest.mark.parametrize(("priority", "status"), [("nice", "found"), ("must", "no-kit")])
def test_nice_loads_and_their_converter_are_off_while_a_battery_is_lost(priority: str, status: str) -> None:
    # in 10 h the radio takes 100 Wh, the phone 5 W / 0.8, 62.5 Wh, and its converter 0.3 A x 12.8 V, 38.4 Wh: 201 Wh
    # of 256. One battery alone, of 128 Wh, runs the radio, but not with the phone nor with its idle converter beside it
    items = (battery(count=2), load(), load("phone", supply_v=5.0, full_w=5.0, connector="usb:plug"))
    loads = (LoadUse("radio"), LoadUse("phone", priority=priority))  # type: ignore[arg-type]
    items = (*items, converter(idle_ma=300.0), lead("bar", "g > g", ways=4))
    choice = packed(*items, hours=10.0, loads=loads, **kept_up("battery"))
    assert choice.status == status
    if choice.status == "found":
        assert ids(choice) == {"bar": 1, "box": 2, "phone": 1, "radio": 1, "step": 1}
        # 128 - 100 Wh
        assert [round(one.margin_wh, 6) for one in choice.losses] == [28.0]


def test_where_no_leads_are_written_down_none_are_lost() -> None:
    choice = without_a_lead(battery(), load(), known={"has_leads_file": False})
    assert ids(choice) == {"box": 1, "radio": 1}
    assert choice.losses == ()
