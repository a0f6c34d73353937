"""Nice loads: the first of the file before the second, then the least kit, and none in the place of one before it."""

from __future__ import annotations

import itertools
from collections import Counter
from dataclasses import replace
from datetime import timedelta

import pytest
from oracle.compare import assert_agrees, counts_of
from oracle.instances import CONFIDENCES, Instance
from oracle.nices import served_answer, wired_served_answer, wired_with_nices, with_nices

from kitopt.budget import Allowance, Budget
from kitopt.choice import Choice, pack
from kitopt.choice.sharing import share
from kitopt.operation.plans import Outing, Programme
from kitopt.operation.terms import Operation


def packed(instance: Instance, **changes: object) -> Choice:
    return pack(replace(instance.operation, **changes), instance.inventory, instance.sky)  # type: ignore[arg-type]


def served(choice: Choice) -> tuple[str, ...]:
    return tuple(nice.id for nice in choice.nices if nice.runs)


def test_the_loads_that_run_agree_with_trying_every_set_of_them(nice_numbers: range) -> None:
    for number in nice_numbers:
        instance = with_nices(number)
        right = served_answer(instance)
        choice = packed(instance)
        assert choice.status == ("found" if right.right.kits else "no-kit"), number
        assert choice.proof.proved, number
        assert tuple(nice.id for nice in choice.nices) == instance.operation.nices, number
        assert all(nice.runs is not None for nice in choice.nices), number
        assert served(choice) == right.ids, number
        if right.right.kits:
            assert choice.proof.objective == choice.proof.bound == right.right.first, number
            assert_agrees(choice, right.world)
            assert counts_of(choice.packed) in [kit.counts for kit in right.right.kits], number
            # what does not run stays at home
            assert {p.id for p in choice.packed if p.kind == "load"} == {use.id for use in right.world.operation.loads}


def test_the_loads_that_run_agree_with_trying_every_set_and_every_lead(wired_nice_numbers: range) -> None:
    for number in wired_nice_numbers:
        instance = wired_with_nices(number)
        right = wired_served_answer(instance)
        choice = packed(instance)
        assert choice.status == ("found" if right.right.kits else "no-kit"), number
        assert choice.proof.proved, number
        assert served(choice) == right.ids, number
        if right.right.kits:
            assert choice.proof.objective == choice.proof.bound == right.right.first, number
            with_leads = tuple(sorted((p.id, p.count) for p in choice.packed if p.kind not in ("load", "extra")))
            assert with_leads in [kit.counts for kit in right.right.kits], number


def test_the_instances_make_the_order_matter() -> None:
    # else the agreement might be about instances in which all run or none
    seen: Counter[str] = Counter()
    for number in range(60):
        choice = packed(with_nices(number))
        runs = [bool(nice.runs) for nice in choice.nices]
        seen["all"] += all(runs)
        seen["none"] += choice.status == "found" and not any(runs)
        seen["a later one but not the first"] += any(runs) and not runs[0]
        seen["no kit"] += choice.status == "no-kit"
        if all(seen[what] >= 3 for what in ("all", "none", "a later one but not the first", "no kit")):
            return
    pytest.fail(str(seen))


def is_no_better(harder: Choice, easier: Choice, order: tuple[str, ...]) -> bool:
    """Whether what is harder runs no more in that order and, running the same, is no lighter."""
    if harder.status == "no-kit":
        return True
    if easier.status == "no-kit":
        return False
    more, less = ([one in served(choice) for one in order] for choice in (easier, harder))
    assert easier.proof.objective is not None
    assert harder.proof.objective is not None
    return more > less or (more == less and easier.proof.objective <= harder.proof.objective)


def _unbounded(number: int) -> Instance:
    """With no bound on what they may add: it is above the kit of the musts, which grows with hours and confidence."""
    instance = with_nices(number)
    return replace(instance, operation=replace(instance.operation, nice_at_most_g=None))


def test_longer_is_never_better(nice_law_numbers: range) -> None:
    for number in nice_law_numbers:
        instance = _unbounded(number)
        long, sky = instance.operation, instance.sky
        n_steps = long.n_steps - 1 - number % 8
        cut = {
            name: {way: a[:, :n_steps] for way, a in getattr(sky, name).items()}
            for name in ("poa_wm2", "useful_wm2", "panel_degc")
        }
        short_sky = replace(sky, **cut, air_degc=sky.air_degc[:, :n_steps], battery_degc=sky.battery_degc[:, :n_steps])
        short = pack(replace(long, hours=n_steps * long.need.step_h), instance.inventory, short_sky)
        assert is_no_better(packed(instance), short, long.nices), number


def test_surer_is_never_better(nice_law_numbers: range) -> None:
    for number in nice_law_numbers:
        instance = _unbounded(number)
        need = instance.operation.need
        choices = [packed(instance, need=replace(need, confidence=q)) for q in CONFIDENCES]
        for easier, harder in itertools.pairwise(choices):
            assert is_no_better(harder, easier, instance.operation.nices), number


def test_a_nice_load_more_at_the_end_displaces_none(nice_law_numbers: range) -> None:
    for number in nice_law_numbers:
        instance = with_nices(number)
        last = instance.operation.nices[-1]
        fewer = tuple(use for use in instance.operation.loads if use.id != last)
        before = served(packed(instance, loads=fewer))
        assert served(packed(instance))[: len(before)] == before, number


def test_what_must_run_is_never_lost_to_what_is_nice(nice_law_numbers: range) -> None:
    for number in nice_law_numbers:
        instance = with_nices(number)
        musts = packed(instance, loads=instance.operation.running().loads)
        assert packed(instance).status == musts.status, number


def test_there_is_no_proof_while_a_nice_load_is_open(nice_law_numbers: range) -> None:
    # a search that is stopped early may know that a kit runs what must run, and no more
    n_open = 0
    for number in nice_law_numbers:
        instance = with_nices(number)
        for most in range(1, 16):
            allowed = Allowance(most)
            choice = pack(instance.operation, instance.inventory, instance.sky, budget=Budget(allowed=allowed))
            is_open = any(nice.runs is None for nice in choice.nices)
            n_open += is_open and bool(choice.packed)
            assert not (is_open and choice.proof.proved), (number, most)
            assert not (is_open and choice.status != "time-limit"), (number, most)
            if allowed.left > 0:
                # nothing asked for more: the next would be the same search, step by step
                break
    assert n_open >= 3


def test_sharing_counts_musts_only() -> None:
    def shared(instance: Instance, operation: Operation) -> tuple[object, ...]:
        later = replace(operation, start=operation.start + timedelta(days=9))
        programme = Programme("invented.toml", "invented", (Outing(operation), Outing(later)))
        found = share(programme, instance.inventory, lambda _: instance.sky)
        return found.status, found.proof, [sheet.choice and sheet.choice.packed for sheet in found.sheets]

    for number in range(8):
        instance = with_nices(number)
        assert shared(instance, instance.operation) == shared(instance, instance.operation.running()), number
