"""The sheet as another program reads it, and the checklist as a spreadsheet would."""

from __future__ import annotations

import csv
import io
import os
import re
import subprocess
import sys
from dataclasses import replace
from pathlib import Path

import pytest

sys.path.insert(0, str(Path(__file__).parents[2] / "browser"))

from pages import digest_of, held_kit, kit_in_hand

from kitopt.report.checklist_csv import COLUMNS, checklist_csv, harmless
from kitopt.report.page import page
from kitopt.report.page.field import swaps_section
from kitopt.report.sheet import sheet
from kitopt.report.sheet.values import kit_values, sheets_of

NAME = "operations/coastal-checkpoint"
_MASS = re.compile(r"(?<![\d.])([\d,]+(?:\.\d+)?) (kg|g)\b")


def grams(text: str) -> list[int]:
    return [round(float(a.replace(",", "")) * (1000 if unit == "kg" else 1)) for a, unit in _MASS.findall(text)]


def test_the_sheets_masses_add_up_and_its_tags_are_there() -> None:
    pypdf = pytest.importorskip("pypdf")
    pytest.importorskip("typst")
    kit = held_kit(NAME)
    pdf, is_replaced = sheet("Sheet", [kit])
    assert not is_replaced
    assert sheet("Sheet", [kit])[0] == pdf
    read = pypdf.PdfReader(io.BytesIO(pdf))
    assert len(read.pages) <= 2
    text = read.pages[0].extract_text()
    total_g = kit_in_hand(NAME).mass_g
    # each heap's own mass and those of its pieces: twice the whole; then the total, beside the title and the sentence
    listed = text[text.index("Pack\n") : text.index("In all ")]
    assert sum(grams(listed)) == 2 * total_g
    assert grams(text[text.index("In all ") :])[0] == total_g
    root = read.trailer["/Root"]
    assert root["/MarkInfo"]["/Marked"]
    assert root["/Lang"] == "en"
    assert {str(one) for one in _kinds(root["/StructTreeRoot"])} >= {"/H1", "/H2", "/H3", "/Table", "/TH", "/TD", "/L"}
    # the fuse to fit and where: the wiring can be followed from it
    assert "lfp-30 into strip-4" in text
    assert re.search(r"fit blade fuse [\d.]+ A", text)


def test_each_bag_has_a_sheet_and_its_own_total() -> None:
    kit = replace(held_kit(NAME), carried=(), is_in_bags=True)
    each = sheets_of(kit)
    assert [one["title"] for one in each] == [f"{kit.title}: {bag.name}" for bag in kit.heaps]
    assert sum(grams(one["total"])[0] for one in each) == kit.mass_g
    assert all(
        sum(grams(piece["mass"])[0] for piece in one["heaps"][0]["pieces"]) == grams(one["total"])[0] for one in each
    )
    # once for all bags
    assert [bool(one["fuses"]) for one in each] == [True, *[False] * (len(each) - 1)]


def test_a_trip_wire_below_zero_is_said_in_words() -> None:
    kit = held_kit(NAME)
    one = kit.carried[0]
    # 2.37 Ah must be in before all else; at the most is not rounded up. A tenth at the start puts the sheet's there too
    wires = (replace(one.now.wires[0], used_at_most_ah=-2.37), *one.now.wires[1:])
    late = replace(one.now, wires=wires, charge=replace(one.now.charge, low_share=0.1))
    kit = replace(kit, carried=(replace(one, now=late),))
    assert ">2.4 more in<" in page("Page", [kit])
    field = kit_values(kit)["circuits"][0]
    assert any(row[3].endswith(" more in") for row in field["rows"])
    assert "or with less “more in” than it says" in field["below"]


def test_a_spell_without_a_swap_has_no_empty_table() -> None:
    told = swaps_section(held_kit(NAME).carried[0], ("Swaps.", [("Median spell", ())]), "")
    assert "<p>Swaps, median spell: none.</p>" in told


def _kinds(node: object, most: int = 4000) -> list[object]:
    """The structure types of a tagged document, depth first."""
    found, waiting = [], [node]
    while waiting and len(found) < most:
        one = waiting.pop()
        one = one.get_object() if hasattr(one, "get_object") else one
        if isinstance(one, list):
            waiting += one
        elif isinstance(one, dict):
            if "/S" in one:
                found.append(one["/S"])
            if "/K" in one:
                waiting.append(one["/K"])
    return found


def test_another_process_writes_the_same_bytes() -> None:
    """Whatever order its sets have: the seed of their hashes is another."""
    pytest.importorskip("typst")
    seed = 7 if os.environ.get("PYTHONHASHSEED") != "7" else 8
    there = subprocess.run(
        [sys.executable, "-c", f"import pages; print(pages.digest_of({NAME!r}))"],
        env={**os.environ, "PYTHONHASHSEED": str(seed), "PYTHONPATH": os.pathsep.join(sys.path)},
        capture_output=True,
        text=True,
        check=True,
    )
    assert there.stdout.strip() == digest_of(NAME)


def test_letters_that_no_font_has_are_replaced_with_a_word() -> None:
    pytest.importorskip("typst")
    pypdf = pytest.importorskip("pypdf")
    # an Egyptian sign: no font of a plain system has it
    kit = replace(held_kit(NAME), title="𓀀 Ж <b>")
    pdf, is_replaced = sheet("Sheet", [kit], "us-letter")
    assert is_replaced
    first = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    assert "? Ж <b>" in first.extract_text()
    # letter is 8.5 by 11 inches of 72 points
    assert (round(first.mediabox.width), round(first.mediabox.height)) == (612, 792)


def test_a_name_of_300_letters_stays_on_the_paper() -> None:
    pytest.importorskip("typst")
    pypdf = pytest.importorskip("pypdf")
    kit = held_kit(NAME)
    long = replace(kit.heaps[0].pieces[0], name="Ж" * 300)
    heap = replace(kit.heaps[0], pieces=(long,))
    pdf, _ = sheet("Sheet", [replace(kit, title="Щ" * 300, heaps=(heap,))])
    first = pypdf.PdfReader(io.BytesIO(pdf)).pages[0]
    lines = first.extract_text(extraction_mode="layout").splitlines()
    # the left of two columns is 91 mm wide, and no such letter is narrower than 2 mm at these sizes
    assert 0 < max(line.count("Ж") for line in lines) <= 45
    assert 0 < max(line.count("Щ") for line in lines) <= 90
    assert sum(line.count("Ж") for line in lines) == sum(line.count("Щ") for line in lines) == 300


def test_the_checklist_weighs_what_the_kit_weighs() -> None:
    rows = list(csv.DictReader(io.StringIO(checklist_csv([held_kit(NAME)]))))
    assert tuple(rows[0]) == COLUMNS
    assert sum(int(row["mass_g"]) for row in rows) == kit_in_hand(NAME).mass_g


@pytest.mark.parametrize("cell", ["=1+1", "+1", "-1", "@SUM(A1)", "\t=1", "\u202e=1"])
def test_no_cell_is_a_formula(cell: str) -> None:
    # what a spreadsheet takes for a formula begins with one of these signs (OWASP, "CSV Injection")
    assert not harmless(cell).startswith(("=", "+", "-", "@", "\t", "\r"))
