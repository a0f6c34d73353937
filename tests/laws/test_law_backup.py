"""A kit with backups is the best that works whole and after the loss of any one unit."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from oracle.compare import assert_agrees, bank_of, counts_of
from oracle.losses import Losses, backed_up, with_spares
from oracle.nices import served_answer
from oracle.wired_instances import wired

from kitopt.choice import pack


def test_backups_agree_with_trying_every_kit_and_every_loss(backup_numbers: range) -> None:
    for number in backup_numbers:
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
            # with any backed-up unit removed, what must run is still up
            whole = bank_of(served.world, choice.packed, choice.joins)
            assert Losses(served.world, replace(instance, operation=served.world.operation)).are_outlived(whole), number
            for loss in choice.losses:
                assert loss.survived >= served.world.n_needed, number


def test_sides_and_cuts_alone_agree_where_leads_may_be_lost_too(backup_numbers: range) -> None:
    # what a side is said to need of each loss rules out no kit that cuts, which ask the judge alone, find
    kinds = ("battery", "controller", "panel", "lead")
    seen = {"found": 0, "no-kit": 0}
    # the last: a joiner at a controller's input, without which the controller cannot be lost
    for number in (*backup_numbers, 597):
        instance = wired(number)
        backup = tuple(random.Random(number).sample(kinds, 1 + number % 4))
        outing = replace(instance.operation, need=replace(instance.operation.need, backup=backup), mass_limit_g=None)
        stock = with_spares(instance.inventory, kinds)
        choice = pack(outing, stock, instance.sky)
        with pytest.MonkeyPatch.context() as patched:
            patched.setattr("kitopt.engine.by_sides.can_hold", lambda case: False)
            by_cuts = pack(outing, stock, instance.sky)
        assert (choice.status, choice.proof.objective) == (by_cuts.status, by_cuts.proof.objective), number
        assert choice.proof.proved, number
        assert by_cuts.proof.proved, number
        seen[choice.status] += 1
    assert min(seen.values()) >= len(backup_numbers) // 10


def test_kits_are_the_same_where_capacities_are_too_many_to_be_told(
    backup_numbers: range, monkeypatch: pytest.MonkeyPatch
) -> None:
    instances = [backed_up(number) for number in backup_numbers]
    right = [pack(one.operation, one.inventory, one.sky) for one in instances]
    for place in ("banks", "losses"):
        monkeypatch.setattr(f"kitopt.engine.{place}.MOST_SUMS", 0)
    for number, one, choice in zip(backup_numbers, instances, right, strict=True):
        told = pack(one.operation, one.inventory, one.sky)
        assert (told.status, told.proof, told.packed) == (choice.status, choice.proof, choice.packed), number


def test_the_instances_make_backups_matter() -> None:
    # else the agreement would say nothing about losses
    seen = {"found": 0, "no kit": 0, "dearer": 0, "several of a type": 0}
    for number in range(40):
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
        if all(n >= 4 for n in seen.values()):
            return
    pytest.fail(str(seen))
