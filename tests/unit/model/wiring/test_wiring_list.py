"""The list of joins: what is in it, in which order, with which amperes, volts and fuses, worked out by hand."""

from __future__ import annotations

import pytest
from wired_kits import battery, controller, converter, in_the_sun, lead, load, packed, panel

from kitopt.choice import Choice
from kitopt.model.wiring_list import Wire
from kitopt.report.text import answer
from kitopt.report.wiring import ends as told_ends


def by_ends(choice: Choice) -> dict[tuple[str, str], Wire]:
    return {(wire.source, wire.sink): wire for wire in choice.wiring}


KNOWN = {"contact_ohm": {"g": 0.0, "h": 0.0, "ring": 0.0, "pv": 0.0, "usb": 0.0}}
"""Contacts without resistance, so that copper alone is worked out."""

OHM_2_5 = 2 * 7.98e-3 * 1.0786
"""One metre, there and back, of 2.5 mm² class 5 (IEC 60228: 7.98 ohm/km at 20 °C) at 40 °C, 0.00393/K."""


def test_the_order_on_the_ground() -> None:
    choice = in_the_sun(
        *(battery(), panel(), controller(), converter()),
        *(load(), load("phone", full_w=1.0, supply_v=5.0, connector="usb:plug")),
    )
    assert [(wire.source, wire.sink, wire.kind) for wire in choice.wiring] == [
        ("box", "station", "battery"),
        ("station", "station", "strip"),
        ("station", "step", "converter"),
        ("step", "phone", "load"),
        ("station", "radio", "load"),
        ("mppt", "station", "controller"),
        ("sheet", "mppt", "panel"),
    ]


def test_amperes_and_drop_of_each_join() -> None:
    fused = lead("fused", "ring > g", area_mm2=2.5, fuse_a=20.0, fuse_at_m=0.1)
    cord = lead("cord", "g > h", area_mm2=2.5, length_m=3.0)
    choice = packed(
        battery(fused=False, connector="ring"), fused, cord, load(full_a=4.0, connector="h"), hours=0.5, known=KNOWN
    )
    feed, wire = choice.wiring
    assert (feed.leads, feed.fuse_a, feed.is_fused_inside) == (("fused",), 20.0, False)
    assert feed.amps == pytest.approx(4.0)
    assert feed.drop_v == pytest.approx(4 * OHM_2_5, rel=1e-3)
    assert (wire.leads, wire.fuse_a) == (("cord",), None)
    assert wire.drop_v == pytest.approx(4 * 3 * OHM_2_5, rel=1e-3)
    assert wire.loss_share == pytest.approx(4 * 3 * OHM_2_5 / 12.8, rel=1e-3)


def test_a_strip_loses_what_its_copper_takes() -> None:
    # half a metre of 2.5 mm², 8 A
    strip = lead("strip", "g > g", ways=2, area_mm2=2.5, length_m=0.5)
    (wire,) = [
        wire
        for wire in packed(
            battery(), strip, load("one", full_a=4.0), load("two", full_a=4.0), hours=0.5, known=KNOWN
        ).wiring
        if wire.kind == "strip"
    ]
    assert wire.amps == pytest.approx(8.0)
    assert wire.drop_v == pytest.approx(8 * 0.5 * OHM_2_5, rel=1e-3)
    assert wire.loss_share == pytest.approx(8 * 0.5 * OHM_2_5 / 12.8, rel=1e-3)


def test_what_flows_through_a_converter() -> None:
    phone = load("phone", supply_v=5.0, connector="usb:plug")
    ends = by_ends(packed(battery(), converter(), phone))
    # 10 W: 2 A at 5 V; 12.5 W before it, 0.977 A at 12.8 V
    assert ends["step", "phone"].amps == pytest.approx(2.0)
    assert ends["station", "step"].amps == pytest.approx(12.5 / 12.8)
    assert ends["box", "station"].amps == pytest.approx(12.5 / 12.8)


def in_sun_over_5_m(kind: str, n: int = 1, **more: object) -> Wire:
    pv = lead("pv-5m", "pv:socket > pv:plug", area_mm2=2.5, length_m=5.0)
    sheet = panel(count=n, second_connector="pv:socket", **more)
    choice = in_the_sun(
        battery(), sheet, controller(kind=kind), pv, load(full_w=10.0 * n), panel_distance_m=5.0, known=KNOWN
    )
    return next(wire for wire in choice.wiring if wire.kind == "panel")


