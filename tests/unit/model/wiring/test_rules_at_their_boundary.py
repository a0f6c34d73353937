"""Each rule just obeyed and just broken, through the choice itself. A block leaves no kit, never a filtered one."""

from __future__ import annotations

from typing import Any

import pytest
from wired_kits import battery, controller, converter, ids, in_the_sun, lead, load, packed, panel, plug, rules

from kitopt.choice import Choice
from kitopt.inventory.items import Item
from kitopt.operation.terms import LoadUse


def is_ruled_out(choice: Choice, rule: str) -> bool:
    """No kit, and the rule is among those that say so: as a block, or as a row of the program."""
    assert choice.status == "no-kit"
    rows = {row.rule for solved in choice.solved for row in solved.plan.rows}
    return rule in rules(choice) | rows


# -- panels and controllers ------------------------------------------------------------


def test_cold_open_circuit_voltage() -> None:
    # 48 V at -20 °C and -0.3 %/K: 48 x 1.135 = 54.48 V
    def with_limit(max_pv_v: float, **more: object) -> Choice:
        sheet = panel(voc_v=48.0, vmp_v=38.0, imp_a=2.6, isc_a=2.8, **more)
        return in_the_sun(battery(), sheet, controller(max_pv_v=max_pv_v), load(), coldest_degc=-20.0)

    assert with_limit(54.5).status == "found"
    assert is_ruled_out(with_limit(54.4), "cold-voc")
    assert is_ruled_out(with_limit(50.0), "cold-voc")
    # coefficient unknown: x 1.18 (NEC table 690.7(A), from memory), 56.64 V
    assert with_limit(56.7, voc_per_degc=None).status == "found"
    assert is_ruled_out(with_limit(56.6, voc_per_degc=None), "cold-voc")


def test_a_panel_that_never_stands_above_the_battery_is_not_joined() -> None:
    # LiFePO4 of 12.8 V is charged at 13.4 V; at cells of 20 °C the knee of a label of 13.4 V is no higher than that
    def with_volts(vmp_v: float, **more: object) -> Choice:
        sheet = panel(vmp_v=vmp_v, voc_v=1.2 * vmp_v)
        return in_the_sun(battery(), sheet, controller(**more), load())

    assert with_volts(18.0).status == "found"
    assert is_ruled_out(with_volts(11.0), "panel-volts")
    assert with_volts(11.0, boost=True).status == "found"
    # 21.6 V open, 0.3 %/K more for 5 K: 21.92 V
    assert with_volts(18.0, start_above_v=21.9).status == "found"
    assert is_ruled_out(with_volts(18.0, start_above_v=21.95), "panel-volts")


def test_panel_current_and_power() -> None:
    def with_limits(**limits: float) -> Choice:
        return in_the_sun(battery(), panel(), controller(**limits), load())

    assert with_limits(max_pv_a=6.0).status == "found"
    assert is_ruled_out(with_limits(max_pv_a=5.9), "pv-current")
    assert with_limits(max_pv_w=100.0).status == "found"
    assert is_ruled_out(with_limits(max_pv_w=99.0), "pv-power")


def test_panels_on_one_controller_match_in_voltage() -> None:
    # 8.4 W on average are needed beyond the battery; each panel gives 5 W in half the sun
    def with_second(vmp_v: float) -> Choice:
        small = {"rated_w": 10.0, "imp_a": 0.55, "isc_a": 0.6}
        sheets = (panel("one", **small), panel("two", vmp_v=vmp_v, voc_v=26.0, **small))
        return in_the_sun(battery(), *sheets, controller(), lead("y", "pv:socket > pv:plug", ways=2), load())

    assert with_second(19.8).status == "found"  # 10 % above 18 V
    assert is_ruled_out(with_second(19.9), "panel-match")


def test_a_controller_has_one_panel_input() -> None:
    small = {"rated_w": 10.0, "imp_a": 0.55, "isc_a": 0.6}
    items = (battery(), panel("one", **small), panel("two", **small), controller(), load())
    assert is_ruled_out(in_the_sun(*items), "panel-input")
    choice = in_the_sun(*items, lead("y", "pv:socket > pv:plug", ways=2))
    assert ids(choice)["y"] == 1


