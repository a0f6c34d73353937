"""What a log says of each load and battery, and what outings carried for nothing: all worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.field.not_needed import not_needed
from kitopt.field.review import Review, review
from kitopt.inventory.items import Inventory
from kitopt.operation.log import Log
from kitopt.operation.spans import read_span
from kitopt.operation.terms import LoadUse

INVENTORY = Inventory(
    "by hand",
    panels=(panel("leaf", 54.0),),
    batteries=(battery("box", 20.0, mass_g=2000.0), battery("tin", 10.0, mass_g=1000.0)),
    controllers=(controller("c", kind="pwm", max_charge_a=10.0, idle_ma=0.0, efficiency=1.0),),
    loads=(load("lamp", idle_a=0.0, full_a=1.0), load("radio", idle_a=0.5, full_a=4.5)),
)
LAMP = LoadUse("lamp", spans=(read_span("09:00-12:00"),), quiet="off")
RADIO = LoadUse("radio", mode="data", transmit_share=0.25)
"""In the mean 0.75 · 0.5 + 0.25 · 4.5 = 1.5 A, all the time."""


def outing(
    out_a: list[float],
    in_a: list[float] | None = None,
    kit: dict[str, int] | None = None,
    uses: tuple[LoadUse, ...] = (LAMP, RADIO),
    **log: Any,
) -> Review:
    """Some hours from nine o'clock, a row an hour."""
    n = len(out_a)
    plan = operation(uses, float(n), step_h=1.0, reserve_share=0.0)
    start_s = plan.start.timestamp() + 3600.0 * np.arange(n)
    came = np.zeros(n) if in_a is None else np.array(in_a)
    found = Log(start_s, np.full(n, 3600.0), came, np.array(out_a), log.pop("volts", None), (), (), **log)
    return review(plan, INVENTORY, kit or {"box": 1}, found, sky([[0.0] * n]))


def test_loads_are_told_apart_by_their_hours() -> None:
    """From nine to twelve both are on, then the radio alone: 1.1 A of radio, so 0.6 A of lamp before.

    The radio's mean is 0.5 + 4 · transmit: 0.15 of the time. The lamp's full draw is then 0.6 A.
    """
    lamp, radio = outing([1.7, 1.7, 1.7, 1.1, 1.1, 1.1]).loads
    assert (lamp.load, lamp.drew_ah, lamp.planned_ah) == pytest.approx(("lamp", 1.8, 3.0))
    assert (lamp.file, lamp.key, lamp.value) == pytest.approx(("loads.csv", "full_a", 0.6))
    assert (radio.load, radio.drew_ah, radio.planned_ah) == pytest.approx(("radio", 6.6, 9.0))
    assert (radio.file, radio.key, radio.value) == pytest.approx(("operation", "transmit", 0.15))
    assert lamp.is_other
    assert radio.is_other
    assert not lamp.is_off


def test_what_is_on_at_the_same_hours_is_not_told_apart_without_a_column_of_its_own() -> None:
    both = (LoadUse("lamp"), RADIO)
    assert outing([2.0] * 6, uses=both).loads == ()
    lamp, radio = outing([2.0] * 6, uses=both, of={"lamp": np.full(6, 0.5)}).loads
    assert (lamp.drew_ah, radio.drew_ah) == pytest.approx((3.0, 9.0))
    assert not radio.is_other


def test_as_many_hours_as_loads_tell_nothing_apart() -> None:
    """Two unknowns fit two hours whatever was logged; a third hour shows how well they do."""
    short = LoadUse("lamp", spans=(read_span("09:00-10:00"),), quiet="off")
    assert outing([2.0, 1.5], uses=(short, RADIO)).loads == ()
    lamp, radio = outing([2.0, 1.5, 1.5], uses=(short, RADIO)).loads
    assert (lamp.drew_ah, radio.drew_ah) == pytest.approx((0.5, 4.5))


@pytest.mark.parametrize("amps", [0.0, 0.5])
def test_of_a_load_that_was_not_planned_for_the_logged_hours_nothing_is_said(amps: float) -> None:
    """The lamp's hours come after those of the log; what its column says is still none of the radio's 1.5 A."""
    late = LoadUse("lamp", spans=(read_span("20:00-22:00"),), quiet="off")
    found = outing([1.5 + amps] * 6, uses=(late, RADIO), of={"lamp": np.full(6, amps)})
    (radio,) = found.loads
    assert (radio.load, radio.drew_ah) == ("radio", pytest.approx(9.0))
    assert not_needed([found]).loads == ()