def test_losses_of_a_panels_lead() -> None:
    # 5.5 A at full sun over 5 m of 2.5 mm²: I²R of 100 W. The drop is told at the short-circuit current, 6 A.
    tracked = in_sun_over_5_m("mppt")
    assert tracked.amps == 6.0
    assert tracked.drop_v == pytest.approx(6 * 5 * OHM_2_5, rel=1e-3)
    assert tracked.loss_share == pytest.approx(5.5**2 * 5 * OHM_2_5 / 100, rel=1e-3)
    # through PWM it costs volts that are to spare: 18 V - 0.5 V is far above 13.4 V
    direct = in_sun_over_5_m("pwm")
    assert direct.drop_v == pytest.approx(6 * 5 * OHM_2_5, rel=1e-3)
    assert direct.loss_share == 0.0


def test_joined_panels_share_the_lead_and_lose_twice_the_share() -> None:
    # of the 20 W that the radio takes the battery gives 1.6 W; each panel gives 12.5 W in half the sun
    wire = in_sun_over_5_m("mppt", 2, rated_w=25.0, imp_a=1.4, isc_a=1.5)
    assert wire.joined == 2
    assert wire.amps == pytest.approx(3.0)
    assert wire.loss_share == pytest.approx(2.8**2 * 5 * OHM_2_5 / 50, rel=1e-3)


def test_direct_matings_lose_nothing_worth_telling() -> None:
    wires = packed(battery(), load()).wiring
    assert [wire.leads for wire in wires] == [(), ()]
    assert [wire.loss_share for wire in wires] == [0.0, 0.0]
    assert wires[0].is_fused_inside


def test_the_battery_lead_tells_the_larger_of_peak_and_charge() -> None:
    # the radio takes 0.78 A, the controller gives 100 W / 13.4 V = 7.5 A
    ends = by_ends(in_the_sun(battery(), panel(), controller(), load()))
    assert ends["box", "station"].amps == pytest.approx(100 / 13.4)
    assert ends["mppt", "station"].amps == pytest.approx(100 / 13.4)
    # the battery takes 7.52 A at most, and the controller gives 5 A at most
    ends = by_ends(in_the_sun(battery(), panel(), controller(max_charge_a=5.0), load()))
    assert ends["box", "station"].amps == pytest.approx(5.0)


def test_without_leads_the_joins_are_told_without_drops() -> None:
    for more in ({"known": {"has_leads_file": False}}, {"station_connector": None}):
        choice = packed(battery(fused=False), load(), **more)  # type: ignore[arg-type]
        assert [(wire.source, wire.sink) for wire in choice.wiring] == [("box", "station"), ("station", "radio")]
        assert all(wire.drop_v is None and wire.leads == () for wire in choice.wiring)
        # 125 % of 0.78 A
        assert choice.wiring[0].least_fuse_a == pytest.approx(1.25 * 10 / 12.8)
        assert "needs a fuse of 1.0 A or more within 18 cm of its plus" in " ".join(answer(choice).split())


def test_joins_fit_a_line_and_name_every_piece() -> None:
    fused = lead("fused-20", "ring > g", fuse_a=20.0, fuse_at_m=0.1)
    strip = lead("strip-" + "s" * 50, "g > g", ways=8)
    long = lead("cord-" + "c" * 60, "g > h", count=3)
    choice = packed(battery(fused=False, connector="ring"), fused, strip, long, load(connector="h", count=3))
    assert told_ends(choice, choice.wiring[:1]) == f"box by fused-20 to {strip.id}"
    text = answer(choice)
    assert f"1. box by fused-20 to {strip.id}: fuse 20 A is in it; 2.3 A, " in " ".join(text.split())
    assert f"{strip.id} by {long.id} to each of 3 radio: " in " ".join(text.split())
    assert all(len(line) <= 80 for line in text.splitlines())


def test_joined_panels_are_told_with_their_joiner() -> None:
    small = {"rated_w": 10.0, "imp_a": 0.55, "isc_a": 0.6}
    y = lead("y", "pv:socket > pv:plug", ways=2)
    pv = lead("pv-5m", "pv:socket > pv:plug", length_m=5.0)
    choice = in_the_sun(battery(), panel(count=2, **small), controller(), y, pv, load(), panel_distance_m=5.0)
    (wire,) = [wire for wire in choice.wiring if wire.kind == "panel"]
    assert told_ends(choice, [wire]) == "2 x sheet side by side by y, pv-5m to mppt"
