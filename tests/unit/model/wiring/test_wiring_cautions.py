"""What is warned of or asked about leads, fuses and volts, just below and just above each boundary."""

from __future__ import annotations

import pytest
from wired_kits import battery, controller, in_the_sun, lead, load, packed, panel, told

from kitopt.choice import Choice
from kitopt.explain import Caution, cautions
from kitopt.inventory.items import Assumed
from kitopt.model.rulebook import RULES

OHM_PER_KFT_18_AWG_75_DEGC = 7.95
"""NFPA 70 (NEC) chapter 9 table 8."""


def expected_drop_v() -> float:
    """20 A over 2 m of 18 AWG at 40 °C, both conductors, and three pairs of 2 milliohms."""
    ohm_per_m = OHM_PER_KFT_18_AWG_75_DEGC / 304.8 * (1 + 0.00393 * 20) / (1 + 0.00393 * 55)
    return 20 * (2 * 2 * ohm_per_m + 3 * 0.002)


def at_key_down(lowest_v: float) -> Choice:
    cord = lead("cord", "g > h", area_mm2=0.823, length_m=2.0)
    known = {"contact_ohm": {"g": 0.002, "h": 0.002}}
    return packed(battery(), cord, load(full_a=20.0, lowest_v=lowest_v, connector="h"), hours=0.1, known=known)


def test_voltage_at_the_radio() -> None:
    # a LiFePO4 battery that is nearly empty gives 12.4 V at key-down (from memory); the table is met within 0.6 %
    volts = 12.4 - expected_drop_v()
    assert "radio-voltage" not in told(at_key_down(volts - 0.02))
    choice = at_key_down(volts + 0.02)
    caution = told(choice)["radio-voltage"]
    assert caution.level == "warn"
    assert "cord" in caution.text
    assert f"gets {volts:.1f}" in caution.text
    assert cautions(choice)[0] == caution


def test_a_battery_may_be_too_low_without_any_lead() -> None:
    # lead-acid: 11.6 V (from memory), below 11.7 V
    choice = packed(battery(chemistry="agm", nominal_v=12.0), load(full_a=1.0, lowest_v=11.7), hours=0.1)
    assert "radio-voltage" in told(choice)
    choice = packed(battery(chemistry="agm", nominal_v=12.0), load(full_a=1.0, lowest_v=11.5), hours=0.1)
    assert "radio-voltage" not in told(choice)


def test_a_fused_plug_whose_fuse_nobody_wrote_down_is_asked_for() -> None:
    def with_fuse(fuse_a: float | None) -> dict[str, Caution]:
        return told(packed(battery(fuse_a=fuse_a), lead("cord", "g > h", max_a=10.0), load(connector="h")))

    caution = with_fuse(None)["branch-fuse"]
    assert caution.level == "ask"
    assert "Above 10 A an overload would overheat cord" in caution.text
    assert "short" not in caution.text
    assert "branch-fuse" not in with_fuse(10.0)


def test_what_a_fuse_breaks_is_asked_where_a_battery_may_give_more() -> None:
    # some 25 A for each Ah into a short (common practice, no source): 40 Ah against the 1,000 A of a blade fuse
    def with_capacity(capacity_ah: float) -> dict[str, Caution]:
        fused = lead("fused", "ring > g", fuse_holder="blade", fuse_max_a=30.0, fuse_at_m=0.1)
        return told(packed(battery(fused=False, connector="ring", capacity_ah=capacity_ah), fused, load()))

    assert "breaking" not in with_capacity(40.0)
    assert with_capacity(41.0)["breaking"].level == "ask"


def test_panel_ends_that_fit_the_station_are_marked() -> None:
    def with_socket(family: str) -> dict[str, Caution]:
        pv = lead("pv-lead", f"pv:socket > {family}")
        return told(in_the_sun(battery(), panel(), controller(pv_connector=family), pv, load()))

    caution = with_socket("g")["panel-ends"]
    assert caution.level == "warn"
    assert "mark these with tape" in caution.text
    assert "pv-lead, the panel input of mppt" in caution.text
    assert "panel-ends" not in with_socket("h")


