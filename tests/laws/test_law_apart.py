"""Batteries that charge apart: two equal banks, one on the air while the other has the sun."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction
from functools import cache

import numpy as np
from oracle.apart import apart_answer, banks_of, margins_wh, with_banks
from oracle.compare import bank_of, counts_of
from oracle.instances import Instance, battery, load, operation, sky
from oracle.world import World

from kitopt.choice import Choice, pack
from kitopt.engine import joint, judge
from kitopt.inventory.items import Inventory
from kitopt.model.case import case_under
from kitopt.operation.terms import LoadUse

N_LAWS = 10


@cache
def packed(number: int) -> tuple[Instance, Choice]:
    """An instance and its kit, made once."""
    instance = with_banks(number)
    return instance, pack(instance.operation, instance.inventory, instance.sky)


def test_banks_agree_with_trying_every_kit(bank_numbers: range) -> None:
    for number in bank_numbers:
        instance, choice = packed(number)
        right = apart_answer(instance)
        assert choice.status == ("no-kit" if right is None else "found"), number
        assert choice.proof.proved, number
        if right is None:
            continue
        first, kits = right
        assert choice.proof.objective == choice.proof.bound == first, number
        assert counts_of(choice.packed) in kits, number
        # the kit fares as it says, window by window
        world = World(instance.operation, instance.inventory, instance.sky)
        plugged = bank_of(world, choice.packed, choice.joins)
        banks = banks_of(world, plugged.batteries, plugged.plugged)
        assert banks is not None, number
        assert choice.made is not None
        verdict = joint.simulate(*choice.made.base)
        assert np.allclose(verdict.margin_wh, margins_wh(banks), atol=1e-5), number
        assert choice.survival is not None
        assert choice.survival.survived == np.count_nonzero(verdict.survives), number
        for bank, by_hand in zip(choice.banks, banks, strict=True):
            assert bank.lowest is not None
            assert abs(bank.lowest.margin_wh - by_hand.margin_wh(bank.lowest.number)) < 1e-5, number


def test_two_banks_are_equal_and_their_margin_is_the_smaller_one() -> None:
    lower: set[int] = set()
    for number in range(N_LAWS):
        _, choice = packed(number)
        if choice.made is None:
            continue
        assert all(one.count % 2 == 0 for one in choice.packed if one.kind == "battery"), number
        each = [judge.simulate(*bank.made.base).margin_wh for bank in choice.banks if bank.made is not None]
        assert np.allclose(joint.simulate(*choice.made.base).margin_wh, np.min(each, axis=0), atol=1e-9), number
        lower.update(np.argmin(each, axis=0).tolist())
    # else it would not matter that both are asked
    assert lower == {0, 1}


def test_the_smaller_margin_is_concave_in_the_counts_and_its_cut_lies_above_it() -> None:
    rng = np.random.default_rng(4)
    n_looked_at = 0
    for number in range(N_LAWS):
        instance, choice = packed(number)
        if choice.made is None:
            continue
        model = choice.made.model
        case = case_under(model, instance.sky)
        one, other = (rng.uniform(0.0, 2.0, len(model.columns)) for _ in range(2))
        plants = [case.plant(counts) for counts in (one, other, 0.5 * (one + other))]
        at_one, at_other, between = (joint.simulate(case.conditions, plant) for plant in plants)
        assert np.all(between.margin_wh >= 0.5 * (at_one.margin_wh + at_other.margin_wh) - 1e-6), number
        found = joint.cuts(case.conditions, plants[0], at_one.lowest_step, np.arange(instance.sky.n_windows))
        assert np.allclose(found.slope @ plants[0] + found.constant, at_one.margin_wh, atol=1e-6), number
        assert np.all(found.slope @ plants[1] + found.constant >= at_other.margin_wh - 1e-6), number
        n_looked_at += 1
    assert n_looked_at >= 5


def test_one_store_is_never_heavier_than_two_banks() -> None:
    # one store takes the sun of all hours, and lends each part of itself to the others
    n_lighter = 0
    for number in range(N_LAWS):
        instance, apart = packed(number)
        if apart.status == "found":
            whole = replace(instance.operation, charge="together", swap=())
            together = pack(whole, instance.inventory, instance.sky)
            assert together.proof.objective is not None
            assert apart.proof.objective is not None
            assert together.proof.objective <= apart.proof.objective, number
            n_lighter += together.proof.objective < apart.proof.objective
    assert n_lighter >= 3


def test_without_sun_no_swap_is_better_than_one_in_the_middle_of_an_even_load() -> None:
    # at no other time do both banks give as much
    cells = battery("b1", 1.0, count=12, mass_g=100)
    stock = Inventory("invented", batteries=(cells,), loads=(load("lamp", idle_w=0.0, full_w=6.0, mass_g=0),))
    dark = sky([[0.0] * 12], step_h=1.0)
    uses = (LoadUse("lamp"),)

    def mass_g(swap: tuple[int, ...]) -> int:
        outing = operation(uses, 12.0, step_h=1.0, confidence=Fraction(1), charge="apart", swap=swap)
        choice = pack(outing, stock, dark)
        assert choice.status == "found"
        return choice.mass_g

    # 72 Wh and a tenth of 11.52 Wh a piece held back: 36 Wh a bank are four of 10.368 Wh, in the middle or by turns
    assert mass_g((15 * 60,)) == mass_g(tuple(range(0, 1440, 60))) == 800
    # nine hours on one of them are 54 Wh, and five give 51.84: six, twelve in all
    assert mass_g((18 * 60,)) == mass_g((12 * 60,)) == 1200
