"""The built-in climate against typical years of three stations (carried by pvlib), against its own data file
(MERRA-2 2011–2015, Gelaro et al. 2017, package gsee-climate-data), and against the persistence of V. A. Graham,
K. G. T. Hollands and T. E. Unny, Solar Energy 40(2), 1988.
"""

from __future__ import annotations

from datetime import datetime
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from kitopt.operation.terms import Need, Operation, Site
from kitopt.sky import windows_for
from kitopt.sky.climate import PLACE_SPREAD
from kitopt.sky.climate_data import cells_of
from kitopt.sky.draws import day_ranks, place_factors
from kitopt.sky.sun import outside_day_whm2

UTC_ZONE = ZoneInfo("UTC")


def _daily_kwh(place: tuple[float, float, float], start: datetime, n_days: int, n: int) -> np.ndarray:
    """Light on the flat by day, kWh/m², shape (n, n_days)."""
    zone = UTC_ZONE
    operation = Operation("c.toml", "c", start, 24.0 * n_days, Site(*place, zone, 5.0, 15.0), (), Need())
    sky = windows_for(operation, n=n)
    return sky.poa_wm2["flat"].reshape(n, n_days, 48).sum(axis=2) * 0.5 / 1000


# mean daily kWh/m² of the whole month in the typical years; sums of the files' global columns
STATIONS = [
    ((55.317, -160.517, 7.0), 20, 0.462, 3.806),
    ((36.1, -79.95, 273.0), 5, 2.243, 6.251),
    ((25.8, -80.267, 2.0), 5, 3.362, 5.761),
]


@pytest.mark.parametrize(("place", "start_hour", "december", "june"), STATIONS)
def test_months_lie_within_35_per_cent_of_the_typical_years(
    place: tuple[float, float, float], start_hour: int, december: float, june: float
) -> None:
    for month, expected in ((12, december), (6, june)):
        ours = _daily_kwh(place, datetime(2025, month, 1, start_hour % 12, tzinfo=UTC_ZONE), 30, 200).mean()
        assert ours == pytest.approx(expected, rel=0.35)


def test_uncorrected_data_are_too_sunny_on_the_whole() -> None:
    # all months of two stations, straight from their columns and from the file of distributions; A. Boilley and
    # L. Wald, Renewable Energy 75, 2015, found the same direction for the data's predecessor
    from pathlib import Path

    import gsee_climate_data
    import pvlib

    with gsee_climate_data.load() as file:
        latitudes, longitudes, bins, share = file["lat"], file["lon"], file["xk"], file["pk"]
    months = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    biases = []
    for name in ("703165TY.csv", "723170TYA.CSV"):
        frame, meta = pvlib.iotools.read_tmy3(Path(pvlib.__file__).parent / "data" / name)
        measured = np.bincount(months, frame["ghi"].to_numpy(dtype=float).reshape(365, 24).mean(axis=1))
        row = np.argmin(np.abs(latitudes - meta["latitude"]))
        column = np.argmin(np.abs(longitudes - meta["longitude"]))
        biases.append((bins[row, column] * share[row, column]).sum(axis=1) / (measured / np.bincount(months)) - 1)
    assert 0.05 < np.mean(biases) < 0.25


def test_mid_month_days_have_the_cells_mean_lowered_spread_and_capped_as_stated() -> None:
    # worked out here from the file and pvlib alone: the bins, less than nothing counted as nothing, lowered by
    # TOO_SUNNY_SHARE (0.88), times what places differ by (PLACE_SPREAD, 0.28: a lognormal of mean one), none of it over
    # a day of pvlib's clear sky (Ineichen and Perez 2002). The cap alone takes 1 to 4 %, with the spread 6 to 8 %. The
    # place is the middle of its cell, so no other cell takes part
    import gsee_climate_data
    import pandas as pd
    import pvlib
    from scipy.special import ndtri

    with gsee_climate_data.load() as file:
        row, column = int(np.argmin(np.abs(file["lat"] - 45.0))), int(np.argmin(np.abs(file["lon"] - 9.0)))
        place = (float(file["lat"][row]), float(file["lon"][column]), 100.0)
        bins, share = file["xk"][row, column], file["pk"][row, column]
    of_place = np.exp(0.28 * ndtri((np.arange(1000) + 0.5) / 1000) - 0.28**2 / 2)
    for month in (3, 6, 9):
        times = pd.date_range(f"2025-{month:02d}-15", periods=2 * 24 * 12, freq="5min", tz="UTC")
        cloudless = pvlib.location.Location(*place[:2], altitude=place[2]).get_clearsky(times)["ghi"].mean() * 0.024
        days = np.maximum(bins[month - 1], 0.0) * 0.024 * 0.88
        expected = (np.minimum(days[:, None] * of_place, cloudless).mean(axis=1) * share[month - 1]).sum()
        ours = _daily_kwh(place, datetime(2025, month, 15, tzinfo=UTC_ZONE), 2, 2000).mean()
        # the windows' means spread by a quarter: of 2,000, three standard errors are 2 %
        assert ours == pytest.approx(expected, rel=0.02)


