"""The swaps of batteries in turn, worked out by hand, and what every plan of them obeys."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
import pytest
from hypothesis import given
from hypothesis import strategies as st
from unit.model.wiring.wired_kits import ZONE, battery, lead, load, packed

from kitopt.choice import Choice
from kitopt.explain.swaps import Shelf, SwapPlan, swap_plan
from kitopt.report.wiring import swaps_text


def plan_of(choice: Choice) -> SwapPlan:
    plan = swap_plan(choice)
    assert plan is not None
    return plan


def test_nothing_is_swapped_with_one_battery_or_in_parallel() -> None:
    assert swap_plan(packed(battery(), load())) is None
    assert swap_plan(packed(battery(count=2), load(), hours=1.0, batteries="parallel")) is None


def test_the_larger_goes_first_and_the_clock_follows_from_ampere_hours() -> None:
    # 12.8 W are 1 A: 10 Ah last 10 h from 8:00, then 5 Ah are on
    choice = packed(battery(), battery("small", measured_ah=5.0, mass_g=500), load(full_w=12.8), hours=14.0)
    plan = plan_of(choice)
    assert plan.order == ("box", "small")
    assert plan.drops == ("radio",)
    assert not plan.has_panels
    for spell in plan.spells:
        (swap,) = spell.swaps
        assert (swap.off, swap.on) == ("box", "small")
        assert swap.out_ah == pytest.approx(10.0)
        assert swap.time == datetime(2027, 6, 4, 18, 0, tzinfo=ZONE)
        assert not swap.is_full


def test_what_has_a_battery_of_its_own_does_not_drop_out() -> None:
    tablet = load("tablet", full_w=2.8, battery_wh=20.0)
    choice = packed(battery(count=2), load(full_w=10.0), tablet, lead("strip", "g > g", ways=4), hours=14.0)
    assert plan_of(choice).drops == ("radio",)
    assert "radio drops out" in swaps_text(choice)
    alone = packed(battery(count=2), replace(tablet, full_w=12.8), hours=14.0)
    assert "nothing drops out" in swaps_text(alone)


def test_each_holds_back_its_part_of_the_reserve() -> None:
    # 2 h of 12.8 W more than one box gives above its part of 25.6 Wh, a tenth of both: 9 Ah out at 17:00
    choice = packed(battery(count=2), load(full_w=12.8), hours=11.0)
    need = replace(choice.operation.need, reserve_share=0.1)
    choice = packed(battery(count=2), load(full_w=12.8), hours=11.0, need=need)
    (swap,) = plan_of(choice).spells[0].swaps
    assert swap.out_ah == pytest.approx(9.0)
    assert swap.time == datetime(2027, 6, 4, 17, 0, tzinfo=ZONE)


def test_the_sun_fills_the_one_with_room() -> None:
    # two of 64 Wh: the first is empty at 9:00, the second half empty at 10:00 and full again at 10:30 of 64 W of sun
    box = battery(measured_ah=5.0, count=2)
    choice = packed(box, load(), hours=3.0)
    walked = list(
        Shelf(choice, [("one", box), ("two", box)]).walk(np.array([64.0, 32.0, 96.0]), np.zeros(3), np.ones(3))
    )
    assert [(swap.time.hour, swap.time.minute, swap.off, swap.on, swap.is_full) for swap in walked] == [
        (9, 0, "one", "two", False),
        (10, 30, "two", "one", True),
    ]
    assert [swap.out_ah for swap in walked] == pytest.approx([5.0, 0.0])


@given(st.lists(st.sampled_from([2.0, 3.0, 5.0, 8.0]), min_size=2, max_size=4), st.floats(0.3, 0.95))
def test_no_battery_gives_more_than_it_holds(sizes_ah: list[float], share: float) -> None:
    boxes = [battery(f"b{n}", measured_ah=ah, capacity_ah=10.0) for n, ah in enumerate(sizes_ah)]
    hours = round(share * sum(sizes_ah), 1)
    choice = packed(*boxes, load(full_w=12.8), hours=hours)
    plan = swap_plan(choice)
    if plan is None:
        return
    of_name = {f"b{n}": ah for n, ah in enumerate(sizes_ah)}
    for spell in plan.spells:
        on, out_ah = plan.order[0], 0.0
        for swap in spell.swaps:
            assert swap.off == on
            assert swap.on != on
            assert swap.out_ah <= of_name[swap.off] + 1e-6
            out_ah += swap.out_ah
            on = swap.on
        # in the dark each goes once, and the last has what is missing
        assert len({swap.off for swap in spell.swaps}) == len(spell.swaps)
        assert out_ah <= hours + 1e-6 <= out_ah + of_name[on] + 2e-6
