"""Rows along one direction: they hold at every kit that the oracle passes.

Small inventories are solved before the search asks for such rows, so they are asked for here.
"""

from __future__ import annotations

import random

import numpy as np
import pytest
from oracle import World, answer, kits_in_order
from oracle.compare import column_counts, is_judged_by
from oracle.instances import numbered
from oracle.search import legal_banks

from kitopt.choice import Solved, pack
from kitopt.engine import search
from kitopt.engine.learned import CaseMemory
from kitopt.engine.quantile import WindowFloor, quantile_row
from kitopt.engine.solver import Program, Relaxation


def relaxation_of(solved: Solved) -> Relaxation:
    program = Program()
    for low, high in zip(solved.plan.lower.tolist(), solved.plan.upper.tolist(), strict=True):
        program.add_column(low, high, integer=False)
    for row in solved.plan.rows:
        program.add_row(row.terms, row.lower, row.upper)
    return Relaxation(program)


def test_rows_that_need_no_binaries_hold_at_every_working_kit() -> None:
    rng = random.Random(5)
    n_rows = n_checks = 0
    for number in range(70):
        instance = numbered(number)
        if instance.operation.need.confidence == 1:
            continue
        choice = pack(instance.operation, instance.inventory, instance.sky)
        world = World(instance.operation, instance.inventory, instance.sky)
        for solved in choice.solved:
            memory = CaseMemory(solved.plan.cases[0])
            floors, relaxation = WindowFloor(solved.plan.cases[0]), relaxation_of(solved)
            for _ in range(4):
                part = rng.choice([0.2, 0.5, 0.8])
                counts = np.array([part * rng.random() * u for u in solved.plan.upper])
                quantile_row(memory, floors, relaxation, counts)
            n_rows += len(memory.free_rows)
            if not memory.free_rows:
                continue
            for kit in kits_in_order(world):
                for bank in legal_banks(world, kit):
                    if not is_judged_by(solved, bank) or not bank.passes():
                        continue
                    whole = column_counts(solved, bank.batteries, bank.plugged)
                    if whole is None:
                        continue
                    plant = memory.case.matrix @ whole
                    for row in memory.free_rows:
                        n_checks += 1
                        assert row.v @ plant >= row.least - 1e-7, (number, kit.counts)
    assert n_rows > 20
    assert n_checks > 500


def test_the_choice_is_the_same_when_such_rows_are_asked_for_at_once(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(search, "_HARD_NODES", -1)
    n_rows = 0
    for number in range(60):
        instance = numbered(number)
        if instance.operation.need.confidence == 1:
            continue
        choice = pack(instance.operation, instance.inventory, instance.sky)
        right = answer(World(instance.operation, instance.inventory, instance.sky))
        assert choice.status == ("found" if right.kits else "no-kit"), number
        assert choice.proof.objective == right.first, number
        n_rows += sum(not r.is_pure for s in choice.solved for m in s.outcome.memories for r in m.free_rows)
    assert n_rows > 0