def _lag_one(level: np.ndarray) -> float:
    """Correlation of neighbours in rows, after each column is turned into Gaussian ranks."""
    from scipy.special import ndtri
    from scipy.stats import rankdata

    gauss = ndtri((rankdata(level, axis=0) - 0.5) / len(level))
    return float(np.mean([np.corrcoef(gauss[:, day], gauss[:, day + 1])[0, 1] for day in range(level.shape[1] - 1)]))


def test_days_persist_as_three_stations_days_do() -> None:
    # the stations' own columns, month by month: daily light, ranked within its month. Graham et al. give 0.29 (from
    # memory); months of typical years are whole months of real ones
    from pathlib import Path

    import pvlib
    from scipy.special import ndtri
    from scipy.stats import rankdata

    months = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    found = []
    for name in ("703165TY.csv", "723170TYA.CSV"):
        frame, _ = pvlib.iotools.read_tmy3(Path(pvlib.__file__).parent / "data" / name)
        daily = frame["ghi"].to_numpy(dtype=float).reshape(365, 24).sum(axis=1)
        for month in range(12):
            light = daily[months == month]
            gauss = ndtri((rankdata(light) - 0.5) / len(light))
            found.append(float(np.mean(gauss[1:] * gauss[:-1]) / gauss.var()))
    ours = _lag_one(day_ranks(3, np.arange(400), np.arange(150, 200)))
    # the mean of 24 months of 30 days has a standard error near 0.04
    assert ours == pytest.approx(np.mean(found), abs=0.12)


def test_the_light_itself_persists() -> None:
    # within a place: what the whole window shares is divided out, where neither floor nor clear sky cuts it off
    light = _daily_kwh((43.46, -3.8, 40.0), datetime(2025, 10, 10, tzinfo=UTC_ZONE), 5, 1000)
    within = light / place_factors(1, np.arange(1000), PLACE_SPREAD)
    assert 0.15 <= _lag_one(within) <= 0.45


def test_windows_differ_in_their_place_by_the_stated_spread() -> None:
    # lognormal with mean one: the variance of a lognormal is exp(s²) - 1, its median exp(-s²/2)
    factors = place_factors(7, np.arange(4000), PLACE_SPREAD)[:, 0]
    assert factors.mean() == pytest.approx(1.0, abs=0.01)
    assert factors.var() == pytest.approx(np.exp(0.28**2) - 1, rel=0.08)
    assert np.median(factors) == pytest.approx(np.exp(-(0.28**2) / 2), abs=0.012)


def test_no_day_is_darker_than_a_clearness_of_0_05() -> None:
    # P. Bendt, M. Collares-Pereira and A. Rabl, Solar Energy 27, 1981: the lowest clearness of their distributions
    light = _daily_kwh((55.317, -160.517, 7.0), datetime(2025, 1, 10, 11, tzinfo=UTC_ZONE), 4, 1000)
    outside = outside_day_whm2(55.317, np.arange(10, 14)) / 1000
    assert (light >= 0.05 * outside * 0.97).all()
    assert np.isclose(light, 0.05 * outside, rtol=0.03).any()


def test_quantiles_run_through_the_cells_distribution() -> None:
    cell = cells_of(45.0, 9.0).parts[0][1]
    middle = np.array([int(cell.middles[5])])
    ranks = np.linspace(0.0, 1.0, 201)[:, None]
    clear = cell.quantile(ranks, middle)[:, 0]
    assert (np.diff(clear) >= 0).all()
    assert clear[0] >= 0.0
    assert clear[-1] < 1.0
