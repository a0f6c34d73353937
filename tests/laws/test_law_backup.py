"""A kit with backups is the best that works whole and after the loss of any one unit."""

from __future__ import annotations

from dataclasses import replace

import pytest
from oracle.compare import assert_agrees, bank_of, counts_of
from oracle.losses import Losses, backed_up
from oracle.nices import served_answer

from kitopt.choice import pack

N_LOOPS, N_INSTANCES = 60, 200


def pytest_generate_tests(metafunc: pytest.Metafunc) -> None:
    if "chunk" in metafunc.fixturenames:
        chunks = [range(first, first + 20) for first in range(0, N_INSTANCES, 20)]
        metafunc.parametrize("chunk", chunks, ids=lambda c: str(c[0]))


def test_backups_agree_with_trying_every_kit_and_every_loss(chunk: range) -> None:
    for number in chunk:
        instance = backed_up(number)
        served = served_answer(instance)
        right = served.right
        choice = pack(instance.operation, instance.inventory, instance.sky)
        assert choice.status == ("found" if right.kits else "no-kit"), number
        assert choice.proof.proved, number
        if right.kits:
            assert choice.proof.objective == right.first, number
            assert_agrees(choice, served.world)
            assert counts_of(choice.packed) in [kit.counts for kit in right.kits], number


def test_removing_any_backed_up_unit_keeps_what_must_run_up(chunk: range) -> None:
    for number in chunk:
        instance = backed_up(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        if choice.status != "found":
            continue
        world = served_answer(instance).world
        whole = bank_of(world, choice.packed, choice.joins)
        assert Losses(world, replace(instance, operation=world.operation)).are_outlived(whole), number
        for loss in choice.losses:
            assert loss.survived >= world.n_needed, number


def test_the_instances_make_backups_matter() -> None:
    # else the agreement would say nothing about losses
    seen = {"found": 0, "no kit": 0, "dearer": 0, "several of a type": 0}
    for number in range(N_LOOPS):
        instance = backed_up(number)
        # without the nice load, which a kit with backups might leave out and be lighter
        outing = instance.operation.running()
        choice = pack(outing, instance.inventory, instance.sky)
        need = replace(outing.need, backup=())
        plain = pack(replace(outing, need=need), instance.inventory, instance.sky)
        seen["found"] += choice.status == "found"
        seen["no kit"] += choice.status == "no-kit" and plain.status == "found"
        if choice.status == "found":
            assert choice.proof.objective is not None
            assert plain.proof.objective is not None
            assert choice.proof.objective >= plain.proof.objective
            seen["dearer"] += choice.proof.objective > plain.proof.objective
            seen["several of a type"] += any(p.count > 1 for p in choice.packed if p.kind in ("battery", "panel"))
    assert all(n >= 4 for n in seen.values()), seen
