"""What readings have taught, and what was read of the files, in words and as documents."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime
from pathlib import Path

from small_choices import ZONE, battery, inventory_of, operation_of

from kitopt.inventory.items import Assumed, Measured, Reading
from kitopt.inventory.learned import Worth
from kitopt.operation.terms import Climate, NoSun, Shares, WeatherFile
from kitopt.report.field.learned import learned_text, learned_value
from kitopt.report.reading import reading_text

BOX = Measured("box-10", "battery", 10.0, is_assumed=False, low=8.1, middle=8.6, high=9.2, n_readings=2)
LONG = Measured("long", "lead", None, is_assumed=False, low=0.018, middle=0.02, high=0.022, n_readings=1)
TOLD = Worth("leaf", 0.8, is_assumed=False, low=0.7, middle=0.75, high=0.8, n_readings=2, n_days=2)
OWNED = inventory_of(battery())
READ = replace(
    OWNED, readings=tuple(Reading(datetime(2027, 6, day, 12, tzinfo=ZONE), "leaf", 0.75, 0.9) for day in (4, 5))
)


def flat(text: str) -> str:
    return " ".join(text.split())


def test_without_a_reading_the_next_step_is_told() -> None:
    said = flat(learned_text((), OWNED, 0.03))
    assert said == (
        "No reading is kept yet: kitopt reading PANEL --amps A --keep --inventory DIR adds one to readings.csv."
    )


def test_batteries_and_leads_are_told_without_any_panel() -> None:
    said = flat(learned_text((), replace(OWNED, measured=(BOX, LONG)), 0.03))
    box = "box-10 measured_ah 8.6: learned from 2 readings, 9 in 10 within 8.1 to 9.2 Ah"
    # 0.02 ohm are 20 thousandths
    long = "long mohm 20: learned from 1 reading, 9 in 10 within 18 to 22 mΩ"
    assert said == f"What was read of batteries and leads {box} {long}"


def test_panels_come_first_and_the_others_after_them() -> None:
    inventory = replace(READ, measured=(BOX,))
    lines = learned_text((TOLD,), inventory, inventory.meter_spread).splitlines()
    assert lines[0] == "What 2 readings of 2 days say of each panel's worth"
    assert lines[2].split() == ["leaf", "0.80", "0.75", "0.70", "to", "0.80", "2"]
    assert "Plans count with what is learned, and with how sure it is." in lines
    # two days are fewer than three
    assert "Of fewer than three days" in flat("\n".join(lines))
    assert lines[lines.index("Of batteries and leads") + 1].startswith("box-10 measured_ah 8.6: ")


def test_what_the_owner_wrote_stands_where_nothing_was_read() -> None:
    other = replace(TOLD, panel="fold", n_readings=0, n_days=0)
    guess = replace(TOLD, panel="roll", is_assumed=True, n_days=3, n_readings=3)
    said = flat(learned_text((other, guess), READ, READ.meter_spread))
    assert "Nothing was read of these, so what you wrote of them stands: fold." in said
    assert "roll 0.80 guess 0.75" in said
    assert "Of fewer than three days" not in said


def test_a_meter_that_is_asked_about_is_told_how_to_write_it_down() -> None:
    said = flat(learned_text((TOLD,), replace(READ, meter_spread=0.03), 0.05))
    assert 'off by 3 %; so that they count with this: meter = "5 %" in inventory.toml.' in said
    assert "Plans count with what is learned" not in said


def test_what_is_learned_as_a_document() -> None:
    told = learned_value((TOLD,), replace(READ, measured=(BOX, LONG)))
    assert (told["readings"], told["panels"][0]["ninety_percent"]) == (2, [0.7, 0.8])
    assert [one["battery"] for one in told["batteries"]] == ["box-10"]
    assert [(one["lead"], one["learned"]) for one in told["leads"]] == [("long", 0.02)]


def test_the_weather_that_is_counted_with_is_named() -> None:
    hut = operation_of()
    some = (
        (NoSun(), "no sun"),
        (Climate(), "climate"),
        (Climate((0.8,)), "climate after 1 day of forecast"),
        (Climate((0.8, 0.5)), "climate after 2 days of forecast"),
        (Shares((0.8, 0.5)), "daily shares of clear sky"),
        (WeatherFile(Path("years") / "hut.csv"), "hut.csv"),
    )
    for weather, told in some:
        asked = replace(hut, need=replace(hut.need, weather=weather))
        assert f"weather {told}, 100 % of" in flat(reading_text(asked, OWNED))


def test_what_is_lent_is_not_counted_on_in_silence() -> None:
    lent = inventory_of(battery(), battery("box-20", out=True))
    assert "Out, lent or broken: box-20." in reading_text(None, lent)
    assert "Out, lent or broken" not in reading_text(None, OWNED)


def test_what_was_learned_stands_apart_from_what_was_guessed() -> None:
    read = Assumed("readings.csv", "box-10", "measured_ah", "8.6", "learned from 2 readings", is_learned=True)
    text = reading_text(None, replace(OWNED, assumed=(read,)))
    assert "Learned from what was read (kitopt learned)" in text
    assert text.endswith("Nothing was left blank, so nothing is assumed.\n")
