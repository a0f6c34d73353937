"""Rows along one direction: they hold at every kit that the oracle passes.

Small inventories are solved before the search asks for such rows, so they are asked for here.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from numpy.typing import NDArray
from oracle import World, answer, kits_in_order
from oracle.compare import column_counts, is_judged_by
from oracle.instances import numbered
from oracle.search import legal_banks

from kitopt.engine import search
from kitopt.engine.learned import CaseMemory
from kitopt.engine.quantile import WindowFloor, quantile_row
from kitopt.engine.solver import Program, Relaxation
from kitopt.pack import Solved, pack


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


def test_columns_left_aside_at_first_change_nothing_even_then(monkeypatch: pytest.MonkeyPatch) -> None:
    # a row is learned over all columns, those left aside among them: it must hold when they are brought in
    monkeypatch.setattr(search, "_HARD_NODES", -1)
    bounded = search.quantile_row
    spare_column = 0
    n_rows = 0

    def watched(memory: CaseMemory, floors: WindowFloor, relaxation: Relaxation, counts: NDArray[np.float64]) -> bool:
        nonlocal n_rows
        n_rows += 1
        relaxation.aim([(spare_column, -1.0)])
        least, _ = relaxation.least()
        assert least < -0.01, "the rows would not hold with the spare column"
        return bounded(memory, floors, relaxation, counts)

    rng = random.Random(8)
    for number in range(100):
        instance = numbered(number)
        if instance.operation.need.confidence == 1:
            continue
        for solved in pack(instance.operation, instance.inventory, instance.sky).solved:
            whole = solved.outcome
            if whole.counts is None:
                continue
            spare_column = rng.choice(np.flatnonzero(whole.counts > 0.5).tolist())
            spare = np.arange(solved.plan.n_columns) == spare_column
            with monkeypatch.context() as patch:
                patch.setattr(search, "quantile_row", watched)
                narrowed = search.choose(replace(solved.plan, is_spare=spare))
            assert narrowed.status == "found", number
            assert narrowed.objective == search.choose(solved.plan).objective, number
    assert n_rows > 20
