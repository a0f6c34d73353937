"""Circuits of one operation: a window is survived when every one of them survives it."""

from __future__ import annotations

from collections import Counter
from dataclasses import replace

import numpy as np
from oracle.circuits import joint_answer, wired_kits, wired_with_circuits, with_circuits
from oracle.compare import counts_of

from kitopt.ask import Asker, at_most
from kitopt.choice import pack
from kitopt.engine import joint
from kitopt.engine.joint import Joint
from kitopt.engine.judge import simulate
from kitopt.operation.terms import Bound

N_LAWS = 40


def test_circuits_agree_with_trying_every_pair_of_kits(circuit_numbers: range) -> None:
    for number in circuit_numbers:
        instance = with_circuits(number)
        right = joint_answer(instance)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        assert choice.status == ("no-kit" if right is None else "found"), number
        assert choice.proof.proved, number
        if right is None:
            continue
        (first,), kits = right
        assert choice.proof.objective == choice.proof.bound == first, number
        assert counts_of(choice.packed) in kits, number
        assert choice.survival is not None
        assert choice.survival.survived >= choice.survival.needed, number
        # each circuit's own pieces and loads, and the extras, are all that is packed
        total: Counter[str] = Counter()
        for part in choice.parts:
            total.update({p.id: p.count for p in part.packed})
        assert total == {p.id: p.count for p in choice.packed if p.kind != "extra"}, number


def test_wired_circuits_agree_with_trying_every_pair_of_wired_kits(wired_circuit_numbers: range) -> None:
    for number in wired_circuit_numbers:
        instance = wired_with_circuits(number)
        right = joint_answer(instance, wired_kits)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        assert choice.status == ("no-kit" if right is None else "found"), number
        assert choice.proof.proved, number
        if right is None:
            continue
        (first,), kits = right
        assert choice.proof.objective == choice.proof.bound == first, number
        assert tuple(sorted((p.id, p.count) for p in choice.packed if p.kind not in ("load", "extra"))) in kits, number


def test_a_window_is_survived_when_each_circuit_survives_it() -> None:
    n_apart = 0
    for number in range(N_LAWS):
        instance = with_circuits(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        made = [part.made for part in choice.parts if part.made is not None and choice.packed]
        if not made:
            continue
        each = [simulate(one.cases[0].conditions, one.cases[0].plant(one.counts)).survives for one in made]
        assert choice.survival is not None
        assert choice.survival.survived == np.count_nonzero(each[0] & each[1]), number
        n_apart += bool(np.any(each[0] != each[1]))
    # else it would not matter that it is asked of both at once
    assert n_apart >= 3


def test_the_smallest_margin_is_concave_and_its_cut_lies_above_it() -> None:
    rng = np.random.default_rng(3)
    for number in range(10):
        instance = with_circuits(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        cases = [part.made.cases[0] for part in choice.parts if part.made is not None]
        if len(cases) < 2:
            continue
        conditions = Joint(tuple(case.conditions for case in cases))
        size = sum(case.conditions.layout.size for case in cases)
        scale = np.concatenate([np.max(np.abs(case.matrix.some_rows(slice(None))), axis=1) for case in cases])
        windows = np.arange(conditions.n_windows)
        one, other = (rng.uniform(0.0, 2.0, size) * scale for _ in range(2))
        at_one, at_other = joint.simulate(conditions, one), joint.simulate(conditions, other)
        between = joint.simulate(conditions, 0.5 * (one + other)).margin_wh
        assert np.all(between >= 0.5 * (at_one.margin_wh + at_other.margin_wh) - 1e-6), number
        found = joint.cuts(conditions, one, at_one.lowest_step, windows)
        assert np.allclose(found.slope @ one + found.constant, at_one.margin_wh, atol=1e-6), number
        assert np.all(found.slope @ other + found.constant >= at_other.margin_wh - 1e-6), number


def test_without_a_piece_the_best_is_what_is_chosen_with_that_piece_forbidden() -> None:
    n_compared = 0
    for number in (1, 5):
        instance = with_circuits(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        pieces = [one for one in choice.packed if one.kind in ("battery", "panel")]
        for one in pieces[:1] if choice.status == "found" else ():
            after = Asker(choice).ask(at_most(one.id, one.count - 1))
            bounds = (Bound(one.id, most=one.count - 1),)
            right = pack(replace(instance.operation, bounds=bounds), instance.inventory, instance.sky)
            assert after.proof.proved, number
            assert (after.status, after.proof.objective) == (right.status, right.proof.objective), (number, one.id)
            n_compared += 1
    assert n_compared == 2


def test_one_circuit_is_never_heavier_than_two() -> None:
    # what two circuits carry apart, one carries with both batteries, where they are alike
    for number in range(N_LAWS):
        instance = with_circuits(number)
        alike = tuple(b for b in instance.inventory.batteries if b.id == "b9")
        inventory = replace(
            instance.inventory,
            batteries=tuple(replace(b, count=4, max_discharge_a=99.0, max_charge_a=99.0) for b in alike),
            panels=(),
        )
        one = tuple(replace(use, circuit="") for use in instance.operation.loads)
        operation = replace(instance.operation, mass_limit_g=None, least="mass")
        apart = pack(operation, inventory, instance.sky)
        together = pack(replace(operation, loads=one), inventory, instance.sky)
        if apart.status == "found":
            assert together.mass_g <= apart.mass_g, number