def test_the_first_plug_of_joined_panels_carries_the_sum() -> None:
    # two panels through their second sockets; a round plug carries 5 A
    def with_each(isc_a: float) -> Choice:
        sheet = panel(
            count=2,
            rated_w=10.0,
            imp_a=0.55,
            isc_a=isc_a,
            connector="barrel-5.5x2.1:plug",
            second_connector="barrel-5.5x2.1:socket",
        )
        return in_the_sun(battery(), sheet, controller(pv_connector="barrel-5.5x2.1:socket"), load())

    assert ids(with_each(2.5))["sheet"] == 2
    assert with_each(2.6).status == "no-kit"


def test_fuse_in_a_panel_lead() -> None:
    # 1.56 x 9.5 A = 14.82 A: the published example takes 15 A (NEC 690.8 and 690.9)
    def with_fuse(fuse_a: float, max_a: float = 20.0) -> Choice:
        sheet = panel(isc_a=9.5, imp_a=9.0)
        fused = lead("fused", "pv:socket > pv:plug", length_m=5.0, fuse_a=fuse_a, fuse_at_m=0.1, max_a=max_a)
        return in_the_sun(battery(), sheet, controller(), fused, load(), panel_distance_m=5.0)

    assert ids(with_fuse(15.0))["fused"] == 1
    assert is_ruled_out(with_fuse(14.8), "pv-fuse")
    assert with_fuse(20.0).status == "found"
    assert is_ruled_out(with_fuse(25.0), "pv-fuse")


def test_a_panel_lead_carries_156_percent_of_the_short_circuit_current() -> None:
    # 1.56 x 6 A = 9.36 A, conductors like fuses (NEC 690.8)
    def with_rating(max_a: float) -> Choice:
        return in_the_sun(
            *(battery(), panel(), controller(), load()),
            lead("pv-5m", "pv:socket > pv:plug", length_m=5.0, max_a=max_a),
            panel_distance_m=5.0,
        )

    assert with_rating(9.36).status == "found"
    assert is_ruled_out(with_rating(9.3), "ampacity")


def test_leads_cover_the_distance() -> None:
    def with_length(length_m: float) -> Choice:
        pv = lead("pv-lead", "pv:socket > pv:plug", length_m=length_m)
        return in_the_sun(battery(), panel(), controller(), pv, load(), panel_distance_m=5.0)

    assert with_length(5.0).status == "found"
    assert is_ruled_out(with_length(4.9), "no-lead")


# -- batteries ------------------------------------------------------------------------


def test_chemistry() -> None:
    def charged_by(*chemistries: str) -> Choice:
        return in_the_sun(battery(), panel(), controller(chemistries=chemistries), load())

    assert charged_by("agm", "lifepo4").status == "found"
    assert is_ruled_out(charged_by("agm"), "chemistry")


def test_controller_output_against_the_charge_limit() -> None:
    # 100 W / 13.4 V = 7.463 A, at most 5 A
    def with_limits(max_charge_a: float, output_a: float = 5.0) -> Choice:
        return in_the_sun(battery(max_charge_a=max_charge_a), panel(), controller(max_charge_a=output_a), load())

    assert with_limits(5.0).status == "found"
    assert is_ruled_out(with_limits(4.9), "charge-limit")
    assert with_limits(7.47, 20.0).status == "found"
    assert is_ruled_out(with_limits(7.45, 20.0), "charge-limit")


def test_the_batteries_lead_carries_the_charge() -> None:
    # the load takes 0.8 A; the controller gives 5 A
    def with_lead(max_a: float, **more: object) -> Choice:
        feed = lead("feed", "ring > g", max_a=max_a, **more)
        return in_the_sun(battery(connector="ring"), panel(), controller(max_charge_a=5.0), feed, load())

    assert with_lead(5.0).status == "found"
    assert is_ruled_out(with_lead(4.9), "ampacity")
    # and a fuse is 125 % of it: 6.25 A
    assert with_lead(10.0, fuse_a=6.25, fuse_at_m=0.1).status == "found"
    assert is_ruled_out(with_lead(10.0, fuse_a=6.2, fuse_at_m=0.1), "ampacity")


