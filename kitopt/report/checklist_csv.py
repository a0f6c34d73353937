"""The checklist as CSV, for whoever keeps lists in a spreadsheet."""

from __future__ import annotations

import csv
import io
from collections.abc import Sequence

from kitopt.files.plain import printable
from kitopt.report.page import KitOnPage

COLUMNS = ("kit", "bag", "count", "id", "name", "kind", "mass_g", "price", "plugs_into")
_FORMULAS = ("=", "+", "-", "@")


def checklist_csv(kits: Sequence[KitOnPage]) -> str:
    """A line for each item of each bag; masses and prices are of all of it."""
    lines = io.StringIO()
    writer = csv.writer(lines, lineterminator="\n")
    writer.writerow(COLUMNS)
    for kit in kits:
        for heap in kit.heaps:
            for one in heap.pieces:
                price = "" if one.price_cents is None else f"{one.price_cents / 100:.2f}"
                cells = (kit.title, heap.name, str(one.count), one.id, one.name, one.kind, str(one.mass_g), price)
                writer.writerow([harmless(cell) for cell in (*cells, " ".join(one.plugs_into))])
    return lines.getvalue()


def harmless(cell: str) -> str:
    """A cell that no spreadsheet takes for a formula: before its first sign stands an apostrophe."""
    cell = printable(cell).strip()
    return f"'{cell}" if cell.startswith(_FORMULAS) else cell
