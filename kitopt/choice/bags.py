"""What goes into which bag."""

from __future__ import annotations

import math
from collections.abc import Sequence

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.terms import Packed
from kitopt.engine.solver import Program, solve
from kitopt.inventory.items import Inventory
from kitopt.operation.plans import Bag

_SECONDS = 20.0


def fill_bags(
    packed: Sequence[Packed], inventory: Inventory, bags: Sequence[Bag], budget: Budget = UNLIMITED
) -> tuple[tuple[Packed, ...], ...] | None:
    """Share a kit out over bags so that none is too heavy, and few are used.

    Returns
    -------
    tuple of tuple of Packed, or None
        One a bag; empty when the pieces do not go into the bags, None when that was not known in time.
    """
    program = Program()
    used = [program.add_column(0, 1, integer=True, cost=1.0) for _ in bags]
    inside: dict[tuple[int, int], int] = {}
    for i, one in enumerate(packed):
        for b in range(len(bags)):
            inside[i, b] = program.add_column(0, one.count, integer=True)
        program.add_row([(inside[i, b], 1.0) for b in range(len(bags))], one.count, one.count)
    for b, bag in enumerate(bags):
        grams = [(inside[i, b], float(inventory.by_id[one.id].mass_g)) for i, one in enumerate(packed)]
        program.add_row([*grams, (used[b], -float(bag.mass_g))], -math.inf, 0.0)
    for b in range(1, len(bags)):
        if bags[b].mass_g == bags[b - 1].mass_g:
            program.add_row([(used[b - 1], 1.0), (used[b], -1.0)], lower=0.0)
    if budget.is_over:
        return None
    answer = solve(program, seconds=budget.slice(_SECONDS).left_s, absolute_gap=0.999, is_hard=True)
    values = answer.values
    if values is None:
        return () if answer.status == "infeasible" else None
    return tuple(
        tuple(Packed(one.id, one.kind, n) for i, one in enumerate(packed) if (n := round(float(values[inside[i, b]]))))
        for b in range(len(bags))
    )
