"""Amperes that operators report, against what kitopt expects. Common practice, no source.

Midday through PWM into a drained LiFePO4 battery, clear high sun, panel flat: a label of 1.55 A gives about 1.15, one
of 2.2 A about 1.35, a 60 W panel about 2.3; a 100 W panel that faces the sun squarely gives above 4 A. And a 100 W
panel at 3.0 A: flat with the sun 45 to 50° high that is normal; facing the sun aim comes first with its rivals; flat at
noon in June at 30° north, where the sun stands 83° high and flat gives what facing gives, it is not called aim.
"""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import pytest
from oracle.instances import battery, controller, panel

from kitopt.field.amperes import expected_a, interval_a
from kitopt.field.belief import Belief, believe
from kitopt.field.outlook import light_now
from kitopt.field.set_up import SetUp
from kitopt.field.site import FieldSite
from kitopt.field.verdict import judge
from kitopt.inventory.spreads import GUESSED_SPREAD

UTC = ZoneInfo("UTC")
HIGH_SUN = FieldSite("high sun", 40.0, 0.0, 100.0, datetime(2027, 6, 21, 12, 0, tzinfo=UTC))
OVERHEAD = FieldSite("83° high", 30.0, 0.0, 100.0, datetime(2027, 6, 21, 12, 2, tzinfo=UTC))
HALF_HIGH = FieldSite("48° high", 42.0, 0.0, 100.0, datetime(2027, 3, 21, 12, 7, tzinfo=UTC))


def set_up(site: FieldSite, imp_a: float, *, is_facing: bool, worth: float = 0.75, air_degc: float = 22.0) -> SetUp:
    one = panel("one", 18.9 * imp_a, vmp_v=18.9, imp_a=imp_a, output_factor=worth)
    lies = SetUp(
        one,
        controller("pwm", "pwm", 10.0, efficiency=1.0),
        battery("lfp", 20.0),
        0.1,
        light_now(site, "clear"),
        0.0,
        180.0,
        True,
        air_degc,
        worth_spread=GUESSED_SPREAD,
    )
    return lies.facing_sun() if is_facing else lies


@pytest.mark.parametrize(
    ("imp_a", "reported_a"), [(1.55, 1.15), (2.2, 1.35), (60.0 / 18.0, 2.3)], ids=["1.55 A", "2.2 A", "60 W"]
)
def test_a_flat_panel_at_midday(imp_a: float, reported_a: float) -> None:
    one = set_up(HIGH_SUN, imp_a, is_facing=False)
    low_a, high_a = interval_a(one, expected_a(one))
    assert low_a <= reported_a <= high_a
    # no interval so wide that it holds anything
    assert high_a < 1.75 * low_a


def test_a_panel_of_100_w_that_faces_the_sun() -> None:
    one = set_up(HIGH_SUN, 5.3, is_facing=True)
    low_a, high_a = interval_a(one, expected_a(one))
    assert low_a < 4.0 < high_a
    # "above 4 A" is within, and so is half an ampere more
    assert high_a > 4.5


def at_3_amperes(site: FieldSite, *, is_facing: bool) -> Belief:
    return believe(set_up(site, 5.3, is_facing=is_facing, worth=0.8), {"amps": 3.0})


def test_3_amperes_flat_under_a_sun_half_high_are_normal() -> None:
    assert 45.0 < 90.0 - set_up(HALF_HIGH, 5.3, is_facing=False).sun_deg[0] < 50.0
    belief = at_3_amperes(HALF_HIGH, is_facing=False)
    assert next(iter(belief.share)) == "normal"
    verdict = judge(belief)
    assert verdict.called == "as-expected"
    assert judge(believe(belief.set_up, {"amps": 3.0, "isc": 3.1})).called == "normal"


def test_3_amperes_facing_the_sun_are_aim_first_with_its_rivals() -> None:
    verdict = judge(at_3_amperes(HALF_HIGH, is_facing=True))
    assert verdict.called == "low"
    assert verdict.suspects[0].cause == "aim"
    assert {"haze", "shade"} <= {one.cause for one in verdict.suspects}


def test_3_amperes_flat_under_a_sun_overhead_are_not_aim() -> None:
    assert 82.0 < 90.0 - set_up(OVERHEAD, 5.3, is_facing=False).sun_deg[0] < 84.0
    flat, facing = (expected_a(set_up(OVERHEAD, 5.3, is_facing=way)) for way in (False, True))
    assert flat == pytest.approx(facing, rel=0.03)
    belief = at_3_amperes(OVERHEAD, is_facing=False)
    assert next(iter(belief.share)) != "aim"
