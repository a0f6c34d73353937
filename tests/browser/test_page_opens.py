"""The page as somebody meets it: offline, narrow, without script, by keyboard, in both themes, with odd names."""

from __future__ import annotations

import re
from dataclasses import replace
from typing import Any

import pytest
from odd_names import ODD
from pages import KITS, Open, carried_of, kit_in_hand, page_of

from kitopt.facts.bags import heaps
from kitopt.report.field.now import out_less_in
from kitopt.report.field.wording import of_spells
from kitopt.report.page import KitOnPage, page
from kitopt.report.page.html import data

NAME = "operations/coastal-checkpoint"
HEADS = (
    *("Heed", "Pack", "Wire", "Charge over time", "Power in and out", "Amperes to expect", "Swaps and trip-wires"),
    *("Now", "A reading", "Why each item", "Assumed, and to be measured"),
)


@pytest.mark.parametrize("theme", ["light", "dark"])
@pytest.mark.parametrize("wide", [320, 360, 1280])
def test_it_opens_offline_without_a_fault_and_is_no_wider_than_the_screen(opened: Open, wide: int, theme: str) -> None:
    found = opened(page_of(NAME), wide=wide, theme=theme)
    assert found.faults == []
    assert found.page.evaluate("document.documentElement.scrollWidth") <= wide
    assert found.page.title() == kit_in_hand(NAME).operation.name


def test_without_script_all_of_it_is_there_in_order_and_says_so(opened: Open) -> None:
    found = opened(page_of(NAME), script=False)
    heads = found.page.locator("h2").all_inner_texts()
    assert [one for one in heads if one in HEADS] == list(HEADS)
    assert found.page.locator(".without-script").is_visible()
    assert not found.page.locator("form.now").is_visible()
    shown = found.page.inner_text("main")
    for wire in carried_of(NAME).now.wires:
        assert f"{int(10 * wire.used_at_most_ah + 1e-4) / 10:.1f}" in shown
    for one in kit_in_hand(NAME).packed:
        assert one.id in shown


def test_boxes_are_remembered_and_counted(opened: Open) -> None:
    found = opened(page_of(NAME)).page
    box = found.locator("#k1-box-2")
    box.check()
    assert "1 of" in found.inner_text(".count")
    found.reload()
    assert found.locator("#k1-box-2").is_checked()
    assert not found.locator("#k1-box-1").is_checked()
    assert found.locator("article").first.locator(".memory").inner_text().startswith("The boxes are remembered")


def test_where_nothing_can_be_remembered_it_says_so(opened: Open) -> None:
    found = opened(page_of(NAME)).page
    found.add_init_script("Object.defineProperty(window, 'localStorage', { get() { throw new Error('no'); } })")
    found.reload()
    assert "remember nothing" in found.inner_text(".memory")


def test_the_keyboard_reaches_every_control(opened: Open) -> None:
    found = opened(page_of(NAME)).page
    reach = "Array.from(document.querySelectorAll('input, select, button, a')).filter((one) => one.offsetParent)"
    wanted = found.evaluate(f"{reach}.length")
    seen = set()
    for _ in range(2 * wanted + 30):
        found.keyboard.press("Tab")
        seen.add(found.evaluate(f"{reach}.indexOf(document.activeElement)"))
    assert seen >= set(range(wanted))


def test_what_is_entered_is_answered(opened: Open) -> None:
    found = opened(page_of(NAME)).page
    form = found.locator("form.now")
    form.locator("[name=amount]").fill("6,5")
    form.locator("[name=at]").fill("2027-10-09T19:00")
    form.locator("button").click()
    said = form.locator(".answer").inner_text()
    assert re.search(r"It lasts to the end in \d+ of 500 spells of weather: \d+ %; asked is 95 %\.", said)
    assert "Trip-wires" in said
    # 24.1 Ah were in it, of which 10.8 cannot be used: nothing that is switched off brings them back
    form.locator("[name=amount]").fill("24")
    form.locator("button").click()
    assert "None. Already too much is used" in form.locator(".answer").inner_text()
    form.locator("[name=at]").fill("2027-10-19T19:00")
    form.locator("button").click()
    assert "Need ampere-hours, and a time from" in form.locator(".answer").inner_text()


def test_all_is_never_said_of_some(opened: Open) -> None:
    # from all spells to none, by what is out at 23:00
    found = opened(page_of(NAME)).page
    form = found.locator("form.now")
    form.locator("[name=at]").fill("2027-10-09T23:00")
    shown = []
    for used_ah in (2, 11, 11.3, 11.6, 12, 13, 14, 24):
        form.locator("[name=amount]").fill(str(used_ah))
        form.locator("button").click()
        said = re.search(r"in (\d+) of 500 spells of weather: (\d+) %", form.locator(".answer").inner_text())
        assert said
        shown.append((int(said[1]), int(said[2])))
    assert {n for n, percent in shown if percent == 100} == {500}
    assert {n for n, percent in shown if percent == 0} == {0}
    assert of_spells(0.998) == "99 %"
    assert of_spells(0.002) == "1 %"


