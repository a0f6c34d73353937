"""The table of hours and chances on the page: a table filled by hand, and every sort of cell in it."""

from __future__ import annotations

import re
from dataclasses import replace
from fractions import Fraction

import pytest
from small_choices import Make, battery

from kitopt.choice import Choice, Packed
from kitopt.facts.grid import Cell, Grid
from kitopt.report.page.steps import letter, steps_section

KITS = ((Packed("box-10", "battery", 1),), (Packed("box-10", "battery", 2), Packed("fold-100", "panel", 1)))
TABLE = Grid(
    shares=(Fraction(99, 100), Fraction(95, 100)),
    hours=(8.0, 16.0, 24.0),
    cells=(
        (Cell(least_g=1500, most_g=2900), Cell(least_g=2900), Cell(is_none=True)),
        (Cell(kit=0, least_g=1500, most_g=1500), Cell(most_g=2900), Cell()),
    ),
    asked=(1, 0),
    kits=KITS,
    masses_g=(1500, 2900),
    n_solves=3,
)


@pytest.fixture
def choice(choose_for: Make) -> Choice:
    return choose_for(battery())


def cells_of(page: str) -> list[list[str]]:
    """Rows of the table as what is read in each cell."""
    rows = re.findall(r"<tr>(.*?)</tr>", page)
    return [[re.sub(r"<.*?>", "", cell) for cell in re.findall(r"<t[hd].*?>(.*?)</t[hd]>", row)] for row in rows]


def test_each_cell_says_as_much_as_is_known_of_it(choice: Choice) -> None:
    # a kit by letter and mass; else its two bounds, one of them, that none works, or that nothing is known. Where
    # only the least mass is known no kit was found, so that there may be none
    assert cells_of(steps_section(choice, TABLE)) == [
        ["Chance", "8 h", "16 h", "24 h"],
        ["99 %", "1.50 kg to 2.90 kg", "≥ 2.90 kg or none", "none"],
        ["95 %", "A 1.50 kg", "≤ 2.90 kg", "?"],
    ]


@pytest.mark.parametrize("asked", [(1, 0), (0, 2)])
def test_only_the_cell_of_the_plan_is_framed(choice: Choice, asked: tuple[int, int]) -> None:
    rows = re.findall(r"<tr>(.*?)</tr>", steps_section(choice, replace(TABLE, asked=asked)))[1:]
    framed = [
        (r, c) for r, row in enumerate(rows) for c, told in enumerate(re.findall(r"<td(.*?)>", row)) if "asked" in told
    ]
    assert framed == [asked]


def test_letters_are_told_below_with_what_is_in_each_kit(choice: Choice) -> None:
    page = steps_section(choice, TABLE)
    told = [re.sub(r"<.*?>", "", one) for one in re.findall(r"<li>(.*?)</li>", page)]
    assert told == ["A 1.50 kg: box-10", "B 2.90 kg: 2 box-10, fold-100"]
    assert "Filled by 3 questions beside this plan" in page
    assert [letter(n) for n in (0, 1, 25)] == ["A", "B", "Z"]


def test_an_id_in_the_table_is_never_read_as_markup(choice: Choice) -> None:
    odd = replace(TABLE, kits=((Packed("<b>&box", "battery", 1),), KITS[1]))
    page = steps_section(choice, odd)
    assert "&lt;b&gt;&amp;box" in page
    assert "<b>&box" not in page
