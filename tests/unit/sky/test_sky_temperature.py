"""Air, batteries and panels."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.operation.terms import Aim, NoSun, Operation, Shares
from kitopt.sky import windows_for
from kitopt.sky.temperature import daily_air_degc

Make = Callable[..., Operation]


def test_daily_round() -> None:
    # by definition: coldest at 06:00, warmest at 15:00, half way at 10:30 and at 22:30
    ours = daily_air_degc(np.array([6.0, 15.0, 10.5, 22.5, 30.0]), -4.0, 8.0)
    np.testing.assert_allclose(ours, [-4.0, 8.0, 2.0, 2.0, -4.0], atol=1e-9)


def test_daily_round_rises_then_falls() -> None:
    hours = np.arange(6.0, 30.0, 0.25)
    ours = daily_air_degc(hours, 0.0, 10.0)
    turned = int(np.argmax(ours))
    assert hours[turned] == 15.0
    assert (np.diff(ours[: turned + 1]) > 0).all()
    assert (np.diff(ours[turned:]) < 0).all()


def test_batteries_follow_three_hours_late(outing: Make) -> None:
    sky = windows_for(outing(weather=NoSun(), hours=48.0))
    np.testing.assert_allclose(sky.battery_degc[0, 6:], sky.air_degc[0, :-6], atol=1e-9)
    # and before the start they had the air of earlier hours
    assert sky.battery_degc[0, 0] == pytest.approx(daily_air_degc(np.array([6.25]), 6.0, 19.0)[0])


def test_coldest_is_the_sites_own(outing: Make) -> None:
    assert windows_for(outing(weather=NoSun(), hours=2.0)).coldest_degc == 6.0


def test_panels_on_the_ground_run_hotter_than_those_that_stand(outing: Make) -> None:
    sky = windows_for(outing(weather=Shares((1.0,)), aim=Aim("fixed", tilt_deg=1.0, azimuth_deg=180.0)))
    noon = int(sky.poa_wm2["flat"].argmax())
    assert sky.panel_degc["flat"][0, noon] > sky.panel_degc["aimed"][0, noon] + 8
