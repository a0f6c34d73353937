"""What every reason must obey, whatever the inventory."""

from __future__ import annotations

from dataclasses import replace
from typing import Any

import pytest
from hypothesis import given
from hypothesis import strategies as st
from oracle import World
from oracle.instances import Instance, random_instance
from oracle.wired_instances import wired
from oracle.wiring import wired_answer

from kitopt.ask import Asker, at_least, at_most
from kitopt.choice import Choice, pack
from kitopt.engine import choose
from kitopt.explain.without import without_each

instances = st.randoms(use_true_random=False).map(random_instance)


def solved(instance: Instance) -> Choice:
    return pack(instance.operation, instance.inventory, instance.sky)


@given(instance=instances)
def test_without_an_item_nothing_is_better(instance: Instance) -> None:
    choice = solved(instance)
    for without in without_each(choice):
        if without.status != "found":
            assert without.more is None
            continue
        assert without.more is not None
        assert without.more >= 0
        assert without.id in dict(without.gone)
        owned = choice.inventory.by_id
        mass_g = sum(n * owned[i].mass_g for i, n in without.instead) - sum(
            n * owned[i].mass_g for i, n in without.gone
        )
        assert mass_g == without.mass_g_more
        if choice.operation.least == "mass":
            assert mass_g == without.more


@given(instance=instances, number=st.integers(0, 9), is_less=st.booleans())
def test_rows_kept_for_a_rule_more_change_no_optimum(instance: Instance, number: int, is_less: bool) -> None:
    choice = solved(instance)
    owned = choice.inventory
    things = [*owned.batteries, *owned.controllers, *owned.panels]
    item_id = things[number % len(things)].id
    packed = next((p.count for p in choice.packed if p.id == item_id), 0)
    rule = at_most(item_id, max(0, packed - 1)) if is_less else at_least(item_id, 1)
    kept = Asker(choice).ask(rule)
    objectives = []
    for one in choice.solved:
        rows = rule.rows(one)
        if rows is not None:
            outcome = choose(replace(one.plan, rows=(*one.plan.rows, *rows)))
            if outcome.counts is not None:
                objectives.append(round(outcome.objective))
    assert kept.proof.objective == min(objectives, default=None)
    assert kept.status == ("found" if objectives else "no-kit")


KINDS = ("batteries", "controllers", "panels", "leads", "converters")


@pytest.mark.parametrize("first", range(0, 60, 30))
def test_reasons_where_leads_are_scarce_agree_with_trying_every_kit(first: int) -> None:
    n_found, n_other_lead = 0, 0
    for number in range(first, first + 30):
        instance = wired(number)
        choice = solved(instance)
        leads = {lead.id for lead in instance.inventory.leads}
        for without in without_each(choice):
            poorer: dict[str, Any] = {
                kind: tuple(
                    replace(x, count=without.count - 1) if x.id == without.id else x
                    for x in getattr(instance.inventory, kind)
                )
                for kind in KINDS
            }
            world = World(instance.operation, replace(instance.inventory, **poorer), instance.sky)
            right = wired_answer(world)
            assert without.status == ("found" if right.kits else "no-kit"), (number, without.id)
            if right.kits:
                n_found += 1
                n_other_lead += without.id in leads and any(i in leads for i, _ in without.instead)
                assert right.first is not None
                assert choice.proof.objective is not None
                assert without.more == right.first - choice.proof.objective, (number, without.id)
    assert n_found >= 3
    assert n_other_lead >= 1
