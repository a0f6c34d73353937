"""Why nothing fits together, whatever the weather: the fewest pieces more with which something would."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kitopt.choice.found import Solved
from kitopt.engine.plan import Plan
from kitopt.engine.solver import Program, solve
from kitopt.model.kit import Block

_MOST_MORE = 3.0
_SHORT = ("stock", "strip", "panel-input")
"""Rows of which a shortage can be told: pieces owned, and room at strips."""


def shortages(tried: Sequence[Solved]) -> tuple[Block, ...]:
    """What is short where no counts obey the rules, whatever the weather.

    Each row of stock and of room at strips may be exceeded, at a price; the fewest pieces by which
    something fits together are told, for the first class of batteries for which that helps.
    """
    for solved in tried:
        found = _shortages(solved)
        if found:
            return tuple(found)
    return ()


def _shortages(solved: Solved) -> list[Block]:
    plan, program = solved.plan, Program()
    for j in range(plan.n_columns):
        is_integer = plan.is_integer is None or bool(plan.is_integer[j])
        upper = float(plan.upper[j])
        program.add_column(float(plan.lower[j]), upper, integer=is_integer, cost=0.0)
    slack: dict[int, int] = {}
    for n, row in enumerate(plan.rows):
        terms = list(row.terms)
        if row.rule in _SHORT and math.isfinite(row.upper):
            slack[n] = program.add_column(0.0, _MOST_MORE, integer=True, cost=1.0)
            terms.append((slack[n], -1.0))
        program.add_row(terms, row.lower, row.upper)
    _some_battery(program, plan, solved)
    answer = solve(program)
    if answer.values is None:
        return []
    found = []
    for n, j in slack.items():
        more = round(float(answer.values[j]))
        if more > 0:
            row = plan.rows[n]
            what = f"{more} more would do" if row.rule == "stock" else f"room for {more} more would do"
            found.append(Block((), "no-lead" if row.rule == "stock" else row.rule, f"{row.text}; {what}"))
    return found


def _some_battery(program: Program, plan: Plan, solved: Solved) -> None:
    """Without a battery nothing runs."""
    program.add_row([(j, 1.0) for j in solved.model.battery_columns if plan.upper[j] > 0], lower=1.0)