def test_a_controllers_lead_drops_no_more_than_3_percent() -> None:
    # 10 A through 2 · 7.98 mΩ/m of 2.5 mm² (IEC 60228) at 40 °C, 17.2 mΩ a metre: 0.402 V of 13.4 V at 2.33 m
    def with_length(length_m: float) -> Choice:
        joined = {"contact_ohm": {"g": 0.0, "h": 0.0}}
        cord = lead("cord", "g > h", area_mm2=2.5, length_m=length_m)
        behind = controller(battery_connector="h", max_charge_a=10.0)
        return in_the_sun(battery(), panel(), behind, cord, load(), known=joined)

    assert ids(with_length(2.3))["cord"] == 1
    assert is_ruled_out(with_length(2.4), "lead-drop")


def test_on_sockets_a_strip_takes_one_thing_more_than_its_ways() -> None:
    # a strip of two ways has three sockets: a battery and two loads
    def with_loads(n: int) -> Choice:
        strip = lead("strip", "s:socket > s:socket", ways=2)
        loads = [load(f"lamp-{i}", full_w=1.0, connector="s:plug") for i in range(n)]
        return packed(battery(connector="s:plug"), strip, *loads, station_connector=plug("s:socket"))

    assert ids(with_loads(2))["strip"] == 1
    assert is_ruled_out(with_loads(3), "strip")


def test_where_a_bank_is_charged_it_takes_one_socket_of_the_strip() -> None:
    # banks that charge apart have a strip at the station and one where the controllers are: of two ways it has three
    # sockets, for a bank and two controllers. That it takes three of these is seen where the strip has one way more
    def with_ways(ways: int) -> Choice:
        small = {"rated_w": 10.0, "imp_a": 0.55, "isc_a": 0.6, "count": 3}
        strips = lead("strip", "s:socket > s:socket", ways=ways, count=2)
        charged = (panel(**small), controller(count=3, battery_connector="s:plug"))
        apart = {"charge": "apart", "swap": (480, 1200), "station_connector": plug("s:socket")}
        boxes = battery(count=2, connector="s:plug")
        return packed(boxes, *charged, strips, load(connector="s:plug"), sun_wm2=500.0, hours=80.0, **apart)

    assert ids(with_ways(3))["mppt"] == 3
    assert is_ruled_out(with_ways(2), "strip")


def test_a_strip_carries_the_charge() -> None:
    def with_strip(max_a: float) -> Choice:
        strip = lead("strip", "g > g", ways=4, max_a=max_a)
        items = (battery(), panel(), controller(max_charge_a=5.0), strip, load())
        return packed(*items, sun_wm2=500.0, hours=80.0)

    assert with_strip(5.0).status == "found"
    assert is_ruled_out(with_strip(4.9), "ampacity")


def test_peak_against_the_discharge_limit() -> None:
    def with_limit(max_discharge_a: float, n: int = 1, **more: object) -> Choice:
        strip = lead("strip", "g > g", ways=4)
        return packed(
            battery(max_discharge_a=max_discharge_a, count=n), strip, load(full_a=22.0), hours=0.2 * n, **more
        )

    assert with_limit(22.0).status == "found"
    assert is_ruled_out(with_limit(21.9), "discharge-limit")
    # in parallel they add up
    assert ids(with_limit(11.0, 2, batteries="parallel"))["box"] == 2
    assert is_ruled_out(with_limit(10.9, 2, batteries="parallel"), "discharge-limit")


def test_each_of_two_banks_carries_the_peak_alone() -> None:
    # two batteries side by side in each bank: 11 A each for 22 A, though all four would carry 44 A
    def with_limit(max_discharge_a: float) -> Choice:
        boxes = battery(max_discharge_a=max_discharge_a, count=4)
        apart = {"charge": "apart", "swap": (720,), "batteries": "parallel"}
        return packed(boxes, lead("strip", "g > g", ways=5, count=2), load(full_a=22.0), hours=0.4, **apart)

    assert ids(with_limit(11.0))["box"] == 4
    assert is_ruled_out(with_limit(10.9), "discharge-limit")


