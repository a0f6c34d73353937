"""How many windows a confidence asks for, counted exactly.

The reference is arithmetic in whole hundredths, written out beside each case.
"""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import pytest
from oracle.instances import battery, load, operation, sky

from kitopt.choice import Choice, pack
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse


def pack_at(confidence: str, n_windows: int, n_good: int) -> Choice:
    """A battery that survives the first windows and no other: those are too cold for it.

    10 Ah · 12.8 V · 0.9 = 115.2 Wh. Two hours at 50 W leave 15.2 Wh, enough for nothing held back;
    at -20 °C 30 % of it, 34.6 Wh, is locked away.
    """
    outing = operation((LoadUse("lamp"),), 2.0, step_h=1.0, confidence=Fraction(confidence), reserve_share=0.0)
    degc = [[20.0, 20.0]] * n_good + [[-20.0, -20.0]] * (n_windows - n_good)
    inventory = Inventory("invented", batteries=(battery("b", 10.0),), loads=(load("lamp", full_w=50.0),))
    return pack(outing, inventory, sky([[0.0, 0.0]] * n_windows, battery_degc=degc))


@pytest.mark.parametrize(
    ("confidence", "n_windows", "needed"),
    [
        ("0.55", 100, 55),  # 0.55 × 100 is 55.00000000000001 in binary, and 56 when rounded up
        ("0.07", 100, 7),  # 7.000000000000001 in binary
        ("0.95", 40, 38),
        ("0.951", 40, 39),  # 38.04
        ("1", 40, 40),
        ("0.8", 7, 6),  # 5.6
        ("0.29", 100, 29),  # 28.999999999999996 in binary
    ],
)
def test_windows_needed(confidence: str, n_windows: int, needed: int) -> None:
    enough = pack_at(confidence, n_windows, needed)
    assert enough.status == "found"
    assert enough.survival is not None
    assert (enough.survival.tried, enough.survival.survived, enough.survival.needed) == (n_windows, needed, needed)
    one_less = pack_at(confidence, n_windows, needed - 1)
    assert one_less.status == "no-kit"


def test_a_margin_of_nothing_is_survived() -> None:
    # 10 Ah · 12.8 V · 0.9 = 115.2 Wh, drawn to the last
    outing = operation((LoadUse("lamp"),), 2.0, step_h=1.0, confidence=Fraction(1), reserve_share=0.0)
    inventory = Inventory("invented", batteries=(battery("b", 10.0),), loads=(load("lamp", full_w=57.6),))
    weather = sky([[0.0, 0.0]])
    assert pack(outing, inventory, weather).status == "found"
    # a hundredth of a watt-hour more is a shortfall
    more = replace(inventory, loads=(load("lamp", full_w=57.605),))
    choice = pack(outing, more, weather)
    assert choice.status == "no-kit"
    assert choice.shortfall is not None
    assert choice.shortfall.shortfall_wh == pytest.approx(0.01)
