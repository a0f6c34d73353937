"""Mass against another quantity: nothing beaten, nothing twice, everything proved; price against trying every kit."""

from __future__ import annotations

from contextvars import copy_context
from dataclasses import replace

import pytest
from oracle import World, kits_in_order
from oracle.instances import Instance, battery, load, numbered, operation, sky
from oracle.search import passes

from kitopt.ask.asker import shortened
from kitopt.budget import Budget
from kitopt.choice import Choice, pack
from kitopt.explain.tradeoff import AGAINST, Against, tradeoff
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse, Operation
from kitopt.report.letters import PLAIN, draw_with
from kitopt.report.tradeoff import tradeoff_text, tradeoff_value
from kitopt.report.words import tell_within
from kitopt.sky.windows import Sky


def solved(instance: Instance) -> Choice:
    return pack(instance.operation, instance.inventory, instance.sky)


@pytest.mark.parametrize("first", [0])
def test_the_prices_are_those_of_kits_that_none_beats(first: int) -> None:
    n_points = 0
    for number in range(first, first + 40):
        instance = numbered(number)
        choice = solved(instance)
        if choice.status != "found":
            continue
        found = tradeoff(choice, "price", sky_of=lambda _, i=instance: i.sky)  # type: ignore[misc]
        # a kit with a part of unknown price takes no part; that is the rule of an operation that counts price
        world = World(replace(instance.operation, least="price"), instance.inventory, instance.sky)
        all_of_them = {(k.mass_g, k.price_cents) for k in kits_in_order(world) if passes(world, k)}
        front = {
            (mass, price)
            for mass, price in all_of_them
            if not any(m <= mass and p <= price and (m, p) != (mass, price) for m, p in all_of_them)
        }
        points = [(p.choice.mass_g, p.choice.price_cents) for p in found.points]
        assert len(set(points)) == len(points)
        assert set(points) <= front, number
        if front:
            assert {min(front), min(front, key=lambda x: x[::-1])} <= set(points), number
        n_points += len(points)
    assert n_points >= 5


def lamp() -> tuple[Choice, Instance]:
    """A lamp of 10 W for 8 h without sun; three batteries of 46.08, 57.6 and 115.2 Wh."""
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0)
    batteries = (
        battery("a", 4.0, mass_g=450, price_cents=9000),
        battery("b", 5.0, mass_g=600, price_cents=6000),
        battery("c", 10.0, mass_g=1200, price_cents=7000),
    )
    owned = Inventory("invented", batteries=batteries, loads=(load("lamp", full_w=10.0),))
    instance = Instance(outing, owned, dark(outing))
    return solved(instance), instance


def dark(outing: Operation) -> Sky:
    return sky([[0.0] * outing.n_steps], step_h=outing.need.step_h)


def test_hours_by_hand() -> None:
    choice, _ = lamp()
    found = tradeoff(choice, "hours", sky_of=dark)
    # a lasts 4.6 h, b 5.8 h, both together 10.4 h, c 11.5 h, c and a 16.1 h, c and b 17.3 h; the lamp weighs 500 g
    told = {point.value: point.choice.mass_g for point in found.points}
    # sixteen hours are twelve steps of 1.33 h, each to the nearest whole one
    assert told == {4.0: 950, 5.0: 1100, 9.0: 1550, 11.0: 1700, 16.0: 2150}
    # in a context of its own, as width and letters are told for all that follows
    apart = copy_context()
    apart.run(tell_within, 50)
    apart.run(lambda: draw_with(PLAIN, is_large=False))
    narrow = apart.run(tradeoff_text, choice, found)
    assert max(len(line) for line in narrow.splitlines()) <= 50
    assert narrow.isascii()
    assert narrow.count("*") == 5
    text = tradeoff_text(choice, found)
    assert "\n 4 h     950 g  a\n" in text
    assert "\n16 h   2.15 kg  a, c\n" in text
    assert text.count("●") == 5
    assert max(len(line) for line in text.splitlines()) <= 80
    value = tradeoff_value(choice, found)
    assert [kit["value"] for kit in value["kits"]] == [4.0, 5.0, 9.0, 11.0, 16.0]
    assert all(kit["proof"]["proved"] for kit in value["kits"])


def test_price_by_hand() -> None:
    # 80 Wh: a and b for 150.00 at 1,050 g, c for 70.00 at 1,200 g; the lamp costs 10.00
    choice, instance = lamp()
    found = tradeoff(choice, "price", sky_of=lambda _: instance.sky)
    assert [(p.value, p.choice.mass_g) for p in found.points] == [(8000, 1700), (16000, 1550)]


@pytest.mark.parametrize("against", AGAINST)
def test_no_kit_is_listed_twice_or_beaten(against: Against) -> None:
    n_points = 0
    for number in range(12):
        instance = numbered(number)
        choice = solved(instance)

        def light(asked: Operation, whole: Instance = instance) -> Sky:
            return shortened(whole.sky, asked)

        if against == "hours":
            # the instance's weather ends with it: half the hours are asked for, so that twice as many are known
            half = replace(instance.operation, hours=instance.operation.need.step_h * (instance.operation.n_steps // 2))
            choice = pack(half, instance.inventory, light(half))
        found = tradeoff(choice, against, sky_of=light)
        sign = 1 if against == "price" else -1
        pairs = [(sign * p.value, p.choice.mass_g) for p in found.points]
        n_points += len(pairs)
        for one in pairs:
            assert [p for p in pairs if p[0] <= one[0] and p[1] <= one[1]] == [one]
        for point in found.points:
            assert point.choice.proof.proved
            again = pack(point.choice.operation, instance.inventory, light(point.choice.operation))
            if against != "price":
                assert again.mass_g == point.choice.mass_g
    assert n_points >= 4


def test_time_that_is_up_is_told() -> None:
    choice, _ = lamp()
    found = tradeoff(choice, "hours", sky_of=dark, budget=Budget.of(0.0))
    assert found.is_cut_short
    assert found.points == ()
    assert "the time was up" in tradeoff_text(choice, found)
