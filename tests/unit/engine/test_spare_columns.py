"""Columns that others beat in all but stock: left aside at first, and found where they are needed."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from oracle.wired_instances import wired

from kitopt.engine import choose
from kitopt.inventory.items import Inventory
from kitopt.pack import pack

INSTANCES = 240


def with_heavier_copies(inventory: Inventory) -> Inventory:
    """One piece of every lead, and a heavier one that is needed only where the first is taken."""
    firsts = tuple(replace(lead, count=1) for lead in inventory.leads)
    copies = tuple(replace(lead, id=f"{lead.id}-heavy", count=2, mass_g=lead.mass_g + 15) for lead in inventory.leads)
    return replace(inventory, leads=firsts + copies)


def test_leaving_spare_columns_aside_changes_no_objective() -> None:
    # with every column from the start, and with nothing by which equal kits are told apart
    n_spare = n_needed = 0
    for number in range(INSTANCES):
        instance = wired(number)
        for solved in pack(instance.operation, with_heavier_copies(instance.inventory), instance.sky).solved:
            plan = replace(solved.plan, objectives=solved.plan.objectives[:1], tie_break=())
            assert plan.is_spare is not None
            if not np.any(plan.is_spare):
                continue
            n_spare += 1
            whole = choose(replace(plan, is_spare=None))
            narrow = choose(plan)
            assert (narrow.status, narrow.objective) == (whole.status, whole.objective), number
            without = choose(replace(plan, is_spare=None, upper=np.where(plan.is_spare, 0.0, plan.upper)))
            n_needed += without.objective != whole.objective
            if whole.counts is not None:
                # with a cutoff the search goes another way
                cutoff = whole.objective
                assert choose(plan, cutoff=cutoff).objective == cutoff, number
                assert choose(plan, cutoff=cutoff - 1).status == "no-kit", number
    assert n_spare > 100
    assert n_needed > 3


def test_rules_broken_by_whole_counts_are_those_that_adding_up_finds() -> None:
    rng = np.random.default_rng(3)
    n_broken = 0
    for number in range(40):
        instance = wired(number)
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            plan = solved.plan
            for _ in range(20):
                counts = np.floor(rng.random(plan.n_columns) ** 4 * (plan.upper + 1))
                expected = [
                    row
                    for row in plan.rows
                    if not row.lower - 1e-6 <= sum(c * float(counts[j]) for j, c in row.terms) <= row.upper + 1e-6
                ]
                assert plan.broken_rows(counts) == expected
                n_broken += len(expected)
    assert n_broken > 100
