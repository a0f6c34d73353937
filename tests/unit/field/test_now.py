"""The rest of an outing with the kit in hand: one lamp of an ampere in the dark, all worked out by hand."""

from __future__ import annotations

from datetime import datetime, timedelta
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

import pytest
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.errors import BadInput
from kitopt.field.now import Now, State, moment_in, now, now_alone, rest_of, wire_steps
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse, NoSun, Operation, Shares, Weather, WeatherFile
from kitopt.sky.windows import Sky

INVENTORY = Inventory(
    "by hand",
    panels=(panel("leaf", 54.0),),
    batteries=(battery("box", 10.0, count=2, efficiency=1.0),),
    controllers=(controller("c", kind="pwm", max_charge_a=10.0, count=2),),
    loads=(load("lamp", idle_a=1.0, full_a=1.0),),
)


def dark(asked: Operation) -> Sky:
    return sky([[0.0] * asked.n_steps], step_h=asked.need.step_h)


def outing(hours: float = 10.0, weather: Weather = NoSun(), **changes: object) -> Operation:  # noqa: B008 - frozen
    return operation((LoadUse("lamp"),), hours, step_h=1.0, reserve_share=0.0, weather=weather, **changes)


def in_hand(kit: dict[str, int], state: State, **changes: object) -> Now:
    asked = outing(**changes)  # type: ignore[arg-type]
    return now(asked, asked, INVENTORY, kit, state, dark)


# ---- the weather of what is left


def test_shares_of_days_that_are_over_are_left_out_and_the_last_goes_on() -> None:
    whole = outing(100.0, Shares((0.1, 0.2, 0.3)))
    for later_h, shares in ((2, (0.1, 0.2, 0.3)), (30, (0.2, 0.3)), (60, (0.3,)), (90, (0.3,))):
        rest = rest_of(whole, whole.start + timedelta(hours=later_h))
        assert rest.need.weather == Shares(shares)


def test_the_sky_of_today_takes_the_place_of_todays_share_alone() -> None:
    """A closed cover leaves 22 % of a clear day's light, haze 0.6 of its beam and 1.4 of the fifth that is diffuse."""
    whole = outing(100.0, Shares((0.1, 0.2, 0.3)))
    found = {
        (asked, later_h): rest_of(whole, whole.start + timedelta(hours=later_h), asked).need.weather
        for asked, later_h in (("overcast", 30), ("hazy", 30), ("clear", 60))
    }
    assert found["overcast", 30] == Shares((0.22, 0.3))
    hazy = found["hazy", 30]
    assert isinstance(hazy, Shares)
    assert hazy.shares == pytest.approx((0.6 * 0.8 + 1.4 * 0.2, 0.3))
    # the day after the last is as the last was foreseen
    assert found["clear", 60] == Shares((1.0, 0.3))


@pytest.mark.parametrize(
    ("weather", "what"), [(NoSun(), "no sun at all"), (WeatherFile(Path("here.epw")), "a weather file")]
)
def test_weather_that_leaves_no_room_for_a_sky_is_told(weather: Weather, what: str) -> None:
    whole = outing(100.0, weather)
    with pytest.raises(BadInput) as caught:
        rest_of(whole, whole.start, "clear")
    (fault,) = caught.value.faults
    assert (fault.file, fault.text) == (
        "--sky",
        f"found beside {what}; need weather from the climate, or no --sky.",
    )


# ---- the kit in hand


@pytest.mark.parametrize(("told", "value"), [("volts", 13.1), ("charge", 0.3)])
def test_by_the_volts_of_one_battery_the_others_may_be_full(told: Literal["volts", "charge"], value: float) -> None:
    """13.1 V, 0.05 V either way, may be 30 % (from memory), of which 10 % are never given: 2 of 9 Ah of each, 4 Ah.

    So it lasts 4 h of 10. If the other is full there are 2 + 9 = 11 Ah. A gauge tells of both.
    """
    found = in_hand({"box": 2}, State(told, value))
    assert (found.charge.low_share, found.lasts_h) == (pytest.approx(2 / 9), 4.0)
    other = [way for way in found.ways if way.change.family == "charge"]
    if told == "charge":
        assert other == []
    else:
        (way,) = other
        assert (way.change.value, way.gained_h, way.works) == (pytest.approx(11 / 18), 6.0, True)


