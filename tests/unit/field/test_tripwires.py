"""Trip-wires over spells of weather that they were not set by, and what they hang on."""

from __future__ import annotations

import sys
from dataclasses import replace
from datetime import datetime, timedelta
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from kitopt.errors import BadInput
from kitopt.field.now import State, charge_of, now, rest_of
from kitopt.field.tripwires import limits_of, needed_wh
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.operation.terms import Climate, Shares
from kitopt.sky import windows_for

sys.path.insert(0, str(Path(__file__).parents[3] / "benchmarks"))

import tripwires

DEMO = tripwires.DEMO


def test_few_are_lost_and_few_are_alarmed_in_vain() -> None:
    # the promise: of what could be saved at most 1 in 20 is lost, of what would last at most 1 in 5 is alarmed
    told = [tripwires.counts(tripwires.heeded(tripwires.judged(state), 100)) for state in range(len(tripwires.STATES))]
    lost, savable, alarmed, lasting = np.sum(told, axis=0)
    assert savable >= 50
    assert lasting >= 50
    assert 20 * lost <= savable
    assert 5 * alarmed <= lasting


def test_most_are_not_alarmed_for_the_sake_of_a_few() -> None:
    operation = read_operation(DEMO / "operations" / "canoe-lakes.toml")
    kit = {"lfp-3": 1, "lfp-6": 1, "mppt-5": 1, "fold-20": 1, "usb-5v": 1}
    found = now(operation, operation, read_inventory(DEMO), kit, State("used", 0.0), windows_for)
    course, every_8_h = found.heeded.hand.course(found.action, windows_for), list(range(16, 230, 16))
    _, followed = limits_of(course, every_8_h)
    # 38 could be saved, 456 last anyway; to lose but one in twenty, half of those would have to be alarmed
    assert 0 < np.count_nonzero(followed.is_savable) < 50
    assert followed.alarmed_share <= 0.2
    assert followed.lost_share <= 0.2


def test_there_are_four_clock_times_or_more_and_more_may_be_used_where_less_is_left() -> None:
    found = tripwires.judged(0)
    assert len(found.wires) >= 4
    assert all(wire.time.minute == 0 for wire in found.wires)
    total = [wire.used_at_most_ah + wire.charge_at_least_ah for wire in found.wires]
    # nothing was used before, and 15.4 Ah of 26.55 were in at the start
    np.testing.assert_allclose(total, found.charge.low_share * found.charge.usable_ah)


def test_what_is_needed_at_a_wire_is_what_the_judge_says() -> None:
    found = tripwires.judged(0)
    course = found.heeded.hand.course(found.action, lambda one: tripwires.windows_for(one, n=20))
    step = found.heeded.steps[2]
    needed = needed_wh(course, step, step)
    held = course.charge_wh([step])[:, 0]
    before = course.margin_wh(None)
    # a spell in which the charge at the wire is above what it needs from there on is survived from there on: the
    # whole margin with the change from the wire on is then only short where it was short before the wire
    with_change = course.margin_wh(step)
    for k in np.flatnonzero(before >= 0.0):
        assert with_change[k] >= -1e-5
        assert held[k] >= needed[k] - 1.0


@pytest.mark.parametrize(
    ("told", "value", "low", "high"),
    [
        # 26.55 of 29.5 Ah may be used; the meadow's batteries start half charged: 13.275 - 4 = 9.275 of 26.55
        ("used", 4.0, 9.275 / 26.55, 9.275 / 26.55),
        # a gauge at 55 % of full: 0.45 of the 0.9 that may be used
        ("charge", 0.55, 0.5, 0.5),
        # 13.05 V is 30 % of full in the table from memory, 13.15 V is 50 + 20 * 0.02 / 0.07 = 55.7 %
        ("volts", 13.1, 0.2 / 0.9, (0.5 + 0.2 * 2 / 7 - 0.1) / 0.9),
    ],
)
def test_the_charge_by_what_is_told(told: str, value: float, low: float, high: float) -> None:
    operation = read_operation(DEMO / "operations/coastal-checkpoint.toml")
    battery = read_inventory(DEMO).by_id["lfp-30"]
    found = charge_of(State(told, value), [(battery, 1)], operation)  # type: ignore[arg-type, list-item]
    assert (found.low_share, found.high_share) == pytest.approx((low, high))


def test_the_rest_begins_with_the_step_and_its_forecast_with_the_day() -> None:
    operation = read_operation(DEMO / "operations/canoe-lakes.toml")
    at = operation.start + timedelta(hours=30, minutes=10)
    rest = rest_of(operation, at, "overcast")
    # 8:00 and 30 h: the next day at 14:00, 90 h before the end
    assert (rest.start, rest.hours) == (operation.start + timedelta(hours=30), 90.0)
    assert isinstance(rest.need.weather, Climate | Shares)
    assert rest_of(operation, operation.start - timedelta(days=3)).hours == operation.hours
    with pytest.raises(BadInput, match="ends at"):
        rest_of(operation, operation.start + timedelta(hours=120))


def test_an_hour_that_the_clock_repeats_is_an_hour() -> None:
    """In Madrid the clock is set back at 3:00 on 25 October 2026: from 9:00 the day before to 8:00 are 24 h."""
    operation = read_operation(DEMO / "operations/coastal-checkpoint.toml")
    zone = ZoneInfo("Europe/Madrid")
    start = datetime(2026, 10, 24, 9, tzinfo=zone)
    operation = replace(operation, start=start, hours=26.0, site=replace(operation.site, timezone=zone))
    rest = rest_of(operation, datetime(2026, 10, 25, 8, tzinfo=zone))
    assert (rest.start, rest.hours) == (datetime(2026, 10, 25, 8, tzinfo=zone), 2.0)
    with pytest.raises(BadInput, match="ends at 2026-10-25 10:00"):
        rest_of(operation, datetime(2026, 10, 25, 10, tzinfo=zone))
