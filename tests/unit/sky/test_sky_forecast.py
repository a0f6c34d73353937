"""A forecast for the first days, the climate after; places between the climate's cells."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date

import numpy as np
import pytest

from kitopt.operation.terms import Climate, Operation
from kitopt.sky import windows_for
from kitopt.sky.climate_data import cells_of

Make = Callable[..., Operation]


def _days(operation: Operation, n: int = 800) -> np.ndarray:
    """Light on the flat by day, shape (n, n_days)."""
    return windows_for(operation, n=n).poa_wm2["flat"].reshape(n, -1, 48).sum(axis=2)


def _outing(outing: Make, forecast: tuple[float, ...], hours: float = 96.0) -> Operation:
    return outing(weather=Climate(forecast), start="2026-10-10T00:00", hours=hours)


def test_the_first_days_are_the_forecasts_and_the_rest_the_climates(outing: Make) -> None:
    with_forecast, without = _days(_outing(outing, (0.8, 0.3))), _days(_outing(outing, ()))
    assert np.array_equal(with_forecast[:, 2:], without[:, 2:])
    clear = _days(_outing(outing, (1.0, 1.0))).max(axis=0)
    share = with_forecast[:, :2].mean(axis=0) / clear[:2]
    # a factor with mean one leaves what was said; a cloudless day cuts the brighter draws of the first
    assert share[1] == pytest.approx(0.3, abs=0.015)
    assert 0.70 < share[0] < 0.8


def test_a_forecasts_error_grows_by_day(outing: Make) -> None:
    light = _days(_outing(outing, (0.4, 0.4, 0.4, 0.4)))
    spread = np.log(light).std(axis=0)
    assert (np.diff(spread) > 0).all()
    # what is stated: 0.20 on the first day and 0.05 more a day
    assert spread == pytest.approx([0.20, 0.25, 0.30, 0.35], abs=0.03)


def test_a_longer_forecast_or_operation_leaves_the_first_days(outing: Make) -> None:
    short = _days(_outing(outing, (0.8, 0.3), hours=48.0), n=50)
    assert np.array_equal(short, _days(_outing(outing, (0.8, 0.3, 0.5)), n=50)[:, :2])


def test_the_sky_says_which_days_come_from_where(outing: Make) -> None:
    sky = windows_for(outing(weather=Climate((0.8,)), start="2026-10-10T20:00", hours=26.0), n=2)
    told = [(one.day, one.source, one.share) for one in sky.days]
    assert told == [
        (date(2026, 10, 10), "forecast", 0.8),
        (date(2026, 10, 11), "climate", None),
    ]
    assert any("forecast" in note for note in sky.notes)


def test_halfway_between_two_cells_a_day_is_halfway_too() -> None:
    west, east = cells_of(48.0, 9.0), cells_of(48.0, 12.0)
    middle = cells_of(48.0, 10.5)
    ranks, days = np.linspace(0.01, 0.99, 40)[:, None], np.array([100])
    # 48 N, 9 E and 12 E are middles of cells of 3°, counted from 180 W and 90 S
    assert [len(one.parts) for one in (west, east, middle)] == [1, 1, 2]
    expected = (west.quantile(ranks, days) + east.quantile(ranks, days)) / 2
    assert middle.quantile(ranks, days) == pytest.approx(expected, rel=1e-12)


def test_air_differs_from_window_to_window_and_not_within_one(outing: Make) -> None:
    sky = windows_for(outing(), n=2000)
    shift = sky.air_degc - sky.air_degc[:1]
    assert np.ptp(shift, axis=1).max() < 1e-9
    # 3 °C: three days' mean air around the month's at eight measured places, 2.4 to 4.1
    assert shift[:, 0].std() == pytest.approx(3.0, abs=0.2)
    assert sky.coldest_degc == 6.0
