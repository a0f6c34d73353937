"""The answer in words: what stands in its first line, what fits in 80 columns, what is left out."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from fractions import Fraction

import pytest
from small_choices import ZONE, Make, battery, controller, panel

from kitopt.choice import Choice, Proof, Survival
from kitopt.choice.terms import Loss, Shortfall
from kitopt.files.plain import cut
from kitopt.inventory.items import Assumed, Extra
from kitopt.report import words
from kitopt.report.document import document
from kitopt.report.encode import as_json
from kitopt.report.in_brief import brief
from kitopt.report.text import answer, assumed_section, each_alone, facts, falls_short


def test_the_first_line_is_the_answer(choose_for: Make) -> None:
    # 1,200 g and the lamp's 300 g
    text = answer(choose_for(battery(), sun_wm2=(0.0, 10.0)))
    assert text.splitlines()[0] == "Hut: 8 h with 1.50 kg; survives 2 of 2 spells of weather."
    choice = choose_for(battery(), least="price")
    assert answer(choice).startswith("Hut: 8 h with EUR 90.00, 1.50 kg; ")
    assert answer(choose_for(battery(), least="items")).startswith("Hut: 8 h with 2 items, 1.50 kg; ")


def test_unseen_windows_are_told(choose_for: Make) -> None:
    choice = replace(choose_for(battery()), survival=Survival(500, 483, 475, 5000, 4879))
    # 4,879 / 5,000 = 97.58 %; what it was chosen for stands with the proof
    text = " ".join(answer(choice).split())
    assert "survives 4,879 of 5,000 unseen spells of weather, 97.6 %." in text
    assert "for 100 % of 500 spells" in text


def nasty(choose_for: Make, hours: float) -> Choice:
    words_on_end = "word " * 40
    assumed = tuple(Assumed("batteries.csv", "b" * 80, f"column_{n}", "0." + "1" * 30, words_on_end) for n in range(12))
    return choose_for(
        battery("b" * 80, name="x" * 300, count=3),
        panel("fold-" + "p" * 70, name="tab\there and\x1bthere"),
        controller("m" * 80, name="", max_charge_a=3.0, rf="hash", chemistries=()),
        Extra(id="pegs", name="ü" * 90, mass_g=20_000_000),
        sun_wm2=(900.0, 800.0, 0.0),
        hours=hours,
        assumed=assumed,
        name="A very long name of an operation that goes on and on " * 3,
        need=replace(choose_for(battery()).operation.need, confidence=Fraction(2, 3)),
    )


@pytest.mark.parametrize("columns", [40, 57, 80])
@pytest.mark.parametrize("hours", [8.0, 48.0, 480.0])
def test_nothing_is_wider_than_the_page(choose_for: Make, hours: float, columns: int) -> None:
    choice = nasty(choose_for, hours)
    no_kit = choose_for(battery("b" * 80), hours=100.0)
    assert no_kit.status == "no-kit"
    words.tell_within(columns)
    try:
        texts = [answer(choice), brief(choice), answer(no_kit), brief(no_kit)]
    finally:
        words.tell_within(words.WIDTH)
    for text in texts:
        for line in text.splitlines():
            assert len(line) <= columns, line
        assert "\x1b" not in text
        assert "\t" not in text
        assert text.endswith("\n")


@pytest.mark.parametrize(("columns", "told"), [(10, 40), (40, 40), (66, 66), (80, 80), (200, 80)])
def test_a_page_has_40_to_80_columns(columns: int, told: int) -> None:
    words.tell_within(columns)
    assert words.width() == told
    words.tell_within(words.WIDTH)


def test_a_narrow_list_keeps_every_id_and_mass(choose_for: Make) -> None:
    choice = choose_for(battery("a-battery-22-letters-x"), Extra(id="pegs", name="pegs and cord", mass_g=90))
    words.tell_within(40)
    try:
        lines = brief(choice).splitlines()
    finally:
        words.tell_within(words.WIDTH)
    # 1,200 + 300 + 90 g
    assert lines[lines.index("battery") + 1] == "  [ ] 1  a-battery-22-letters-x  1.20 kg"
    assert lines[-3].split() == ["total", "3", "1.59", "kg"]
    assert lines[-2:] == ["  EUR 90.00 without 1 item of unknown", "  price"]


def test_what_to_heed_comes_in_three_lines_and_the_rest_is_counted(choose_for: Make) -> None:
    # in turn, without leads, by air with what is large, a noisy controller: five things
    found = choose_for(
        battery(count=3, capacity_ah=10.0),
        panel(),
        controller(max_charge_a=5.0, rf="hash"),
        hours=48.0,
        sun_wm2=(260.0,),
        air_travel=True,
    )
    text = answer(found)
    heed = text.split("\n\n", 1)[0].splitlines()
    first = next(n for n, line in enumerate(heed) if line.startswith("Heed"))
    assert len(heed) - first == 4
    n_all = text.count("- ") and len([c for c in document(found)["cautions"] if c["rule"] != "no-rule-failed"])
    assert f"(and {n_all - 3} more: " in heed[first]
    assert text.splitlines()[-1] == "No rule failed: no promise. Local codes and licensed practice come first."


def test_batteries_that_start_part_charged_are_told_first(choose_for: Make) -> None:
    # half of 128 Wh is 64 Wh: 5.0 Ah; 5 h x 10 W are 3.906 Ah, told 4.0, and 1.09 are left; without sun 6.4 h
    need = replace(choose_for(battery()).operation.need, start_charge_share=0.5)
    text = " ".join(answer(choose_for(battery(), hours=5.0, need=need)).split())
    assert text.startswith("Hut: 5 h with 1.50 kg, batteries at 50 % at the start; survives")
    assert "Balance 5.0 Ah stored - 4.0 used = 1.0 Ah left" in text
    assert "without sun it lasts to the end from 50 % charge." in text


def test_the_balance_tells_sun_and_losses(choose_for: Make) -> None:
    # 24 h x 10 W with one battery of 128 Wh, full at the start. Two hundred W/m2 on 100 W are 20 W / 13.4 V = 1.493 A,
    # more than the 0.781 A of the lamp. Within the first hour the sun may come after the use: 10 - 0.781 Ah are left,
    # and all that it gives finds the battery full.
    choice = choose_for(battery(), panel(), controller(), hours=24.0, sun_wm2=(200.0,))
    value = document(choice)["balance"]
    assert value["left_ah"] == pytest.approx(10 - 10 / 12.8, abs=1e-3)
    total = value["stored_ah"] + value["sun_ah"] - value["lost_ah"] - value["used_ah"]
    assert total == pytest.approx(value["left_ah"], abs=0.003)
    assert value["lost_ah"] == pytest.approx(20 / 13.4, abs=1e-3)


def test_few_assumed_values_are_shown_and_the_rest_counted(choose_for: Make) -> None:
    mine = tuple(Assumed("batteries.csv", "box-10", f"column_{n}", "1", "usual") for n in range(11))
    other = tuple(Assumed("panels.csv", "fold-100", f"column_{n}", "1", "usual") for n in range(5))
    choice = choose_for(battery(), panel(), assumed=(*other, *mine))
    text = "\n".join(assumed_section(choice))
    assert "column_7" in text
    assert "column_8" not in text
    assert "fold-100" not in text
    assert "and 8 more: kitopt check" in text  # 11 + 5 - 8
    # beside an answer without reasons, their number alone
    assert "Assumed: 11 values of this kit, 5 of others: kitopt check" in answer(choice)
    assert [one["id"] for one in document(choice)["assumed"]] == ["box-10"] * 11 + ["fold-100"] * 5


def test_no_kit_says_how_far_it_falls_short(choose_for: Make) -> None:
    # two of 128 Wh for 40 h x 10 W: 144 Wh short at the end, Sat 5 Jun 24:00
    text = answer(choose_for(battery(count=2), hours=40.0))
    assert text.startswith("No kit in this inventory runs Hut for 40 h.\n")
    assert "falls 144 Wh short at Sun 6 Jun 00:00." in " ".join(text.split())
    need = replace(choose_for(battery()).operation.need, confidence=Fraction(19, 20))
    many = choose_for(battery(count=2), hours=40.0, need=need, sun_wm2=(0.0,) * 20)
    assert "in weather like the worst 1 in 20." in " ".join(answer(many).split())


def test_an_inventory_without_batteries_says_so(choose_for: Make) -> None:
    choice = choose_for(panel(), controller())
    assert choice.status == "no-kit"
    assert "\n  No battery is owned.\n" in answer(choice)
    assert document(choice)["strongest"]["kit"] == []


def test_many_rulings_are_counted(choose_for: Make) -> None:
    # eleven batteries, none of which carries the lamp's 0.78 A
    choice = choose_for(*(battery(f"weak-{n:02}", max_discharge_a=0.5) for n in range(11)))
    assert choice.status == "no-kit"
    text = answer(choice)
    # all of them at once
    names = ", ".join(f"weak-{n:02}" for n in range(10))
    assert f"- each of {names} and weak-10 gives 0.5 A; the loads peak at 0.8 A." in " ".join(text.split())
    assert len([one for one in document(choice)["cautions"] if one["level"] == "block"]) == 11


def test_an_unproved_kit_says_so(choose_for: Make) -> None:
    choice = replace(choose_for(battery()), status="time-limit", proof=Proof("mass", 1500.0, 1200.0, False))
    assert "not proved lightest: the time was up. Nothing below 1,200 g can work (gap 20 %)." in " ".join(
        answer(choice).split()
    )
    unbounded = replace(choice, proof=Proof("mass", 1500.0, float("-inf"), False))
    assert "not proved lightest" in answer(unbounded)
    assert document(unbounded)["proof"]["bound"] is None
    as_json(document(unbounded))


def test_no_kit_within_the_time(choose_for: Make) -> None:
    found = choose_for(battery())
    none = replace(found, status="time-limit", packed=(), joins=(), bus=None, survival=None, lowest=None)
    none = replace(none, no_sun_hours=None, proof=Proof("mass", None, 900.0, False))
    assert "the time was up before any kit was found" in answer(none)
    assert "Nothing below 900 g can work" in answer(none)
    plan = document(none)
    assert (plan["status"], plan["kit"], plan["lowest"]) == ("time-limit", [], None)


def test_joins_are_told(choose_for: Make) -> None:
    # the lamp draws 10 W / 12.8 V = 0.78 A; the panel gives 6 A short-circuited, the controller at most
    # 100 W / 13.4 V = 7.5 A. Leads are not checked without a leads.csv, so no drop is told.
    choice = choose_for(battery(), panel(), controller(count=2), hours=48.0, sun_wm2=(500.0,))
    lines = answer(choice).splitlines()
    start = next(n for n, line in enumerate(lines) if line.startswith("Wiring in this order"))
    assert [line.strip() for line in lines[start + 1 : start + 5]] == [
        "1. box-10 to battery box: fuse in the battery; 7.5 A",
        "2. battery box to lamp: 0.8 A",
        "3. mppt-5 #1 to battery box: 7.5 A",
        "4. fold-100 to mppt-5 #1: 6.0 A",
    ]
    unknown = {"ohm": None, "drop_v": None, "loss_share": None}
    assert document(choice)["wiring"][0] == {
        **{"from": "box-10", "to": "station", "kind": "battery", "count": 1, "joined": 1, "leads": []},
        **{"amps": pytest.approx(100 / 13.4, abs=1e-3), "fuse_a": "in the battery", **unknown},
    }
    assert document(choice)["wiring"][-1] == {
        **{"from": "fold-100", "to": "mppt-5 #1", "kind": "panel", "count": 1, "joined": 1, "leads": []},
        **{"amps": 6.0, "fuse_a": None, **unknown},
    }


def test_a_charge_is_never_told_too_high(choose_for: Make) -> None:
    # 128 - 7.9 h x 10 W = 49 Wh: 3.828 Ah, told 3.8; of 10 Ah stored 6.172 are used, told 6.2 so that it adds up
    text = answer(choose_for(battery(), hours=7.9))
    assert "10.0 Ah stored - 6.2 used = 3.8 Ah left" in " ".join(text.split())


def test_why_an_owned_item_is_not_packed(choose_for: Make) -> None:
    choice = choose_for(
        battery(),
        battery("lead", chemistry="agm", nominal_v=12.0, mass_g=9000),
        battery("weak", max_discharge_a=0.5),
        battery("none", count=0),
        panel(),
        panel("tall", voc_v=49.5),  # at 20 °C 49.5 x (1 + 0.003 x 5) = 50.2 V, above 50 V
        controller(),
    )
    why = {item_id: reason["rule"] for item_id, reason in document(choice)["not_packed"].items()}
    assert why == {
        "lead": "bus-class",
        "weak": "discharge-limit",
        "none": "count",
        "fold-100": "not-needed",
        "tall": "cold-voc",
        "mppt-5": "not-needed",
    }


@pytest.mark.parametrize(
    ("found", "wanted"),
    [
        (words.mass(999), "999 g"),
        (words.mass(1000), "1.00 kg"),
        (words.percent(Fraction(19, 20)), "95 %"),
        (words.percent(Fraction("0.999")), "99.9 %"),
        (words.hours(26.0), "26 h"),
        (words.hours(0.5), "0.5 h"),
        (words.price(123456, "EUR"), "EUR 1,234.56"),
        (words.price(5, ""), "0.05"),
        (words.moment(datetime(2027, 10, 9, 7, 5, tzinfo=ZONE)), "Sat 9 Oct 07:05"),
        (cut("abcdef", 4), "abc…"),
        (cut("abcd", 4), "abcd"),
    ],
)
def test_quantities_in_words(found: str, wanted: str) -> None:
    assert found == wanted


def test_a_unit_stays_with_its_number() -> None:
    text = "word " * 15 + "1234 Wh left"
    assert words.wrapped(text) == [("word " * 15).strip(), "1234 Wh left"]


def test_all_is_never_said_of_fewer_than_all(choose_for: Make) -> None:
    # 4,999 of 5,000 are 99.98 %, which would be told as 100.0
    nearly = replace(choose_for(battery()), survival=Survival(500, 500, 475, 5000, 4999))
    assert "survives 4,999 of 5,000 unseen spells of weather, 99.9 %." in " ".join(answer(nearly).split())
    whole = replace(nearly, survival=Survival(500, 500, 475, 5000, 5000))
    assert "survives 5,000 of 5,000 unseen spells of weather, 100.0 %." in " ".join(answer(whole).split())


def test_the_loss_that_is_hardest_to_bear_is_told(choose_for: Make) -> None:
    choice = choose_for(battery())
    need = replace(choice.operation.need, backup=("panel",))
    unlosable = replace(choice, operation=replace(choice.operation, need=need))
    assert facts(unlosable)[-1] == "Backup   one panel: none is packed, so none can be lost."
    both = replace(need, backup=("battery", "panel"))
    asked = replace(choice, operation=replace(choice.operation, need=both))
    # fewer spells survived come first, and of as many the smaller margin
    losses = (
        Loss("battery", "one box-10", 500, 480, 9.0),
        Loss("panel", "one fold-100", 500, 470, 3.0),
        Loss("panel", "one fold-50", 500, 470, 8.0),
    )
    assert " ".join(" ".join(facts(replace(asked, losses=losses))).split()).endswith(
        "Backup what must run outlives the loss of one battery or one panel, with the rest switched off; hardest is to "
        "be without one fold-100: 470 of 500 spells survived."
    )
    assert "Backup" not in " ".join(facts(choice))


@pytest.mark.parametrize(
    ("confidence", "n_windows", "told"),
    [
        (Fraction(19, 20), 500, ", in weather like the worst 1 in 20"),
        (Fraction(1), 500, ", in the worst of 500 spells"),
        # one in 1.25 is no number of spells
        (Fraction(1, 5), 500, ", in weather like the worst 80 %"),
        (Fraction(19, 20), 1, ""),
    ],
)
def test_a_kit_falls_short_in_weather_that_is_named(
    choose_for: Make, confidence: Fraction, n_windows: int, told: str
) -> None:
    choice = choose_for(battery(), hours=20.0, sun_wm2=(0.0,) * n_windows)
    need = replace(choice.operation.need, confidence=confidence)
    asked = replace(choice, operation=replace(choice.operation, need=need))
    short = Shortfall(choice.packed, (), 72.4, datetime(2027, 6, 5, 3, tzinfo=ZONE))
    assert falls_short(asked, short) == f"falls 72 Wh short at Sat 5 Jun 03:00{told}"


def test_each_circuit_is_told_by_itself(choose_for: Make) -> None:
    kit, none = choose_for(battery()), choose_for(battery(), hours=20.0)
    hurried, apart = replace(none, status="time-limit", shortfall=None), replace(none, shortfall=None)
    parts = (("", kit), ("radio", none), ("fan", hurried), ("bell", apart))
    # the lamp draws 200 Wh in 20 h, of which a box holds 128
    assert each_alone(replace(kit, circuits=parts)) == [
        "- main: alone 1.50 kg, box-10.",
        "- radio: alone no kit, the strongest falls 72 Wh short at Sat 5 Jun 04:00.",
        "- fan: not known, the time was up.",
        "- bell: nothing fits together.",
    ]


def test_values_that_were_read_are_not_called_blank(choose_for: Make) -> None:
    read = Assumed("batteries.csv", "box-10", "measured_ah", "9.1", "learned from 2 readings", is_learned=True)
    blank = Assumed("batteries.csv", "box-10", "efficiency", "0.98", "usual for lifepo4")
    lines = assumed_section(choose_for(battery(), assumed=(read,)))
    assert lines == ["Learned from what was read", "  box-10 measured_ah = 9.1: learned from 2 readings"]
    both = assumed_section(choose_for(battery(), assumed=(read, blank)))
    assert both[2:] == ["Assumed, because it was left blank", "  box-10 efficiency = 0.98: usual for lifepo4"]
