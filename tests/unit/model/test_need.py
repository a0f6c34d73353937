"""What a load's amperes are in watts: at the bus's volts, or behind a converter at its own."""

from __future__ import annotations

import pytest

from kitopt.inventory.items import Connector, Load
from kitopt.model.need import idle_and_full_w


def load(supply_v: float | None) -> Load:
    return Load(id="x", name="x", mass_g=100, connector=Connector("g"), idle_a=0.5, full_a=2.0, supply_v=supply_v)


@pytest.mark.parametrize(
    ("supply_v", "idle_w", "full_w"),
    [
        # 2 A from a 12.8 V battery are 25.6 W there, whatever a 12 V system is called
        (None, 6.4, 25.6),
        (12.0, 6.4, 25.6),
        (13.8, 6.4, 25.6),
        # a laptop's 2 A at 20 V are 40 W, a phone's at 5 V are 10 W
        (20.0, 10.0, 40.0),
        (5.0, 2.5, 10.0),
    ],
)
def test_amperes_flow_at_the_volts_of_what_feeds_the_load(supply_v: float | None, idle_w: float, full_w: float) -> None:
    assert idle_and_full_w(load(supply_v), 12.8) == pytest.approx((idle_w, full_w))
