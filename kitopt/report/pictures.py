"""Charge over time in letters: ten lines where somebody sits before a terminal, two where the answer is piped.

Letters are drawn by hand: what a plotting library would put round them is more than the picture.
"""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.facts.charge import ChargeOverTime, charge_over_time
from kitopt.operation.clock import moment_after
from kitopt.operation.terms import circuit_name
from kitopt.report.letters import drawn, spark
from kitopt.report.lists import fact
from kitopt.report.words import moment, width

_ROWS = 7
_LABEL = 9


def charge_picture(choice: Choice) -> list[str]:
    """Charge over time of a kit that is measured, circuit by circuit; nothing without one."""
    if choice.circuits:
        return [line for name, part in choice.circuits for line in _picture(part, circuit_name(name))]
    return _picture(choice.hardest, choice.hardest.operation.bank_name)


def _picture(choice: Choice, whose: str) -> list[str]:
    if choice.made is None or choice.lowest is None:
        return []
    charge, of_it = charge_over_time(choice), f", {whose}" if whose else ""
    return _large(choice, charge, of_it) if drawn()[1] else _small(charge, of_it)


def _small(charge: ChargeOverTime, of_it: str) -> list[str]:
    assert charge.hardest_ah is not None
    columns = min(len(charge.at_h), width() - 42)
    median, hardest = (_at(charge, row, columns) for row in (charge.quantiles_ah[2], charge.hardest_ah))
    top_ah = max(float(median.max()), float(hardest.max()))
    lines: list[str] = []
    told = [(median, f", median{of_it}"), (hardest, f", hardest{of_it}")]
    for row, name in told if np.any(charge.quantiles_ah[0] != charge.quantiles_ah[-1]) else [(hardest, of_it)]:
        picture = spark(row, 0.0, top_ah)
        # what is left is never told too high
        left_ah = int(10 * row[-1] + 1e-6) / 10
        lines += fact("Charge" if not lines else "", f"{row[0]:.1f} {picture} {left_ah:.1f} Ah{name}")
    return lines


def _at(charge: ChargeOverTime, row: Floats, columns: int) -> Floats:
    """Values at the middles of so many columns. [Ah]"""
    edges = np.linspace(charge.at_h[0], charge.at_h[-1], columns)
    return np.interp(edges, charge.at_h, row)


def _large(choice: Choice, charge: ChargeOverTime, of_it: str) -> list[str]:
    """The band of 9 spells in 10, the hardest survived and what is held back, over day and night."""
    assert charge.hardest_ah is not None
    letters = drawn()[0]
    columns = width() - _LABEL - 1
    low, high = _at(charge, charge.quantiles_ah[1], columns), _at(charge, charge.quantiles_ah[3], columns)
    hardest, held = _at(charge, charge.hardest_ah, columns), _at(charge, charge.held_ah, columns)
    top_ah = max(float(high.max()), float(hardest.max()), float(held.max()), 0.1)

    def row_of(ah: float) -> int:
        return _ROWS - 1 - min(int(ah / top_ah * _ROWS), _ROWS - 1)

    cells = [[" "] * columns for _ in range(_ROWS)]
    for x in range(columns):
        for y in range(row_of(high[x]), row_of(low[x]) + 1):
            cells[y][x] = letters.band
        cells[row_of(held[x])][x] = letters.held
        cells[row_of(hardest[x])][x] = letters.hardest
    labels = {0: f"{top_ah:.1f} Ah", _ROWS - 1: "0 Ah"}
    lines = [f"{labels.get(y, ''):>{_LABEL}}|{''.join(row)}".rstrip() for y, row in enumerate(cells)]
    at_h = np.linspace(charge.at_h[0], charge.at_h[-1], columns)
    is_night = [any(before <= at < after for before, after in charge.nights_h) for at in at_h]
    lines.append(f"{'':{_LABEL}}+{''.join(letters.night if one else letters.day for one in is_night)}")
    first, last = (moment(moment_after(choice.operation, timedelta(hours=float(h)))) for h in (at_h[0], at_h[-1]))
    lines.append(f"{'':{_LABEL}} {first}{last:>{columns - len(first)}}")
    key = f"{letters.hardest} hardest survived  {letters.band} 9 in 10 spells  {letters.held} held back  "
    return [*lines, *fact("Charge", f"{key}{letters.night} night{of_it}")]