def test_side_by_side_and_alone_no_battery_hides_behind_another() -> None:
    for kit, batteries in (({"box": 2}, "parallel"), ({"box": 1}, "in turn")):
        found = in_hand(kit, State("volts", 13.1), batteries=batteries)
        assert all(way.change.family != "charge" for way in found.ways)


def test_what_is_in_the_bag_and_not_wired_is_not_counted_on() -> None:
    """One panel hangs on one controller; the other is of no use, though it is there."""
    found = in_hand({"box": 1, "leaf": 1, "c": 2}, State("charge", 1.0))
    assert found.kit == {"box": 1, "leaf": 1, "c": 1}


def test_the_kit_in_hand_is_to_be_held_as_it_is_judged() -> None:
    """Full, 9 Ah last 9 h of 8: an ampere-hour of 12.8 Wh is left, and nothing is proved of it."""
    found = in_hand({"box": 1}, State("charge", 1.0), hours=8.0)
    held = found.heeded.hand.measured()
    assert {one.id: one.count for one in held.packed} == {"box": 1, "lamp": 1}
    assert held.proof.proved is False
    assert held.need_wh == pytest.approx(8 * 12.8)
    assert held.lowest is not None
    assert held.lowest.margin_wh == pytest.approx(12.8)


# ---- until when


def test_where_nothing_is_left_there_is_no_time_for_a_wire() -> None:
    """A gauge at 10 % of what holds 10 Ah, of which one is never given."""
    alone = operation((LoadUse("lamp"),), 24.0, step_h=0.25, reserve_share=0.0, weather=NoSun())
    empty, low = (now_alone(alone, INVENTORY, {"box": 1}, State("charge", share), dark) for share in (0.1, 0.2))
    assert (empty.lasts_h, empty.wires) == (0.0, ())
    assert empty.reserve_at == alone.start
    # an ampere-hour is an hour of the lamp
    assert (low.lasts_h, low.has_plan) == (1.0, False)
    assert all(low.operation.start < wire.time < alone.start + timedelta(hours=1) for wire in low.wires)
    assert low.wires


def test_of_a_month_every_other_midnight_has_a_wire() -> None:
    """30 days from 9 o'clock on 10 October: the rarest wires are two days apart, the first on the 12th."""
    month = operation((LoadUse("lamp"),), 720.0)
    moments = [moment_in(month, step * month.need.step_h) for step in wire_steps(month)]
    first = datetime(2026, 10, 12, tzinfo=ZoneInfo("UTC"))
    assert moments == [first + timedelta(days=2 * n) for n in range(15)]


def test_alone_it_may_last_longer_than_anybody_asks() -> None:
    """20 mA take 4.8 of 9 Ah in ten days: it lasts, and what may be used until when is told all the same."""
    faint = Inventory("faint", batteries=INVENTORY.batteries, loads=(load("lamp", idle_a=0.02, full_a=0.02),))
    alone = operation((LoadUse("lamp"),), 240.0, reserve_share=0.0, weather=NoSun())
    found = now_alone(alone, faint, {"box": 1}, State("charge", 1.0), dark)
    assert (found.is_enough, found.reserve_at, found.has_plan, found.ways) == (True, None, False, ())
    # what is to come is still to be left: 0.02 A until the end
    for wire in found.wires:
        later_h = 240.0 - (wire.time - alone.start) / timedelta(hours=1)
        assert wire.charge_at_least_ah <= 0.02 * later_h + 1e-6