def test_a_battery_without_a_fuse_where_leads_are_not_checked() -> None:
    # 10 W / 12.8 V = 0.78 A; 125 % is 0.98 A
    bare = packed(battery(fused=False), load(), known={"has_leads_file": False})
    assert "1.0 A or more" in told(bare)["unchecked-fuse"].text
    assert "18 cm" in told(bare)["unchecked-fuse"].text
    assert "unchecked-fuse" not in told(packed(battery(), load(), known={"has_leads_file": False}))
    assert told(bare)["leads"].level == "warn"


def test_a_station_that_is_not_named_is_asked_for() -> None:
    choice = packed(battery(), load(), station_connector=None)
    assert choice.status == "found"
    assert told(choice)["leads"].level == "ask"
    assert "leads" not in told(packed(battery(), load()))


def test_a_lead_without_a_rating() -> None:
    def with_rating(max_a: float | None) -> dict[str, Caution]:
        return told(packed(battery(), lead("cord", "g > h", max_a=max_a, area_mm2=2.5), load(connector="h")))

    # 2.5 mm² counts as 14 AWG: 0.7 x 35 = 24.5 A (ABYC E-11 style, second-hand, in a bundle)
    assert "cord 24.5 A" in with_rating(None)["unrated-lead"].text
    assert "unrated-lead" not in with_rating(15.0)


@pytest.mark.parametrize(("n", "is_told"), [(2, False), (3, True)])
def test_three_panels_in_parallel(n: int, is_told: bool) -> None:
    # each gives 3.2 W in a third of the sun; beyond its battery the lamp needs 8.4 W, or 5.2 W with 3.2 W less
    sheet = panel(count=n, rated_w=6.5 if n == 3 else 9.6, imp_a=0.4, isc_a=0.5, second_connector="pv:socket")
    choice = in_the_sun(battery(), sheet, controller(), load())
    assert sum(wire.joined * wire.count for wire in choice.wiring if wire.kind == "panel") == n
    assert ("parallel-panels" in told(choice)) is is_told


def test_limits_that_were_assumed_are_asked_for() -> None:
    assumed = (
        Assumed("batteries.csv", "box", "max_discharge_a", "5", "0.5 of capacity_ah per hour"),
        Assumed("batteries.csv", "box", "efficiency", "0.95", "usual"),
        Assumed("batteries.csv", "other", "max_charge_a", "2", "usual"),
        Assumed("batteries.csv", "box", "lowest_charging_degc", "0", "usual"),
    )
    caution = told(packed(battery(), load(), known={"assumed": assumed}))["assumed-limit"]
    assert caution.level == "ask"
    # nothing is charged without a panel
    assert "read from a label: box max_discharge_a 5. Look" in caution.text
    charged = told(in_the_sun(battery(), panel(), controller(), load(), known={"assumed": assumed}))["assumed-limit"]
    assert "box max_discharge_a 5, box lowest_charging_degc 0. Look" in charged.text


def test_a_noisy_controller_says_what_to_do() -> None:
    text = told(in_the_sun(battery(), panel(), controller(rf="hash"), load()))["radio-noise"].text
    assert "charge one battery while another feeds the radio" in text
    assert "ferrites" in text.lower()
    assert "5 m" in text


def test_what_is_to_be_heeded_comes_first() -> None:
    choice = in_the_sun(battery(), panel(), controller(rf="unknown", chemistries=()), load(lowest_v=12.4))
    levels = [caution.level for caution in cautions(choice)[:-1]]
    assert levels == sorted(levels, key=("block", "warn", "ask").index)
    assert {"warn", "ask"} <= set(levels)


def test_the_rule_book_is_complete() -> None:
    for rule in RULES.values():
        assert rule.levels
        assert rule.sentence.endswith(".")
        assert rule.source
    with pytest.raises(KeyError):
        Caution("warn", "text", "no-such-rule")
    with pytest.raises(AssertionError):
        Caution("ask", "text", "mass-limit")
