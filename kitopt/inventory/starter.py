"""A small invented inventory to edit: every column of every file, each explained above the rows."""

from __future__ import annotations

import csv
import io

from kitopt.inventory.explained import explained
from kitopt.inventory.fields import Blank, Column, OneOf, Table, Unless, columns_of, shown
from kitopt.inventory.fill import KINDS
from kitopt.inventory.rows import ContactRow, FuseRow, SettingsTable

_INVENTED = """\
# Invented rows: replace them by what you own. A cell may carry its own unit: 1.5 kg, 3 lb 2 oz, 25 ft.
# Blank cells are assumed, and listed by kitopt check. A connector is written genderless-30 when it mates with itself,
# barrel-5.5x2.1:plug or :socket otherwise; kitopt check --connectors prints the words.
"""

_ROWS: dict[str, list[dict[str, object]]] = {
    "batteries": [
        {
            **{"id": "lfp-6", "name": "small battery 6 Ah", "mass_g": 780, "price": 45, "chemistry": "lifepo4"},
            **{"nominal_v": 12.8, "capacity_ah": 6, "measured_ah": 5.8, "max_charge_a": 3, "max_discharge_a": 10},
            **{"fused": "no", "connector": "genderless-30"},
        },
        {
            **{"id": "lfp-12", "name": "battery 12 Ah", "count": 2, "mass_g": "1.45 kg", "price": 85},
            **{"chemistry": "lifepo4", "nominal_v": 12.8, "capacity_ah": 12, "max_charge_a": 6, "max_discharge_a": 20},
            **{"fused": "no", "connector": "genderless-30", "notes": "measure this one"},
        },
    ],
    "panels": [
        {
            **{"id": "fold-50", "name": "folding panel 50 W", "mass_g": 1700, "price": 110, "rated_w": 50, "vmp_v": 18},
            **{"imp_a": 2.8, "voc_v": 21.6, "isc_a": 3, "power_per_degc": "-0.4 %", "connector": "pv-latch:plug"},
            **{"tilts": "yes", "folding": "yes"},
        },
        {
            **{"id": "fold-100", "name": "folding panel 100 W", "mass_g": "3.2 kg", "price": 190, "rated_w": 100},
            **{"connector": "pv-latch:plug", "tilts": "yes", "folding": "yes"},
        },
    ],
    "controllers": [
        {
            **{"id": f"{kind}-10", "name": "controller 10 A", "mass_g": mass_g, "price": price, "kind": kind},
            **{"max_charge_a": 10, "max_pv_v": 50, "idle_ma": idle_ma, "pv_connector": "pv-latch:socket"},
            **{"battery_connector": "genderless-30", "chemistries": chemistries, "rf": rf},
        }
        for kind, mass_g, price, idle_ma, chemistries, rf in (
            ("pwm", 140, 20, 10, "lifepo4 agm", "quiet"),
            ("mppt", 260, 80, 20, "lifepo4", "unknown"),
        )
    ],
    "leads": [
        {
            **{"id": "pv-5m", "name": "panel lead", "count": 2, "mass_g": 350, "price": 20, "from": "pv-latch:socket"},
            **{"to": "pv-latch:plug", "length_m": 5, "awg": 14, "max_a": 15},
        },
        {
            **{"id": "fused-1", "name": "fused battery lead", "count": 3, "mass_g": 60, "price": 9},
            **{"from": "genderless-30", "to": "genderless-30", "length_m": 0.3, "awg": 12, "fuse_at_m": 0.1},
            **{"fuse_holder": "blade", "fuse_max_a": 20, "max_a": 20},
        },
        {
            **{"id": "strip-6", "name": "distribution strip", "mass_g": 210, "price": 30, "from": "genderless-30"},
            **{"to": "genderless-30", "length_m": 0.2, "awg": 12, "ways": 6, "max_a": 30},
        },
        {
            **{"id": "usb-lead", "name": "USB lead", "mass_g": 28, "price": 6, "from": "usb-a:plug"},
            **{"to": "usb-c:plug", "length_m": 1, "awg": 22, "max_a": 3},
        },
    ],
    "converters": [
        {
            **{"id": "usb-5v", "name": "USB supply", "mass_g": 45, "price": 16, "from": "genderless-30"},
            **{"to": "usb-a:socket", "out_v": 5, "max_w": 30, "efficiency": "90 %", "idle_ma": 10, "ports": 2},
        }
    ],
    "loads": [
        {
            **{"id": "hf-20w", "name": "transceiver 20 W", "mass_g": "1.1 kg", "idle_a": 0.5, "full_a": 4.5},
            **{"supply_v": 13.8, "lowest_v": 11.7, "highest_v": 15.8, "connector": "genderless-30", "own_lead": "yes"},
        },
        {
            **{"id": "light", "name": "area light", "mass_g": 180, "idle_w": 0, "full_w": 3, "supply_v": 12},
            **{"connector": "genderless-30"},
        },
        {
            **{"id": "phone", "name": "phone", "mass_g": 190, "idle_w": 1, "full_w": 12, "supply_v": 5},
            **{"connector": "usb-c:socket"},
        },
    ],
    "extras": [
        {"id": "pegs", "name": "pegs and cord for the panel", "mass_g": 150},
        {"id": "fuses", "name": "spare fuses", "mass_g": 30},
    ],
}


def inventory_files() -> dict[str, str]:
    """Return each file's name and text."""
    files = {kind.file: _INVENTED + explained_csv(kind.model, _ROWS[kind.stem]) for kind in KINDS}
    others = "".join(
        f"# {model.KIND}.csv, where there is one, {what}: {', '.join(columns_of(model))}.\n"
        for model, what in ((FuseRow, "lists the fuses that you own"), (ContactRow, "replaces what is usual of ends"))
    )
    files["leads.csv"] = others + files["leads.csv"]
    return {**files, "inventory.toml": explained(SettingsTable, {"currency": '"EUR"'})}


def explained_csv(model: type[Table], rows: list[dict[str, object]]) -> str:
    """Return rows below a header of every column, below a comment of a line on each.

    Parameters
    ----------
    rows : list of dict
        What stands in each column that is not blank.
    """
    columns = columns_of(model)
    needed = ", ".join(name for name, column in columns.items() if column.is_required)
    text = io.StringIO()
    text.write(f"# Needed in every row: {needed}.\n")
    text.writelines(f"# {name}: {help_of(column)}\n" for name, column in columns.items())
    writer = csv.DictWriter(text, list(columns), lineterminator="\n")
    writer.writeheader()
    writer.writerows(rows)
    return text.getvalue()


def help_of(column: Column) -> str:
    """Return what is said of a column in one line: what it is, its words, and what is assumed without it."""
    text = column.told.help
    if isinstance(column.field, OneOf):
        text += f": {', '.join(column.field.choices)}"
    blank = column.blank
    if isinstance(blank, Unless):
        return f"{text}. Blank: {blank.told}."
    if isinstance(blank, Blank):
        return f"{text}. Blank: {blank.shown or shown(blank.value)}, {blank.rule}."
    if column.is_required or column.default in (None, "", ()):
        return f"{text}."
    return f"{text}. Blank: {shown(column.default)}."
