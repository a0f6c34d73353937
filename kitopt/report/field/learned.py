"""``kitopt learned`` as text and JSON."""

from __future__ import annotations

from collections.abc import Sequence
from typing import Any

from kitopt.files.plain import cut
from kitopt.inventory import measured
from kitopt.inventory.items import Inventory, Measured
from kitopt.inventory.learned import Worth
from kitopt.report.field.measured import measured_value
from kitopt.report.field.wording import lines, percent
from kitopt.report.lists import counted

SCHEMA = "kitopt/learned-1"


def learned_text(worths: Sequence[Worth], inventory: Inventory, meter_spread: float) -> str:
    """Each panel's worth with its 90 % interval, and what to write into its file."""
    n = len(inventory.readings)
    others = [line for one in inventory.measured for line in _other(one)]
    if others and not n:
        return "\n".join(["What was read of batteries and leads", *others]) + "\n"
    if not n:
        text = "No reading is kept yet: kitopt reading PANEL --amps A --keep --inventory DIR adds one to readings.csv."
        return "\n".join(lines(text)) + "\n"
    days = len({one.at.date() for one in inventory.readings})
    rows = [f"What {counted(n, 'reading')} of {counted(days, 'day')} say of each panel's worth"]
    rows.append(f"{'panel':20}{'declared':>12}{'learned':>10}{'9 in 10 within':>17}{'readings':>11}")
    for one in worths:
        declared = f"{one.declared:.2f}{' guess' if one.is_assumed else ''}"
        within = f"{one.low:.2f} to {one.high:.2f}"
        rows.append(f"{cut(one.panel, 19):20}{declared:>12}{one.middle:>10.2f}{within:>17}{one.n_readings:>11}")
    if meter_spread != inventory.meter_spread:
        text = (
            f"Plans count with a meter that is off by {percent(inventory.meter_spread)}; so that they count with this:"
        )
        rows += lines(f'{text} meter = "{100 * meter_spread:g} %" in inventory.toml.')
    elif any(one.is_planned_with for one in worths):
        rows += lines("Plans count with what is learned, and with how sure it is.")
    told = [one.panel for one in worths if not one.is_planned_with]
    if told:
        rows += lines(f"Nothing was read of these, so what you wrote of them stands: {', '.join(told)}.")
    few = [one.panel for one in worths if 0 < one.n_days < 3]
    if few:
        rows += lines(f"Of fewer than three days, so the day's sun counts as much as the panel: {', '.join(few)}.")
    return "\n".join([*rows, *(["", "Of batteries and leads", *others] if others else [])]) + "\n"


def _other(one: Measured) -> list[str]:
    """A battery or lead in a line."""
    said = measured.said(one)
    return lines(f"{one.item} {said.column} {said.value}: {said.rule}")


def learned_value(worths: Sequence[Worth], inventory: Inventory) -> dict[str, Any]:
    """The same as JSON."""
    return {
        "schema": SCHEMA,
        "status": "found",
        "readings": len(inventory.readings),
        "panels": [
            {
                "panel": one.panel,
                "declared": one.declared,
                "is_assumed": one.is_assumed,
                "worth": round(one.middle, 4),
                "ninety_percent": [round(one.low, 4), round(one.high, 4)],
                "readings": one.n_readings,
                "days": one.n_days,
            }
            for one in worths
        ],
        "batteries": [measured_value(one) for one in inventory.measured if one.kind == "battery"],
        "leads": [measured_value(one) for one in inventory.measured if one.kind == "lead"],
    }
