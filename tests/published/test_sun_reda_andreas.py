"""I. Reda and A. Andreas, "Solar position algorithm for solar radiation applications," NREL/TP-560-34302, table A5.1
(worked example): 17 October 2003, 12:30:30 seven hours behind UTC, 39.742476 N, 105.1786 W, 1830.14 m, 820 mbar, 11 °C.
"""

from __future__ import annotations

from datetime import UTC, datetime

import numpy as np
import pytest

from kitopt.sky.sun import Sun, incidence_cos, sun_at


def _sun() -> Sun:
    moment = datetime(2003, 10, 17, 12, 30, 30, tzinfo=UTC).timestamp() + 7 * 3600
    return sun_at(np.array([moment]), 39.742476, -105.1786, 1830.14, pressure_pa=82000, air_degc=11)


def test_position_of_the_worked_example() -> None:
    sun = _sun()
    assert sun.zenith_deg[0] == pytest.approx(50.111622, abs=1e-5)
    assert sun.azimuth_deg[0] == pytest.approx(194.340241, abs=1e-5)


def test_incidence_on_a_slope_of_30_turned_10_to_the_east_of_south() -> None:
    cosine = incidence_cos(_sun(), 30.0, 170.0)
    assert np.degrees(np.arccos(cosine[0])) == pytest.approx(25.18700, abs=1e-4)


@pytest.mark.parametrize("clock", [(17, 6, 12, 43), (16, 17, 20, 19)], ids=["sunrise", "sunset"])
def test_sun_stands_at_the_horizon_at_the_stated_rise_and_set(clock: tuple[int, int, int, int]) -> None:
    # the algorithm counts days in universal time, so its sunset is that of the evening before; both are defined by the
    # sun's middle standing 0.8333° below the horizon, without refraction
    moment = datetime(2003, 10, *clock, tzinfo=UTC).timestamp() + 7 * 3600
    sun = sun_at(np.array([moment]), 39.742476, -105.1786, 1830.14, pressure_pa=0.0)
    assert 90.0 - sun.zenith_deg[0] == pytest.approx(-0.8333, abs=0.01)
