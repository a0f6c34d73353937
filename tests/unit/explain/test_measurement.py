"""The one measurement worth making, on a kit whose ends are worked out by hand."""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime

import pytest
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.choice import Choice, pack
from kitopt.explain.measurement import measuring
from kitopt.field.noon import AtNoon
from kitopt.inventory.items import Assumed, Inventory
from kitopt.operation.terms import LoadUse
from kitopt.report.measurement import measurement_section

LIGHT = [[1000.0] * 8 + [0.0] * 4]
"""Eight hours of full sun, four of none."""


def packed(spread: float, **changes: object) -> Choice:
    """A lamp of 0.5 A, 6.4 W, over twelve hours: 76.8 Wh.

    A panel of 10 W through a switch: 10 / 18 V · 0.75 = 0.417 A, 5.33 W. In the sun 1.07 W are missing, in the dark
    6.4 W: 34.1 Wh in all. Of 4 Ah · 12.8 V · 0.9 = 46.1 Wh a tenth is held back, 41.5 Wh left; of 3 Ah 31.1 Wh.
    """
    inventory = Inventory(
        "by hand",
        panels=(panel("leaf", 10.0, mass_g=500, worth_spread=spread),),
        batteries=(
            battery("b3", 3.0, mass_g=800, efficiency=1.0),
            battery("b4", 4.0, mass_g=1000, efficiency=1.0),
            battery("b20", 20.0, mass_g=4000, efficiency=1.0),
        ),
        controllers=(controller("c", kind="pwm", max_charge_a=5.0, idle_ma=0.0, mass_g=100, efficiency=1.0),),
        loads=(load("lamp", idle_a=0.5, full_a=0.5, mass_g=100),),
        **changes,  # type: ignore[arg-type]
    )
    outing = operation((LoadUse("lamp"),), 12.0, step_h=1.0, reserve_share=0.1)
    return pack(outing, inventory, sky(LIGHT))


def test_the_panel_that_decides_both_ways() -> None:
    """Nine in ten lie within 0.75 · e^(-0.13² / 2) · e^(±1.645 · 0.13): 0.600 and 0.921.

    At 0.600 the panel gives 4.27 W: 17.1 and 25.6 Wh are missing, 42.7 > 41.5, so b3 comes to b4, 800 g heavier.
    At 0.921 it gives 6.55 W, more than is drawn: 25.6 Wh, and b3 is enough, 200 g lighter.
    """
    choice = packed(0.13)
    assert {one.id for one in choice.packed} >= {"leaf", "b4", "c"}
    best = measuring(choice).best
    assert best is not None
    assert (best.thing.id, best.thing.column) == ("leaf", "output_factor")
    middle = 0.75 * math.exp(-(0.13**2) / 2)
    assert (best.thing.low, best.thing.high) == pytest.approx((middle * 0.8074, middle * 1.2385), rel=1e-3)
    assert best.low is not None
    assert best.high is not None
    assert (best.low.more, best.low.instead, best.low.gone) == (800, (("b3", 1),), ())
    assert (best.high.more, best.high.instead, best.high.gone) == (-200, (("b3", 1),), (("b4", 1),))


def test_amperes_are_told_with_their_day_and_with_what_another_day_can_show() -> None:
    """A worth of 0.75 gives 0.40 A: 0.921 gives 0.40 · 0.921 / 0.75 = 0.49 A, and 0.600 gives 0.32 A."""
    choice = packed(0.13)
    noon = AtNoon("leaf", "c", datetime(2027, 6, 12, 12, 0, tzinfo=UTC), 0.40, True)
    text = " ".join(" ".join(measurement_section(choice, measuring(choice), noon)).split())
    assert (
        "measure leaf on c, Sat 12 Jun 12:00, facing the sun under a clear sky: at 0.49 A, 0.92 of its label," in text
    )
    assert "at 0.32 A, 0.60 of its label, or less" in text


def test_what_is_certain_is_not_measured() -> None:
    assert measuring(packed(0.0)).n_things == 0


def test_a_battery_that_nobody_measured() -> None:
    """At 4 · e^(-1.645 · 0.08) = 3.51 Ah b4 holds 36.4 Wh above its tenth, more than 34.1: nothing hangs on it."""
    found = measuring(packed(0.0, assumed=(Assumed("batteries.csv", "b4", "measured_ah", "4", "a guess"),)))
    assert (found.n_things, found.best) == (1, None)


def test_no_more_is_solved_for_than_is_said() -> None:
    choice = packed(0.13)
    found = measuring(choice, most_solves=1)
    assert found.n_solves == 1
    assert found.is_cut_short
    assert not measuring(replace(choice, packed=())).n_things
