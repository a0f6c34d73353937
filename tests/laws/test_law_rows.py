"""No learned row may cut off a kit that works.

Which kits work is the oracle's word, from plain loops. Rows come from whole choices, so they are
those that decide answers.
"""

from __future__ import annotations

import pytest
from oracle import World, kits_in_order
from oracle.compare import column_counts, is_judged_by
from oracle.instances import numbered
from oracle.search import legal_banks

from kitopt.choice import pack


@pytest.mark.parametrize("first", range(0, 120, 30))
def test_a_cut_never_removes_a_working_kit(first: int, monkeypatch: pytest.MonkeyPatch) -> None:
    # where the sides of a kit are listed, few rows are learned: here all that cuts alone would
    monkeypatch.setattr("kitopt.engine.by_sides.can_hold", lambda case: False)
    n_rows = n_kits = 0
    for number in range(first, first + 30):
        instance = numbered(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        world = World(instance.operation, instance.inventory, instance.sky)
        for kit in kits_in_order(world):
            for bank in legal_banks(world, kit):
                if not bank.passes():
                    continue
                for solved in choice.solved:
                    counts = column_counts(solved, bank.batteries, bank.plugged) if is_judged_by(solved, bank) else None
                    if counts is None:
                        continue
                    memory = solved.outcome.memories[0]
                    plant = memory.case.matrix @ counts
                    n_kits += 1
                    for row in memory.free_rows:
                        n_rows += 1
                        assert row.v @ plant >= row.least - 1e-7, (number, kit.counts)
                    for row in memory.window_rows:
                        n_rows += 1
                        survives = bank.margin_wh(row.window) >= -1e-5
                        assert not survives or row.v @ plant >= row.least - 1e-7, (number, kit.counts)
    assert n_kits > 100
    assert n_rows > 300
