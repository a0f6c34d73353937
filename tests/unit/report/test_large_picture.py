"""Charge over time as somebody sees it who sits before a terminal, on a discharge worked out by hand."""

from __future__ import annotations

from collections.abc import Iterator

import pytest
from small_choices import Make, battery

from kitopt.report.letters import BLOCKS, PLAIN, draw_with
from kitopt.report.pictures import charge_picture


@pytest.fixture
def _large() -> Iterator[None]:
    draw_with(PLAIN, is_large=True)
    yield
    draw_with(BLOCKS, is_large=False)


@pytest.mark.usefixtures("_large")
def test_an_even_discharge_falls_from_the_top_row_to_the_middle(choose_for: Make) -> None:
    """10 Ah less 8 h x 10 W / 12.8 V = 6.25 leave 3.75 Ah: of seven rows of 1.43 Ah it ends in the third from below,
    which reaches from 2.86 to 4.29. Nothing is held back, and on 4 June it is light from 8 to 16 o'clock."""
    lines = charge_picture(choose_for(battery()))
    rows, below, clock = lines[:7], lines[7], lines[8]
    assert [row.partition("|")[0].strip() for row in rows] == ["10.0 Ah", *[""] * 5, "0 Ah"]
    spells = [row.partition("|")[2] for row in rows]
    hardest = {x: y for y, row in enumerate(spells) for x, letter in enumerate(row) if letter == PLAIN.hardest}
    width = max(hardest) + 1
    # one mark in each column, never rising
    assert sorted(hardest) == list(range(width))
    course = [hardest[x] for x in range(width)]
    assert course == sorted(course)
    assert (course[0], course[-1]) == (0, 4)
    assert set(spells[6]) == {PLAIN.held}
    assert below == f"{'':9}+{PLAIN.day * width}"
    assert clock.split() == ["Fri", "4", "Jun", "08:00", "Fri", "4", "Jun", "16:00"]
    assert len(clock) == len(below)
    assert " ".join(lines[9].split()).startswith(f"Charge {PLAIN.hardest} hardest survived {PLAIN.band} 9 in 10 spells")


@pytest.mark.usefixtures("_large")
def test_night_is_drawn_below_the_hours_after_sunset(choose_for: Make) -> None:
    """From 8 in the morning for 24 h: at 47° on 4 June the sun is up for 15.5 h, so that some 8.5 of 24 h are night,
    and the first and the last hour are day."""
    lines = charge_picture(choose_for(battery(capacity_ah=30.0, measured_ah=30.0), hours=24.0))
    below = lines[7].partition("+")[2]
    assert below[0] == below[-1] == PLAIN.day
    assert below.count(PLAIN.night) / len(below) == pytest.approx(8.5 / 24, abs=0.05)
    assert f"{PLAIN.day}{PLAIN.night}" in below
    assert below.strip(PLAIN.day).strip(PLAIN.night) == ""


def test_without_a_kit_there_is_no_picture(choose_for: Make) -> None:
    assert charge_picture(choose_for(battery(), hours=100.0)) == []