def test_a_converters_losses_count_in_the_peak() -> None:
    # 10 W / 0.8 / 12.8 V = 0.977 A
    def with_limit(max_discharge_a: float) -> Choice:
        phone = load("phone", supply_v=5.0, connector="usb:plug")
        return packed(battery(max_discharge_a=max_discharge_a), converter(), phone)

    assert ids(with_limit(0.98))["step"] == 1
    assert is_ruled_out(with_limit(0.97), "discharge-limit")


def test_air_travel() -> None:
    # 12.8 V x 7.8 Ah = 99.84 Wh; x 12.5 Ah = 160.0 Wh (public aviation-security guidance)
    def by_air(capacity_ah: float, n: int, hours: float) -> Choice:
        box = battery(capacity_ah=capacity_ah, measured_ah=capacity_ah, count=n)
        return packed(box, load(), hours=hours, air_travel=True)

    assert ids(by_air(7.8, 3, 29.0))["box"] == 3
    # 100 Wh to the dot is free as well
    assert ids(by_air(7.8125, 3, 29.0))["box"] == 3
    assert ids(by_air(12.5, 2, 31.0))["box"] == 2
    assert is_ruled_out(by_air(12.6, 1, 4.0), "air-travel")
    assert is_ruled_out(by_air(12.5, 3, 33.0), "air-travel")


def test_mass_limit() -> None:
    # the battery's 1,000 g and the radio's 500 g
    assert packed(battery(), load(), mass_limit_g=1500).status == "found"
    assert is_ruled_out(packed(battery(), load(), mass_limit_g=1499), "mass-limit")


# -- the station ------------------------------------------------------------------------


@pytest.mark.parametrize(("full_v", "is_fine"), [(16.8, True), (16.7, False)])
def test_a_full_battery_stays_within_the_loads_voltage(full_v: float, is_fine: bool) -> None:
    # a four-cell pack is at 16.8 V when full
    pack = battery(chemistry="li-ion", nominal_v=14.4)
    choice = packed(pack, load(lowest_v=11.0, highest_v=full_v))
    assert choice.status == ("found" if is_fine else "no-kit")
    assert ("voltage" in rules(choice)) is not is_fine


def test_a_radio_of_13_8_v_is_kept_from_a_four_cell_pack() -> None:
    # 13.8 V ± 15 % is at most 15.87 V (common transceiver specification)
    four_cells = battery(chemistry="li-ion", nominal_v=14.4)
    assert is_ruled_out(packed(four_cells, load(supply_v=13.8)), "voltage")
    # 14.6 V, the full battery of four LiFePO4 cells, is within 12.7 V x 1.15 = 14.605 V and not within 12.6 V x 1.15
    assert packed(battery(), load(supply_v=12.7)).status == "found"
    assert is_ruled_out(packed(battery(), load(supply_v=12.6)), "voltage")
    # what is made for a lead-acid battery of 12 V stands its 14.6 V too
    assert packed(battery(), load(supply_v=12.0)).status == "found"


def test_too_low_a_voltage_needs_a_converter() -> None:
    # nominal 12.8 V; 15 % below 15.05 V is 12.79 V
    assert packed(battery(), load(supply_v=15.05)).status == "found"
    assert is_ruled_out(packed(battery(), load(supply_v=15.1)), "voltage")
    assert is_ruled_out(packed(battery(), load(supply_v=20.0, highest_v=21.0)), "voltage")


def with_load_lead(full_a: float, ends: str = "g > pin", connector: str = "pin", **more: object) -> Choice:
    return packed(battery(), lead("cord", ends, **more), load(full_a=full_a, connector=connector), hours=0.2)


def test_a_lead_carries_its_load() -> None:
    assert with_load_lead(4.0, max_a=4.0).status == "found"
    assert is_ruled_out(with_load_lead(4.0, max_a=3.9), "ampacity")
    # 14 AWG, 2.081 mm², without a rating: 0.7 x 35 = 24.5 A (ABYC E-11 style, second-hand, in a bundle)
    assert with_load_lead(24.5, max_a=None, area_mm2=2.081).status == "found"
    assert is_ruled_out(with_load_lead(24.6, max_a=None, area_mm2=2.081), "ampacity")


