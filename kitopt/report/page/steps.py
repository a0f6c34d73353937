"""The step table: rows chance, columns hours, cells the letter and mass of the best kit; the plan's in a frame."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.facts.grid import Cell, Grid
from kitopt.report import words
from kitopt.report.lists import counted, in_short
from kitopt.report.page.html import Inside, Markup, el, scrolling


def steps_section(choice: Choice, grid: Grid) -> Markup:
    """The table, its letters in words, and how it was filled."""
    head = el("tr", el("th", "Chance", scope="col"), [el("th", words.hours(h), scope="col") for h in grid.hours])
    rows = []
    for r, (share, cells) in enumerate(zip(grid.shares, grid.cells, strict=True)):
        marks = ["asked" if (r, c) == grid.asked else None for c in range(len(cells))]
        told = [el("td", _cell(grid, cell), class_=mark) for cell, mark in zip(cells, marks, strict=True)]
        rows.append(el("tr", el("th", words.percent(share), scope="row"), told))
    caption = "The best kit by chance and hours; framed is this plan"
    kits: list[Inside] = [
        el("li", el("b", letter(n)), f" {words.mass(mass_g)}: {in_short(pieces)}")
        for n, (pieces, mass_g) in enumerate(zip(grid.kits, grid.masses_g, strict=True))
    ]
    asked = counted(grid.n_solves, "question")
    return el(
        "section",
        el("h2", "More or fewer hours, more or less sure"),
        scrolling(caption, head, rows, "figures"),
        el("ul", kits),
        el("p", f"Filled by {asked} beside this plan, and by what follows: more is never lighter. ≤ and ≥ bound a kit "
           "that was not looked for."),
        class_="steps",
    )  # fmt: skip


def letter(number: int) -> str:
    """A for the lightest kit, and so on."""
    return chr(ord("A") + number)


def _cell(grid: Grid, cell: Cell) -> Inside:
    if cell.is_none:
        return "none"
    if cell.kit is not None:
        return [el("span", f"{letter(cell.kit)} ", class_="letter"), _whole(words.mass(grid.masses_g[cell.kit]))]
    if cell.most_g is not None and cell.least_g is not None:
        return [_whole(words.mass(cell.least_g)), " to ", _whole(words.mass(cell.most_g))]
    if cell.most_g is not None:
        return _whole(f"≤ {words.mass(cell.most_g)}")
    return [_whole(f"≥ {words.mass(cell.least_g)}"), " or none"] if cell.least_g is not None else "?"


def _whole(told: str) -> Markup:
    """A mass that is not torn apart at the end of a line."""
    return el("span", told)
