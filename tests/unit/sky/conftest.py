"""Operations and weather files of the tests' own making; every place and number is invented or carried by pvlib."""

from __future__ import annotations

import csv
from collections.abc import Callable
from datetime import datetime
from pathlib import Path
from typing import Any
from zoneinfo import ZoneInfo

import pytest

from kitopt.operation.terms import Aim, Need, Operation, Site, Weather


@pytest.fixture
def outing() -> Callable[..., Operation]:
    """An operation, by default 26 h from nine in the morning on a northern coast in October."""

    def make(
        *,
        weather: Weather | None = None,
        start: str = "2026-10-10T09:00",
        hours: float = 26.0,
        place: tuple[float, float] = (43.46, -3.80),
        zone: str = "Europe/Madrid",
        aim: Aim = Aim(),  # noqa: B008 - frozen
        coldest_degc: float | None = 6.0,
        warmest_degc: float | None = 19.0,
        need: dict[str, Any] | None = None,
        site: dict[str, Any] | None = None,
    ) -> Operation:
        tz = ZoneInfo(zone)
        asked = dict(need or {})
        if weather is not None:
            asked["weather"] = weather
        return Operation(
            "outing.toml",
            "outing",
            datetime.fromisoformat(start).replace(tzinfo=tz),
            hours,
            Site(*place, 40.0, tz, coldest_degc, warmest_degc, **(site or {})),
            (),
            Need(**asked),
            aim,
        )

    return make


@pytest.fixture(scope="session")
def greensboro() -> Path:
    """A typical year in TMY3 that pvlib carries."""
    import pvlib

    return Path(pvlib.__file__).parent / "data" / "723170TYA.CSV"


@pytest.fixture(scope="session")
def greensboro_rows(greensboro: Path) -> list[tuple[int, int, int, float, float, float, float, float]]:
    """Month, day, hour (0 to 23, start), GHI, DNI, DHI, air, wind, read with nothing but the csv module."""
    with greensboro.open(newline="") as file:
        next(file)
        rows = []
        for row in csv.DictReader(file):
            month, day, _ = row["Date (MM/DD/YYYY)"].split("/")
            rows.append(
                (
                    int(month),
                    int(day),
                    int(row["Time (HH:MM)"][:2]) - 1,
                    *(float(row[name]) for name in ("GHI (W/m^2)", "DNI (W/m^2)", "DHI (W/m^2)")),
                    *(float(row[name]) for name in ("Dry-bulb (C)", "Wspd (m/s)")),
                )
            )
    return rows