@pytest.mark.parametrize(("family", "most_a"), [("barrel-5.5x2.1", 5.0), ("cigar", 10.0)])
def test_a_connector_carries_its_load(family: str, most_a: float) -> None:
    # common practice, no source
    ends = {"ends": f"g > {family}:plug", "connector": f"{family}:socket"}
    assert with_load_lead(most_a, **ends).status == "found"
    assert is_ruled_out(with_load_lead(most_a + 0.1, **ends), "ampacity")


def test_the_owners_word_on_connectors_goes_first() -> None:
    def with_known(most_a: float) -> Choice:
        cord = lead("cord", "g > barrel-5.5x2.1:plug")
        radio = load(full_a=7.0, connector="barrel-5.5x2.1:socket")
        return packed(battery(), cord, radio, hours=0.2, known={"contact_a": {"barrel-5.5x2.1": most_a}})

    assert with_known(7.0).status == "found"
    assert is_ruled_out(with_known(6.9), "ampacity")


def test_fuse_in_a_load_lead() -> None:
    # 125 % of 4 A is 5 A
    assert with_load_lead(4.0, fuse_a=5.0, max_a=5.0).status == "found"
    assert is_ruled_out(with_load_lead(4.0, fuse_a=4.9, max_a=5.0), "fuse-size")
    assert is_ruled_out(with_load_lead(4.0, fuse_a=5.1, max_a=5.0), "fuse-size")


def with_battery_lead(full_a: float = 4.0, ends: str = "ring > g", **more: object) -> Choice:
    fused = lead("fused", ends, **more)
    return packed(battery(fused=False, connector="ring"), fused, load(full_a=full_a), hours=0.2)


def test_a_fuse_sits_within_18_cm_of_battery_plus() -> None:
    assert with_battery_lead(fuse_a=10.0, fuse_at_m=0.18).status == "found"
    assert is_ruled_out(with_battery_lead(fuse_a=10.0, fuse_at_m=0.19), "battery-fuse")
    # laid the other way round it counts from the other end of 1 m
    assert with_battery_lead(ends="g > ring", fuse_a=10.0, fuse_at_m=0.82).status == "found"
    assert is_ruled_out(with_battery_lead(ends="g > ring", fuse_a=10.0, fuse_at_m=0.81), "battery-fuse")
    assert is_ruled_out(with_battery_lead(), "battery-fuse")


def test_the_batteries_fuse_fits_load_and_wire() -> None:
    assert with_battery_lead(fuse_a=5.0, fuse_at_m=0.1, max_a=5.0).status == "found"
    assert is_ruled_out(with_battery_lead(fuse_a=4.9, fuse_at_m=0.1, max_a=5.0), "fuse-size")
    assert is_ruled_out(with_battery_lead(fuse_a=5.1, fuse_at_m=0.1, max_a=5.0), "fuse-size")


def test_more_than_two_things_meet_at_a_strip() -> None:
    def with_strip(*strips: Item, n_loads: int) -> Choice:
        return packed(battery(), *strips, *(load(f"lamp-{n}", full_w=1.0) for n in range(n_loads)))

    y = lead("y", "g > g", ways=2)
    assert with_strip(n_loads=1).status == "found"
    assert is_ruled_out(with_strip(n_loads=2), "strip")
    assert ids(with_strip(y, n_loads=2))["y"] == 1
    assert is_ruled_out(with_strip(y, n_loads=3), "strip")
    assert ids(with_strip(lead("six", "g > g", ways=6), n_loads=6))["six"] == 1
    assert is_ruled_out(with_strip(lead("six", "g > g", ways=6), n_loads=7), "strip")


