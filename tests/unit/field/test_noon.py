"""What a panel gives at noon: when that is, by which controller, and where there is none."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import pytest
from oracle.instances import SITE, battery, controller, operation, panel

from kitopt.field.noon import at_noon
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation

OUTING = operation((), 4.0)
"""On 10 October, 5° east of the meridian of its clock."""
INVENTORY = Inventory(
    "invented",
    panels=(panel("leaf", 50.0),),
    batteries=(battery("b", 10.0),),
    controllers=(controller("big", "mppt", 20.0, mass_g=300), controller("small", "mppt", 10.0, mass_g=100)),
)


def test_noon_is_the_suns_and_the_controller_the_lightest() -> None:
    """The sun is 13 min ahead of the mean on 10 October (equation of time), and 5° are 20 min: 11:27."""
    found = at_noon(OUTING, INVENTORY, "leaf")
    assert found is not None
    assert abs(found.at - datetime(2026, 10, 10, 11, 27, tzinfo=UTC)) <= timedelta(minutes=8)
    assert (found.panel, found.controller, found.is_facing) == ("leaf", "small", True)
    # 50 W · 0.75 · 0.95 at some 13.4 V are 2.7 A under 1000 Wm⁻²
    assert 2.0 < found.amps < 2.9


@pytest.mark.parametrize(
    ("outing", "inventory"),
    [
        (OUTING, replace(INVENTORY, panels=(panel("leaf", 50.0, voc_v=70.0),))),
        (replace(OUTING, site=replace(SITE, latitude_deg=85.0)), INVENTORY),
    ],
    ids=["too many volts for every controller", "polar night"],
)
def test_there_is_none(outing: Operation, inventory: Inventory) -> None:
    assert at_noon(outing, inventory, "leaf") is None
