"""When things cannot be joined the message names both ends, what each reaches, and one adapter that would do."""

from __future__ import annotations

from wired_kits import battery, controller, converter, ids, in_the_sun, lead, load, packed, panel

from kitopt.choice import Choice
from kitopt.explain import cautions, not_packed
from kitopt.model.wiring import Contacts, Demand, LeadStock, missing, why_no_chain
from kitopt.model.wiring.chains import chains
from kitopt.report.text import answer


def blocks(choice: Choice) -> list[str]:
    return [caution.text for caution in cautions(choice) if caution.level == "block"]


def test_a_load_that_nothing_reaches() -> None:
    leads = (lead("cord", "g > oval:plug"), lead("tail", "flat > pin"))
    choice = packed(battery(), *leads, load(connector="pin"))
    assert choice.status == "no-kit"
    (text,) = blocks(choice)
    assert text == (
        "Load radio (pin) cannot be reached from the station (g): no leads of yours join them. "
        "From g your leads reach: oval:plug. Into pin: flat. An adapter from g to pin would do."
    )
    assert "Load radio (pin) cannot be reached" in answer(choice)


def test_the_adapter_that_is_named_does_it() -> None:
    # over 5 m the panel lead has to be used, so the adapter goes to its end
    pv = lead("pv-5m", "pv:socket > pv:plug", length_m=5.0)
    far = controller(pv_connector="oval:socket")
    choice = in_the_sun(battery(), panel(), far, pv, load(), panel_distance_m=5.0)
    text = not_packed(choice)["sheet"].text
    assert text.startswith(
        "Panel sheet (pv:plug) cannot reach controller mppt (oval:socket): no leads of yours join them."
    )
    assert "From pv:plug your leads reach: nothing else." in text
    assert "An adapter from pv:socket to oval:plug would do." in text
    adapter = lead("adapter", "pv:socket > oval:plug", length_m=0.1)
    assert ids(in_the_sun(battery(), panel(), far, pv, adapter, load(), panel_distance_m=5.0))["adapter"] == 1


def test_another_controller_is_named() -> None:
    weak = controller("near", max_charge_a=0.1)
    far = controller("far", pv_connector="oval:socket")
    choice = in_the_sun(battery(), panel(), far, weak, load())
    assert choice.status == "no-kit"
    adapter = "no lead of yours brings sheet to far; an adapter from pv:socket to oval:plug would, or use near."
    assert adapter in _ruled_out(choice)


def test_all_panels_that_a_lead_is_too_short_for_are_one_line() -> None:
    # a cord of 3.3 m for 5 m, and no other
    cord = lead("cord", "pv:socket > pv:plug", length_m=3.3)
    panels = [panel(item_id=name) for name in ("p10", "p28", "p60")]
    choice = in_the_sun(battery(), *panels, controller(item_id="c10"), cord, load(), panel_distance_m=5.0)
    assert choice.status == "no-kit"
    assert "no lead of yours brings p10, p28, p60 to c10 over 5 m (yours reach 3.3 m)." in _ruled_out(choice)


def _ruled_out(choice: Choice) -> list[str]:
    text = answer(choice).split("Ruled out")[1].split("\n\n")[0]
    return [" ".join(part.split()) for part in text.split("\n- ")]


def test_a_battery_without_a_fuse_wants_a_fused_lead() -> None:
    choice = packed(battery(fused=False, connector="ring"), lead("cord", "flat > g"), load())
    assert choice.status == "no-kit"
    assert "A lead fused close to the battery, from ring to g would do." in not_packed(choice)["box"].text


def test_one_piece_more_would_do() -> None:
    lamps = (load("lamp-1", connector="pin"), load("lamp-2", connector="pin"))
    choice = packed(battery(), lead("y", "g > g", ways=2), lead("cord", "g > pin", count=1), *lamps)
    assert blocks(choice) == ["1 × cord owned; 1 more would do."]


def test_room_at_a_strip_is_told() -> None:
    choice = packed(battery(), load("lamp-1"), load("lamp-2"))
    (text,) = blocks(choice)
    assert text.startswith("At the station (g) 3 things meet, loads and battery, and there is room for 2")


def test_a_lead_that_is_too_thin_is_not_called_missing() -> None:
    demand = Demand(10.0, 12.5)
    g, pin = lead("x", "g > pin").from_connector, lead("x", "g > pin").to_connector

    def why(**cells: float) -> tuple[str, str] | None:
        return why_no_chain(LeadStock((lead("cord", "g > pin", **cells),), Contacts()), g, pin, demand)

    assert why(max_a=9.0) == (
        "ampacity",
        "no leads of yours that join them carry 10.0 A",
    )
    assert why() is None
    found = why(fuse_a=12.0)
    assert found is not None
    assert found[0] == "fuse-size"
    assert "12.5 A" in found[1]


def test_what_is_missing_is_an_adapter_and_not_more() -> None:
    g, pin = lead("x", "g > pin").from_connector, lead("x", "g > pin").to_connector
    found = missing([lead("a", "g > x"), lead("b", "y > pin")], g, pin)
    assert [str(end) for end in found.from_source] == ["g", "x"]
    assert [str(end) for end in found.from_sink] == ["pin", "y"]
    assert found.adapter is not None
    adapter = lead("?", f"{found.adapter[0]} > {found.adapter[1]}")
    assert chains([adapter], g, pin)
    # it covers no distance itself
    assert missing([], g, pin, min_length_m=0.5).adapter is None


def test_a_converter_that_no_lead_joins_to_its_load_is_named() -> None:
    choice = packed(battery(), converter(), load("phone", supply_v=5.0, connector="pin"))
    assert choice.status == "no-kit"
    (text,) = {text for text in blocks(choice) if text.startswith("Converter step ")}
    assert "cannot be joined: no leads of yours join them" in text


def test_a_radio_on_12_v_is_not_reached_by_usb() -> None:
    # from the station into a USB socket, and out of a USB plug again: it would fit, at 12 V
    through_usb = (lead("in", "g > usb-a:socket"), lead("out", "usb-a:plug > pin"))
    choice = packed(battery(), *through_usb, load(connector="pin"))
    assert choice.status == "no-kit"
    assert "no leads of yours join them" in blocks(choice)[0]
    through_pv = (lead("in", "g > pv:socket"), lead("out", "pv:plug > pin"))
    assert ids(packed(battery(), *through_pv, load(connector="pin"))) == {"box": 1, "in": 1, "out": 1, "radio": 1}