def test_plugs_meet_only_in_sockets() -> None:
    # a station of sockets: battery and lamp both have plugs, which do not fit each other
    items = (battery(connector="s:plug"), load(connector="s:plug"))
    station = {"station_connector": battery(connector="s:socket").connector}
    assert is_ruled_out(packed(*items, **station), "strip")
    block = lead("block", "s:socket > s:socket", ways=2)
    assert ids(packed(*items, block, **station))["block"] == 1
    plugs = lead("plugs", "s:plug > s:plug", ways=2)
    assert packed(*items, plugs, **station).status == "no-kit"


def test_the_last_adapter_is_not_used_twice() -> None:
    # both lamps need it
    lamps = (load("lamp-1", connector="pin"), load("lamp-2", connector="pin"))
    strip = lead("y", "g > g", ways=2)
    assert ids(packed(battery(), strip, lead("cord", "g > pin", count=2), *lamps))["cord"] == 2
    assert is_ruled_out(packed(battery(), strip, lead("cord", "g > pin", count=1), *lamps), "stock")


# -- fuses that are chosen -----------------------------------------------------------------


def fits_of(choice: Choice) -> dict[str, float | None]:
    """Rating fitted in each join, by what it comes from and goes to."""
    return {f"{wire.source} > {wire.sink}": wire.fit_a for wire in choice.wiring if wire.fit_a is not None}


def holder(item_id: str, ends: str, **more: object) -> Item:
    values: dict[str, object] = {"fuse_holder": "blade", "fuse_max_a": 30.0, "fuse_at_m": 0.1, **more}
    return lead(item_id, ends, **values)


def with_mode(choice_mode: str, full_a: float, **more: object) -> Choice:
    radio = load(full_a=full_a)
    uses = (LoadUse("radio", mode=choice_mode),)
    box = battery(fused=False, connector="ring")
    return packed(box, holder("feed", "ring > g", **more), radio, hours=0.2, loads=uses)


@pytest.mark.parametrize(
    ("mode", "full_a", "rating_a"),
    [
        # 125 % of a continuous current: 4 A is 5 A, 4.1 A is 5.125 A and takes the next standard blade
        *[("on", 4.0, 5.0), ("on", 4.1, 7.5), ("fm", 8.0, 10.0), ("data", 8.1, 15.0)],
        # 110 % of a peak of speech or Morse: 22 A is 24.2 A
        *[("ssb", 22.0, 25.0), ("ssb", 22.8, 30.0), ("cw", 4.5, 5.0), ("cw", 4.6, 7.5)],
    ],
)
def test_the_smallest_standard_rating_that_carries_the_current(mode: str, full_a: float, rating_a: float) -> None:
    assert fits_of(with_mode(mode, full_a)) == {"box > station": rating_a}


def test_a_holder_takes_no_more_than_it_is_made_for() -> None:
    assert with_mode("ssb", 22.0, fuse_max_a=25.0).status == "found"
    assert is_ruled_out(with_mode("ssb", 22.0, fuse_max_a=20.0), "fuse-size")
    # nor more than its wire
    assert is_ruled_out(with_mode("ssb", 22.0, max_a=24.0), "fuse-size")


def behind(max_a: float, *more: Item, **known: Any) -> Choice:
    """A lamp of 0.8 A on a cord, behind a battery's fixed fuse of 20 A."""
    fused = lead("fused", "ring > g", fuse_a=20.0, fuse_at_m=0.1)
    cord = lead("cord", "g > h", max_a=max_a)
    return packed(battery(fused=False, connector="ring"), fused, cord, *more, load(connector="h"), known=known)


def test_a_branch_thinner_than_the_fuse_before_it_is_ruled_out_unless_a_fuse_fits_there() -> None:
    assert behind(20.0).status == "found"
    assert is_ruled_out(behind(19.9), "branch-fuse")
    # 10 W / 12.8 V x 1.25 = 0.98 A: 1 A is the smallest that holds it
    choice = behind(10.0, holder("inline", "g > g"))
    assert ids(choice)["inline"] == 1
    # it protects the cord from either place: at the battery, or where the branch begins
    assert fits_of(choice) in ({"station > radio": 1.0}, {"box > station": 1.0})
    # too far from where the branch begins, its own wire is bare to the 20 A
    assert behind(10.0, holder("inline", "g > g", length_m=0.5, fuse_at_m=0.25, max_a=19.0)).status == "no-kit"
    assert behind(10.0, holder("inline", "g > g", length_m=0.5, fuse_at_m=0.18, max_a=19.0)).status == "found"


