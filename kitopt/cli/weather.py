"""``kitopt fetch-weather``."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from kitopt.cli.request import Answer
from kitopt.errors import BadInput, Fault

YEARS = 10


def run_fetch_weather(
    files: list[Path],
    latitude_deg: float | None,
    longitude_deg: float | None,
    first_year: int | None,
    last_year: int | None,
    *,
    may_replace: bool = False,
) -> Answer:
    """Fetch whole years of hourly weather and say how to use the file.

    Raises
    ------
    BadInput
        If the place is not clear, or the weather cannot be had.
    """
    if len(files) > 2:
        raise BadInput([Fault("fetch-weather", None, None, f"found {len(files)} files, need [OPERATION.toml] FILE.")])
    given = latitude_deg is not None or longitude_deg is not None
    if given == (len(files) == 2) or (given and (latitude_deg is None or longitude_deg is None)):
        text = "need either an operation before FILE, or both --latitude and --longitude."
        raise BadInput([Fault("fetch-weather", None, None, text)])
    if latitude_deg is None or longitude_deg is None:
        from kitopt.operation import read_operation

        site = read_operation(files[0]).site
        latitude_deg, longitude_deg = site.latitude_deg, site.longitude_deg
    target = files[-1]
    last = datetime.now(UTC).year - 1 if last_year is None else last_year
    first = last - YEARS + 1 if first_year is None else first_year

    from kitopt.sky import fetch_weather

    written = fetch_weather(latitude_deg, longitude_deg, first, last, target, may_replace=may_replace)
    text = f'Wrote {written}, {first} to {last}. In the operation: weather = "{target.name}" (a path from its folder).'
    return Answer(text + "\n")
