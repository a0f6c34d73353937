"""Which controllers a panel reaches, and what stands behind them."""

from __future__ import annotations

from dataclasses import replace

import pytest
from oracle.instances import battery, controller, panel

from kitopt.field.reach import reach, reaches
from kitopt.inventory.items import Inventory

INVENTORY = Inventory(
    "by hand",
    panels=(panel("leaf", 50.0), panel("lent", 50.0, count=0)),
    batteries=(battery("small", 5.0, count=2), battery("large", 20.0), battery("lead", 30.0, chemistry="agm")),
    controllers=(
        controller("any", "mppt", 10.0),
        controller("lead-only", "pwm", 10.0, chemistries=("agm",)),
        controller("gone", "mppt", 10.0, count=0),
    ),
)


def test_what_is_not_there_neither_reaches_nor_is_reached() -> None:
    found = [(one.panel.id, one.controller.id) for one in reaches(INVENTORY, 5.0)]
    assert found == [("leaf", "any"), ("leaf", "lead-only")]


def test_the_battery_is_one_that_the_controller_charges_the_largest_of_its_sort() -> None:
    found = {one.controller.id: one.battery.id for one in reaches(INVENTORY, 5.0)}
    assert found["lead-only"] == "lead"
    assert found["any"] == "large"


@pytest.mark.parametrize(
    "changes",
    [
        # of 1.22 times 18 V nothing is left below 20 V, and no battery is one of cells that nobody has
        {"max_pv_v": 20.0},
        {"chemistries": ("li-ion",)},
    ],
)
def test_volts_too_high_and_no_battery_to_charge_are_no_way(changes: dict[str, object]) -> None:
    one, other = INVENTORY.panels[0], INVENTORY.controllers[0]
    assert reach(INVENTORY, 5.0, one, other) is not None
    assert reach(INVENTORY, 5.0, one, replace(other, **changes)) is None  # type: ignore[arg-type]