def test_a_load_by_its_energy_a_day_is_planned_again_by_that() -> None:
    """12.8 V for 24 h at 1 A are 307.2 Wh; it drew half of that."""
    lamp, _ = outing([2.0] * 6, uses=(LoadUse("lamp", wh_per_day=307.2), RADIO), of={"lamp": np.full(6, 0.5)}).loads
    assert (lamp.drew_ah, lamp.planned_ah) == pytest.approx((3.0, 6.0))
    assert (lamp.file, lamp.key, lamp.value) == ("operation", "wh_per_day", pytest.approx(153.6))


def test_a_load_that_was_left_off_is_named() -> None:
    lamp, radio = outing([1.5] * 6).loads
    assert lamp.is_off
    assert not radio.is_off
    assert not_needed([outing([1.5] * 6)]).loads == ("lamp",)
    assert not_needed([outing([1.5] * 6), outing([2.5] * 3 + [1.5] * 3)]).loads == ()


@pytest.mark.parametrize(
    ("out_a", "volts", "gave_ah"),
    [
        # 12.4 V is what lifepo4 rests at with a twentieth left: in the fifth hour
        ([4.0] * 6, [13.2, 13.1, 13.0, 12.8, 12.3, 11.0], 20.0),
        ([4.0] * 6, [13.2, 13.1, 13.0, 12.9, 12.8, 12.7], None),
        # without volts: nothing drawn for the last two hours
        ([4.0] * 4 + [0.0] * 2, None, 16.0),
        ([4.0] * 5 + [0.0], None, None),
    ],
)
def test_a_battery_that_went_from_full_to_empty_is_a_reading_of_it(
    out_a: list[float], volts: list[float] | None, gave_ah: float | None
) -> None:
    found = outing(out_a, volts=None if volts is None else np.array(volts))
    if gave_ah is None:
        assert found.discharges == ()
    else:
        ((name, gave, at),) = [(one.battery, one.gave_ah, one.at) for one in found.discharges]
        assert (name, gave) == ("box", pytest.approx(gave_ah))
        assert at == found.operation.start + timedelta(hours=gave_ah / 4.0)


def test_only_what_no_outing_needed_could_have_stayed() -> None:
    """Of 20 and 10 Ah 18 and 9 may be used. 1 A for six hours: either would do, and the heavier one is named.

    4 A take 24 of 27 Ah, so both are needed; 2 A take 12: without 18 there are 9, without 9 there are 18.
    """
    kit = {"box": 1, "tin": 1}
    light, middle, heavy = (outing([amps] * 6, kit=kit) for amps in (1.0, 2.0, 4.0))
    assert not_needed([light]).batteries == {"box": 1}
    assert not_needed([light, middle]).batteries == {"tin": 1}
    assert not_needed([light, middle, heavy]).batteries == {}
    # an outing that it was not on says nothing of it
    assert not_needed([light, outing([2.0] * 6)]).batteries == {"tin": 1}
    assert not_needed([light, outing([2.0] * 6)]).carried["tin"] == 1


def test_an_outing_with_the_batteries_of_another_inventory_keeps_its_own() -> None:
    """The tin alone lasts for the first, so that its box could have stayed; of the second nothing is known of a box."""
    first = outing([1.0] * 6, kit={"box": 1, "tin": 1})
    second = replace(
        outing([1.0] * 6, kit={"tin": 1}),
        inventory=replace(INVENTORY, batteries=(battery("tin", 10.0, mass_g=1000.0),)),
    )
    for outings in ([first, second], [second, first]):
        assert not_needed(outings).batteries == {"box": 1}


def test_panels_are_not_needed_where_the_batteries_last_alone() -> None:
    kit = {"box": 1, "leaf": 1, "c": 1}
    few, many = (outing([amps] * 6, [1.0] * 6, kit=kit) for amps in (2.0, 3.5))
    assert not_needed([few]).panels == {"c": 1, "leaf": 1}
    assert not_needed([few, many]).panels == {}
    idle = outing([2.0] * 6, kit=kit, of={"leaf": np.zeros(6)})
    assert not_needed([idle]).gave_nothing == ("leaf",)
    assert not_needed([idle, outing([2.0] * 6, kit=kit, of={"leaf": np.ones(6)})]).gave_nothing == ()
