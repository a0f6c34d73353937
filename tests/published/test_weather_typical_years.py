"""Typical years that pvlib carries: TMY3 703165 (Sand Point) and 723170 (Greensboro), TMY2 12839 (Miami).

The sums are those of the files' own global irradiance column, added up in file order.
"""

from __future__ import annotations

from pathlib import Path

import numpy as np
import pytest

from kitopt.sky.between_hours import light_over_steps, sky_over_steps
from kitopt.sky.record import TYPICAL_START_S
from kitopt.sky.weather_file import read_weather

# file, kWh/m² in the year, on a mean day in December and in June, on the darkest day, and when that is
SUMS = [
    ("703165TY.csv", 829.243, 0.462, 3.806, 0.164, "01-08"),
    ("723170TYA.CSV", 1566.203, 2.243, 6.251, 0.694, "11-27"),
    ("12839.tm2", 1792.618, 3.362, 5.761, 1.095, "01-01"),
]
HOURS_FROM_UTC = {"703165TY.csv": -9, "723170TYA.CSV": -5, "12839.tm2": -5}


def data_file(name: str) -> Path:
    import pvlib

    return Path(pvlib.__file__).parent / "data" / name


@pytest.mark.parametrize(("name", "year", "december", "june", "worst", "worst_day"), SUMS)
def test_light_over_half_hours_adds_up_to_the_files_global_column(
    name: str, year: float, december: float, june: float, worst: float, worst_day: str
) -> None:
    record = read_weather(data_file(name))
    assert record.is_typical
    assert record.n_intervals == 8760
    assert record.start_s == TYPICAL_START_S - HOURS_FROM_UTC[name] * 3600
    dni, dhi = light_over_steps(record, np.array([0]), 0.0, 1800.0, 17520)
    at_s = record.start_s + (np.arange(17520) + 0.5) * 1800.0
    sun, _ = sky_over_steps(record, at_s)
    days = ((dni[0] * sun.cos_zenith + dhi[0]) * 0.5 / 1000).reshape(365, 48).sum(axis=1)
    dates = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]")
    month = dates.astype("datetime64[M]").astype(int) % 12
    assert days.sum() == pytest.approx(year, rel=0.01)
    assert days[month == 11].mean() == pytest.approx(december, rel=0.03)
    assert days[month == 5].mean() == pytest.approx(june, rel=0.02)
    assert days.min() == pytest.approx(worst, rel=0.08)
    assert str(dates[days.argmin()])[5:] == worst_day


@pytest.mark.parametrize("name", HOURS_FROM_UTC)
def test_stamps_are_starts_of_hours(name: str) -> None:
    # the files carry the extraterrestrial irradiance on the flat for every hour: it tells when the hours are
    import pvlib

    path = data_file(name)
    frame, _ = (pvlib.iotools.read_tmy2 if name.endswith("tm2") else pvlib.iotools.read_tmy3)(str(path))
    column = "ETR" if "ETR" in frame else "ghi_extra"
    outside = frame[column].to_numpy(dtype=float)
    record = read_weather(path)

    def miss_wm2(shift_s: float) -> float:
        sun, _ = sky_over_steps(record, record.start_s + (np.arange(8760) + 0.5) * 3600.0 + shift_s)
        return float(np.abs(sun.cos_zenith * sun.extra_wm2 - outside).mean())

    assert miss_wm2(0.0) < 6.0
    assert min(miss_wm2(-1800.0), miss_wm2(1800.0)) > 4 * miss_wm2(0.0)