def test_a_smaller_fuse_at_the_battery_saves_a_fuse_in_the_branch() -> None:
    feed = holder("feed", "ring > g")
    cord = lead("cord", "g > h", max_a=4.0)
    choice = packed(battery(fused=False, connector="ring"), feed, cord, load(connector="h"))
    assert fits_of(choice) == {"box > station": 1.0}


def test_fuses_that_are_owned_are_stock() -> None:
    def with_fuses(fuses: dict[tuple[str, float], int]) -> Choice:
        box = battery(fused=False, connector="ring", count=2)
        feed = holder("feed", "ring > g", count=2)
        return packed(box, feed, load(), hours=20.0, known={"fuses": fuses})

    assert fits_of(with_fuses({("blade", 2.0): 2})) == {"box > station": 2.0}
    assert with_fuses({("blade", 1.0): 1, ("blade", 3.0): 1}).status == "found"
    assert is_ruled_out(with_fuses({("blade", 2.0): 1}), "stock")
    assert is_ruled_out(with_fuses({("midi", 30.0): 2}), "fuse-size")


def test_a_makers_lead_is_taken_as_it_is() -> None:
    # 24 A on the maker's 25 A: below 110 % of it, and its maker's word
    def with_own(own_lead: bool) -> Choice:
        cord = lead("cord", "g > pin", fuse_a=25.0, max_a=31.5)
        radio = load(full_a=24.0, connector="pin", own_lead=own_lead)
        return packed(battery(), cord, radio, hours=0.2, loads=(LoadUse("radio", mode="ssb"),))

    assert with_own(True).status == "found"
    assert is_ruled_out(with_own(False), "fuse-size")


def test_each_battery_in_turn_has_its_own_fused_lead() -> None:
    def with_leads(n: int, **more: Any) -> Choice:
        feed = lead("feed", "ring > g", fuse_a=10.0, fuse_at_m=0.1, count=n)
        return packed(battery(fused=False, connector="ring", count=2), feed, load(), hours=20.0, **more)

    assert ids(with_leads(2))["feed"] == 2
    assert is_ruled_out(with_leads(1), "battery-lead")
    assert ids(with_leads(1, battery_lead="moved"))["feed"] == 1


def test_usb_never_meets_the_bus() -> None:
    # a telephone that says nothing of its volts, and an adapter that would do the harm
    adapter = lead("adapter", "g > usb-c:plug")
    phone = load("phone", connector="usb-c:socket", supply_v=5.0)
    assert is_ruled_out(packed(battery(), adapter, phone), "voltage")
    cord = lead("cord", "usb:plug > usb-c:plug")
    choice = packed(battery(), adapter, converter(), cord, phone)
    assert ids(choice) == {"box": 1, "step": 1, "cord": 1, "phone": 1}


@pytest.mark.parametrize(("battery_wh", "is_found"), [(5.0, True), (3.0, False)])
def test_a_load_on_its_own_battery_takes_no_place_at_the_station(battery_wh: float, is_found: bool) -> None:
    # 4 Wh in 4 h; battery and radio meet without a strip, and nobody owns one for a third thing
    phone = load("phone", full_w=1.0, connector="usb-c:socket", supply_v=5.0, battery_wh=battery_wh)
    supply = converter(to_connector="usb-c:plug")
    assert (packed(battery(), load(), phone, supply).status == "found") is is_found


def test_the_ports_of_one_supply_feed_several_loads() -> None:
    def with_ports(ports: int, max_w: float = 20.0) -> Choice:
        phones = load("phone", connector="usb:plug", supply_v=5.0, count=2)
        return packed(battery(), converter(ports=ports, max_w=max_w), phones, hours=1.0)

    assert ids(with_ports(2))["step"] == 1
    assert with_ports(1).status == "no-kit"
    assert with_ports(2, max_w=19.9).status == "no-kit"