def test_where_more_must_go_in_than_out_that_is_said(opened: Open) -> None:
    found = opened(page_of(NAME)).page
    said = found.evaluate("[3.26, 0, -0.04, -1.7].map((one) => outLessIn(Math.round(10 * one) / 10))")
    assert said == ["3.3", "0.0", "0.0", "1.7 more in"]
    assert said == [out_less_in(one) for one in (3.26, 0, -0.04, -1.7)]


def test_readings_are_exported_as_the_planner_reads_them(opened: Open, tmp_path: Any) -> None:
    from kitopt.inventory.columns import columns_of
    from kitopt.inventory.rows import ReadingRow

    found = opened(page_of(NAME)).page
    form = found.locator("form.reading")
    form.locator("[name=amps]").fill("0.2")
    form.locator("[name=at]").fill("2027-10-09T13:00")
    form.locator("button[type=submit]").click()
    assert "A is expected" in form.locator(".answer").inner_text()
    with found.expect_download() as saved:
        form.locator(".save").click()
    assert saved.value.suggested_filename == "readings.csv"
    first, row = saved.value.path().read_text(encoding="utf-8").splitlines()
    assert first.split(",") == list(columns_of(ReadingRow))
    assert row.startswith("2027-10-09T13:00+02:00,fold-20,mppt-5,0.200,")


def test_where_no_strip_is_packed_a_battery_is_not_plugged_into_itself(opened: Open) -> None:
    # the word is the terminal's
    found = opened(page_of("plans/meadow-day")).page
    assert "lfp-20-old into battery box" in found.inner_text(".rail")
    assert "The battery box is whatever the batteries are in." in found.inner_text(".wiring")
    assert "into the battery" not in found.inner_text("main").replace("Amperes into the battery", "")


def test_odd_names_do_no_harm(opened: Open) -> None:
    choice, one = kit_in_hand(NAME), carried_of(NAME)
    for odd in ("".join(ODD[:2]), "".join(ODD[2:4]), "".join(ODD[4:7]), "".join(ODD[7:])):
        operation = replace(choice.operation, name=odd)
        items = tuple(replace(item, name=odd) for item in choice.inventory.batteries)
        inventory = replace(choice.inventory, batteries=items)
        named = replace(choice, operation=operation, inventory=inventory)
        inside = heaps(inventory, choice.packed, choice.parts)
        kit = KitOnPage(odd, odd, named, inside, (replace(one, choice=named),), notes=(odd,))
        found = opened(page(odd, [kit]), wide=320)
        assert found.faults == []
        assert found.page.evaluate("document.documentElement.scrollWidth") <= 320
        assert found.page.locator("img").count() == 0
        assert "\u202e" not in found.page.content()


def test_data_cannot_end_its_element() -> None:
    assert "<" not in data({"a": "</script><!--"})


CUT = """(of) => Array.from(document.querySelectorAll(`${of} .wide`))
  .filter((one) => one.offsetParent && one.scrollWidth > one.clientWidth).map((one) => one.ariaLabel)"""


@pytest.mark.parametrize("name", KITS)
def test_no_table_is_cut_off_on_paper(opened: Open, name: str) -> None:
    found = opened(page_of(name), wide=round(190 / 25.4 * 96)).page
    found.emulate_media(media="print")
    assert found.evaluate(CUT, "main") == []


@pytest.mark.parametrize("name", KITS)
def test_amperes_to_expect_are_read_on_a_phone_without_scrolling(opened: Open, name: str) -> None:
    assert opened(page_of(name)).page.evaluate(CUT, ".amperes") == []


def test_a_panel_that_cannot_be_tilted_lies_flat(opened: Open) -> None:
    # fold-20 has no stand: tilts is "no" in the demo's panels.csv
    found = opened(page_of(NAME)).page
    assert "Aim: fold-20 cannot be tilted: flat on the ground." in found.inner_text(".amperes")
    assert found.locator("form.reading [name=aim]").input_value() == "flat"


def test_the_print_view_is_two_pages(opened: Open) -> None:
    found = opened(page_of(NAME), wide=1280).page
    pages = found.pdf(format="A4", prefer_css_page_size=True)
    assert len(re.findall(rb"/Type\s*/Page\b", pages)) <= 2
