"""A log that is made by hand of one spell is found to be like that spell."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta

import numpy as np
import pytest
from numpy.typing import NDArray
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.errors import BadInput
from kitopt.field.not_needed import not_needed
from kitopt.field.review import review
from kitopt.inventory.items import Inventory
from kitopt.operation.log import Log
from kitopt.operation.terms import LoadUse, Operation
from kitopt.report.field.review import review_text

Floats = NDArray[np.float64]

LIGHT = [[200.0] * 6, [900.0, 800, 700, 100, 100, 100], [100.0, 100, 100, 900, 800, 600], [0.0] * 6]
"""Of four spells, hour by hour. [Wm⁻²]"""


def a_day(spell: int, **changes: object) -> tuple[tuple[Operation, Inventory, dict[str, int], Log], Floats]:
    """A lamp of 0.5 A, a panel of 3 A worth 0.75 and a battery of 40 Ah that starts half charged, with its log."""
    inventory = Inventory(
        "by hand",
        panels=(panel("leaf", 54.0),),
        batteries=(battery("box", 40.0, efficiency=1.0),),
        controllers=(controller("c", kind="pwm", max_charge_a=10.0, idle_ma=0.0, efficiency=1.0),),
        loads=(load("lamp", idle_a=0.5, full_a=0.5),),
    )
    outing = operation((LoadUse("lamp"),), 6.0, step_h=1.0, start_charge_share=0.5, reserve_share=0.1)
    amps = 0.75 * 3.0 * np.array(LIGHT[spell]) / 1000.0
    start_s = outing.start.timestamp() + 3600.0 * np.arange(6)
    log = replace(Log(start_s, np.full(6, 3600.0), amps, np.full(6, 0.6), None, (), ()), **changes)  # type: ignore[arg-type]
    return (outing, inventory, {"leaf": 1, "box": 1, "c": 1}, log), amps


def test_a_reading_that_is_offered_names_the_inventory_that_keeps_it() -> None:
    asked, _ = a_day(0)
    found = review(*asked, sky(LIGHT))
    rows = review_text([found], not_needed([found])).replace("\\\n", "").splitlines()
    (offered,) = (row.split() for row in rows if "kitopt reading" in row)
    assert offered[:6] == ["kitopt", "reading", "leaf", "c", "--amps", "0.45"]
    assert offered[-3:] == ["--inventory", "'by", "hand'"]


def test_the_log_of_another_day_is_named() -> None:
    asked, _ = a_day(0, start_s=np.arange(6) * 3600.0, file="other.csv")
    with pytest.raises(BadInput) as caught:
        review(*asked, sky(LIGHT))
    assert caught.value.faults[0].file == "other.csv"
    assert "1970-01-01" in caught.value.faults[0].text


@pytest.mark.parametrize("spell", range(4))
def test_a_log_is_like_the_spell_that_it_was_made_of(spell: int) -> None:
    """Through a switch a panel of 3 A worth 0.75 gives 2.25 A in full sun; a lamp draws 0.5 A.

    The battery of 40 Ah starts half charged: 18 of the 36 Ah that may be used, so there is room for all of it.
    """
    asked, amps = a_day(spell)
    outing = asked[0]
    found = review(*asked, sky(LIGHT))
    assert found.like == f"window {spell + 1}"
    assert found.in_ah == pytest.approx(amps.sum())
    assert [one.in_ah for one in found.hours] == pytest.approx(amps)
    assert (found.out_ah, found.planned_out_ah) == pytest.approx((3.6, 3.0))
    sums = np.sum(LIGHT, axis=1)
    assert found.below_share == np.mean(sums < sums[spell] - 1e-9)
    level = 18.0 + np.cumsum(amps - 0.6)
    assert found.end_share == pytest.approx(level[-1] / 36.0)
    assert found.lowest_share == pytest.approx(min(18.0, level.min()) / 36.0)
    assert found.recharge_ah == pytest.approx(36.0 - level[-1])
    if spell:
        assert (found.best is None) == (not amps.any())
    else:
        assert found.best is not None
        assert (found.best.panel, found.best.controller, found.best.at) == ("leaf", "c", outing.start)
    assert found.stores[0].until == outing.start + timedelta(hours=6, days=90)


def test_of_two_panels_together_no_reading_is_offered() -> None:
    """Side by side or in a row: what one of them gave is not in the log, and a reading is of one."""
    (outing, inventory, kit, log), _ = a_day(0)
    two = replace(inventory, panels=(panel("leaf", 54.0, count=2),))
    assert review(outing, inventory, kit, log, sky(LIGHT)).best is not None
    for controllers in (inventory.controllers, (controller("c", "mppt", 10.0),)):
        both = replace(two, controllers=controllers)
        found = review(outing, both, kit | {"leaf": 2}, log, sky(LIGHT))
        assert (found.kit["leaf"], found.best) == (2, None)


def test_a_log_with_nothing_left_says_so() -> None:
    """Of 40 Ah that may give 36 half are there; 6 h of 3.5 A and no sun take 21 of the 18."""
    asked, _ = a_day(3, out_a=np.full(6, 3.5))
    found = review(*asked, sky(LIGHT))
    assert found.is_empty
    told = " ".join(review_text([found], not_needed([found])).split())
    assert "By this count nothing was left at " in told
    assert "either it ran out, or it holds more." in told
    assert "Lowest at" not in told


def test_a_plan_of_one_spell_is_no_share_of_spells() -> None:
    asked, _ = a_day(0)
    found = review(*asked, sky(LIGHT[:1]))
    told = " ".join(review_text([found], not_needed([found])).split())
    assert "the plan knew one spell, " in told
    assert "of the planned spells" not in told


def test_a_load_that_drew_next_to_nothing_is_told_without_a_value_for_the_plan() -> None:
    """The lamp was to draw 0.5 A for 6 h, 3 Ah; with 0.01 A it drew 0.06."""
    asked, _ = a_day(1, out_a=np.full(6, 0.01))
    found = review(*asked, sky(LIGHT))
    (drew,) = found.loads
    assert (drew.drew_ah, drew.planned_ah) == pytest.approx((0.06, 3.0))
    told = " ".join(review_text([found], not_needed([found])).split())
    assert "lamp drew next to nothing of the 3.0 Ah planned." in told
    assert "plans with that" not in told
