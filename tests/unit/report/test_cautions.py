"""Each caution appears when it must, with its level, and not otherwise. Numbers are worked out by hand beside them."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from small_choices import Make, battery, controller, panel

from kitopt.choice import Choice
from kitopt.explain import Caution, cautions
from kitopt.explain.thrown_away import thrown_away
from kitopt.inventory.items import Unusual
from kitopt.operation.terms import Need


def by_rule(choice: Choice) -> dict[str, Caution]:
    return {caution.rule: caution for caution in cautions(choice)}


def test_the_last_one_never_calls_anything_safe(choose_for: Make) -> None:
    for choice in (choose_for(battery()), choose_for(battery(), hours=80.0), choose_for(battery(max_discharge_a=0.1))):
        last = cautions(choice)[-1]
        assert last.rule == "no-rule-failed"
        assert last.level == "warn"
        assert "fuse" in last.text
        assert "Local codes" in last.text
        assert not any("safe" in caution.text.lower() for caution in cautions(choice))


def test_one_battery_needs_no_swap(choose_for: Make) -> None:
    # 8 h x 10 W = 80 Wh of 128
    assert by_rule(choose_for(battery())).keys() == {"leads", "no-rule-failed"}


def test_batteries_in_turn_are_swapped(choose_for: Make) -> None:
    # 240 Wh: two of 128
    found = by_rule(choose_for(battery(count=3), hours=24.0))
    assert "swap" in found["swaps"].text
    assert "2 batteries" in found["swaps"].text
    assert "parallel" not in found


def test_lifepo4_in_parallel(choose_for: Make) -> None:
    found = by_rule(choose_for(battery(count=3), hours=24.0, batteries="parallel"))
    assert "0.05 V" in found["parallel"].text
    assert "fuse" in found["parallel"].text
    assert "swaps" not in found
    lead = by_rule(choose_for(battery(count=3, chemistry="agm"), hours=24.0, batteries="parallel"))
    assert "0.05 V" not in lead["parallel"].text


def sunny(choose_for: Make, **more: object) -> Choice:
    """48 h x 10 W = 480 Wh from a battery of 128 Wh and panels."""
    values: dict[str, object] = {"hours": 48.0, "sun_wm2": (1000.0,)}
    return choose_for(battery(), panel(), controller(**more), **values)


def test_a_field_within_its_controller_is_not_clipped(choose_for: Make) -> None:
    # 100 W / 13.4 V = 7.5 A of 10 A
    assert "clipped" not in by_rule(sunny(choose_for))


def test_a_clipped_field_says_what_is_thrown_away(choose_for: Make) -> None:
    # 100 W of sun are 100 / 13.4 A x 12.8 V = 95.522 W at the battery, at most 5 A x 12.8 V = 64 W: 31.522 W x 48 h =
    # 1,513.07 Wh above the limit, of 4,585.07 Wh.
    # It begins full, so all that is charged beyond the load meets a full battery: (64 - 10) W x 48 h = 2,592 Wh
    choice = sunny(choose_for, max_charge_a=5.0)
    lost = thrown_away(choice)
    assert lost is not None
    assert [unit.name for unit in lost.units] == ["mppt-5"]
    assert lost.offered_wh == pytest.approx(4585.07, abs=0.01)
    assert lost.above_limit_wh == pytest.approx(1513.07, abs=0.01)
    assert lost.when_full_wh == pytest.approx(2592)
    text = by_rule(choice)["clipped"].text
    assert "1,513 Wh above that limit" in text
    assert "2,592 Wh with the battery full" in text
    assert "4,585 Wh offered" in text


def test_a_field_that_is_clipped_on_paper_alone(choose_for: Make) -> None:
    # 100 W on the label exceed 64 W; under 500 W/m² the panel gives 47.761 W: 37.761 W x 48 h more than the load takes
    choice = choose_for(battery(), panel(), controller(max_charge_a=5.0), hours=48.0, sun_wm2=(500.0,))
    text = by_rule(choice)["clipped"].text
    assert "nothing is lost to that limit, and 1,813 Wh to a full battery, of 2,293 Wh offered" in text


def test_what_is_thrown_away_is_the_median_of_the_windows(choose_for: Make) -> None:
    # 70 W are 66.866 W at the battery, 2.866 W above 64 W: 137.55 Wh; 100 W as above; 50 W not at all
    items = (battery(), panel(), controller(max_charge_a=5.0))
    lost = thrown_away(choose_for(*items, hours=48.0, sun_wm2=(1000.0, 700.0, 500.0)))
    assert lost is not None
    assert lost.above_limit_wh == pytest.approx(137.55, abs=0.01)
    assert lost.offered_wh == pytest.approx(70 * 12.8 / 13.4 * 48)


def test_three_panels_in_parallel_want_fuses(choose_for: Make) -> None:
    # 480 Wh - 128 Wh = 352 Wh in 48 h: 7.33 W on average from panels that give 10 x 0.3 = 3 W each
    def with_panels(rated_w: float) -> dict[str, Caution]:
        small = panel(count=4, rated_w=rated_w, imp_a=0.55, isc_a=0.6)
        return by_rule(choose_for(battery(), small, controller(), hours=48.0, sun_wm2=(300.0,)))

    assert "3 panels" in with_panels(10.0)["parallel-panels"].text
    assert "fuse" in with_panels(10.0)["parallel-panels"].text
    # 6 W each: two do
    assert "parallel-panels" not in with_panels(20.0)


def test_noise_and_settings_of_the_controller(choose_for: Make) -> None:
    assert by_rule(sunny(choose_for)).keys() & {"radio-noise", "chemistry"} == set()
    assert by_rule(sunny(choose_for, rf="hash"))["radio-noise"].level == "warn"
    assert by_rule(sunny(choose_for, rf="unknown"))["radio-noise"].level == "ask"
    blank = by_rule(sunny(choose_for, chemistries=()))["chemistry"]
    assert blank.level == "ask"
    assert "lifepo4" in blank.text


def test_cells_too_cold_to_be_charged_are_counted_in_spells(choose_for: Make) -> None:
    # One window of three must be survived: the warm one, with a panel. Of the two at -5 °C one has sun to lose.
    def under(cells_degc: tuple[float, ...]) -> dict[str, Caution]:
        choice = choose_for(
            *(battery(), panel(), controller()),
            hours=48.0,
            sun_wm2=(300.0, 300.0, 0.0),
            battery_degc=cells_degc,
            need=Need(confidence=Fraction(1, 3), reserve_share=0.0, step_h=1.0),
        )
        assert choice.joins
        return by_rule(choice)

    assert "1 of 3 spells" in under((5.0, -5.0, -5.0))["cold-cells"].text
    assert "cold-cells" not in under((5.0, 5.0, -5.0))


def test_prices_that_are_missing_matter_when_price_counts(choose_for: Make) -> None:
    items = (battery(), battery("gift", price_cents=None))
    assert "prices" not in by_rule(choose_for(*items))
    found = by_rule(choose_for(*items, least="price"))["prices"]
    assert found.level == "ask"
    assert "gift" in found.text
    assert "box-10" not in found.text


def test_batteries_by_air(choose_for: Make) -> None:
    # 128 Wh on the label: above 100 Wh an airline's approval is needed
    choice = choose_for(battery(), air_travel=True)
    found = [caution for caution in cautions(choice) if caution.rule == "air-travel"]
    assert {caution.level for caution in found} == {"warn", "ask"}
    assert any("128 Wh" in caution.text for caution in found)
    small = choose_for(battery(capacity_ah=7.0, measured_ah=7.0), air_travel=True)  # 89.6 Wh
    assert [c.level for c in cautions(small) if c.rule == "air-travel"] == ["warn"]
    assert "air-travel" not in by_rule(choose_for(battery()))


def test_notes_of_the_sky_and_warnings_of_the_files_are_passed_on(choose_for: Make) -> None:
    choice = choose_for(battery())
    choice = replace(
        choice,
        sky=replace(choice.sky, notes=("The cell is far away.",)),
        operation=replace(choice.operation, warnings=("hut.toml: odd",)),
    )
    assert by_rule(choice)["sky"].text == "The cell is far away."
    assert by_rule(choice)["file"] == Caution("ask", "hut.toml: odd", "file")


def test_blocks_are_told_when_rules_leave_no_kit(choose_for: Make) -> None:
    choice = choose_for(battery(max_discharge_a=0.5))  # the lamp draws 0.78 A
    assert choice.status == "no-kit"
    blocks = [caution for caution in cautions(choice) if caution.level == "block"]
    assert [block.rule for block in blocks] == ["discharge-limit"]
    assert not any(caution.level == "block" for caution in cautions(choose_for(battery())))


def test_an_unusual_value_is_asked_about_when_it_is_packed_or_kept_something_out(choose_for: Make) -> None:
    choice = choose_for(battery())
    packed = choice.packed[0].id
    odd = tuple(
        Unusual("batteries.csv", 2, name, "mass_g", f"{name} is odd", keeps_out)
        for name, keeps_out in ((packed, False), ("other-heavy", True), ("other-light", False))
    )
    choice = replace(choice, inventory=replace(choice.inventory, unusual=odd))
    asked = [one.text for one in cautions(choice) if one.rule == "usual"]
    assert [text.rpartition(": ")[2] for text in asked] == [f"{packed} is odd", "other-heavy is odd"]
    assert {one.level for one in cautions(choice) if one.rule == "usual"} == {"ask"}


def test_a_controller_of_unknown_volts_is_asked_about_with_the_panels_in_the_cold(choose_for: Make) -> None:
    choice = sunny(choose_for, max_pv_v=None)
    (join, *_) = (join for join, _, _ in choice.joins)
    # each of so many degrees below 25 adds its share of the open-circuit voltage
    cold = join.panel.voc_v * (1 + join.panel.voc_per_degc * (choice.sky.coldest_degc - 25.0))
    asked = by_rule(choice)["cold-voc"]
    assert asked.level == "ask"
    assert f"reaches {cold:.1f} V open-circuit at {choice.sky.coldest_degc:g} °C" in asked.text
    assert "cold-voc" not in by_rule(sunny(choose_for))


def test_lead_acid_by_air_is_not_told_the_rules_of_lithium(choose_for: Make) -> None:
    # a battery of 12 V and 84 Wh may go, by rules of its own
    small = battery(chemistry="agm", nominal_v=12.0, capacity_ah=7.0, measured_ah=7.0)
    choice = choose_for(small, hours=4.0, air_travel=True)
    assert choice.packed
    assert "air-travel" not in by_rule(choice)
    assert "air-travel" in by_rule(choose_for(battery(), air_travel=True))
