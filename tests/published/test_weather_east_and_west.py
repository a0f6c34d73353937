"""Panels facing east and west against the typical years' own hours (files carried by pvlib; see their manuals,
NREL/TP-581-43156 and NREL/SP-463-7668, for the stamps).

The expected energy is worked out here straight from the hourly columns: beam by the incidence angle in the middle of
the hour, sky by Hay and Davies written out, ground at 0.2. A shift of half an hour moves the two in opposite ways by
ten per cent and more, and is invisible facing south.
"""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path
from zoneinfo import ZoneInfo

import numpy as np
import pytest

from kitopt.operation.terms import Aim, Need, Operation, Site, WeatherFile
from kitopt.sky import windows_for


def _expected_wh(name: str, hours_from_utc: int, month: int, tilt_deg: float, azimuth_deg: float) -> float:
    """One month from the file's own columns, Wh/m²."""
    import pandas as pd
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / name
    frame, meta = (pvlib.iotools.read_tmy2 if name.endswith("tm2") else pvlib.iotools.read_tmy3)(str(path))
    frame = frame.rename(columns={"DNI": "dni", "DHI": "dhi"})
    middles = pd.date_range("2001-01-01 00:30", periods=8760, freq="h", tz="UTC") - pd.Timedelta(hours=hours_from_utc)
    position = pvlib.solarposition.get_solarposition(middles, meta["latitude"], meta["longitude"])
    zenith = np.radians(position["apparent_zenith"].to_numpy())
    azimuth = np.radians(position["azimuth"].to_numpy())
    tilt, turn = np.radians(tilt_deg), np.radians(azimuth_deg)
    facing = np.maximum(np.cos(zenith) * np.cos(tilt) + np.sin(zenith) * np.sin(tilt) * np.cos(azimuth - turn), 0.0)
    high = np.maximum(np.cos(zenith), 0.0)
    dni, dhi = frame["dni"].to_numpy(dtype=float), frame["dhi"].to_numpy(dtype=float)
    dni = np.where(zenith < np.pi / 2, dni, 0.0)
    share = dni / pvlib.irradiance.get_extra_radiation(middles).to_numpy()
    ratio = facing / np.maximum(high, 0.01745)
    sky = dhi * ((1 - share) * (1 + np.cos(tilt)) / 2 + share * ratio)
    plane = dni * facing + sky + 0.2 * (dni * high + dhi) * (1 - np.cos(tilt)) / 2
    months = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12 + 1
    return float(plane[np.repeat(months, 24) == month].sum())


@pytest.mark.parametrize(
    ("name", "place", "hours_from_utc"),
    [
        ("703165TY.csv", (55.317, -160.517), -9),
        ("723170TYA.CSV", (36.1, -79.95), -5),
        ("12839.tm2", (25.8, -80.267), -5),
    ],
)
@pytest.mark.parametrize("azimuth_deg", [90.0, 270.0], ids=["east", "west"])
@pytest.mark.parametrize("month", [1, 6, 10])
def test_month_facing(
    name: str, place: tuple[float, float], hours_from_utc: int, azimuth_deg: float, month: int
) -> None:
    import pvlib

    n_days = [31, 28, 31, 30, 31, 30, 31, 31, 30, 31, 30, 31][month - 1]
    zone = ZoneInfo(f"Etc/GMT+{-hours_from_utc}")
    path = Path(pvlib.__file__).parent / "data" / name
    operation = Operation(
        "east-west.toml",
        "east and west",
        datetime(2025, month, 1, tzinfo=zone),
        24.0 * n_days,
        Site(*place, 0.0, zone, None, None),
        (),
        Need(weather=WeatherFile(path), windows=41),
        Aim("fixed", tilt_deg=60.0, azimuth_deg=azimuth_deg),
    )
    sky = windows_for(operation)
    row = sky.labels.index(f"typical {month:02d}-01")
    ours = float(sky.poa_wm2["aimed"][row].sum() * 0.5)
    assert operation.start.astimezone(UTC).hour == -hours_from_utc
    assert ours == pytest.approx(_expected_wh(name, hours_from_utc, month, 60.0, azimuth_deg), rel=0.02)
