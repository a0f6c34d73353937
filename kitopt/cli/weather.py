"""``kitopt fetch-weather``."""

from __future__ import annotations

from datetime import UTC, datetime
from pathlib import Path

from kitopt.cli.inputs import Gather
from kitopt.cli.options import read_option
from kitopt.cli.request import Answer
from kitopt.errors import BadInput, Fault
from kitopt.files.faults import quoted

YEARS = 10


def run_fetch_weather(
    files: list[Path],
    latitude: str | None,
    longitude: str | None,
    first_year: str | None,
    last_year: str | None,
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
    given = latitude is not None or longitude is not None
    if given == (len(files) == 2) or (given and (latitude is None or longitude is None)):
        text = "need either an operation before FILE, or both --latitude and --longitude."
        raise BadInput([Fault("fetch-weather", None, None, text)])
    target = files[-1]
    if target.suffix.lower() == ".toml":
        # an operation, which --force would destroy
        text = f"found {quoted(target)} as the file to be written, need one for weather, such as weather.csv."
        raise BadInput([Fault("FILE", None, None, text)])
    gather = Gather()
    last = gather.get(lambda: _year("--last-year", last_year, datetime.now(UTC).year - 1))
    first = gather.get(lambda: _year("--first-year", first_year, (last or 0) - YEARS + 1))
    place = gather.get(lambda: _place(files[0], latitude, longitude))
    gather.stop_if_any()
    assert first is not None
    assert last is not None
    assert place is not None

    from kitopt.sky import fetch_weather

    written = fetch_weather(*place, first, last, target, may_replace=may_replace)
    text = f'Wrote {written}, {first} to {last}. In the operation: weather = "{target.name}" (a path from its folder).'
    return Answer(text + "\n")


def _year(name: str, typed: str | None, otherwise: int) -> int:
    from kitopt.inventory.fields import Number

    year = Number("a year", "2015", least=1, most=9999, whole="exact")
    return otherwise if typed is None else int(read_option(name, year, typed))


def _place(operation: Path, latitude: str | None, longitude: str | None) -> tuple[float, float]:
    """Latitude and longitude as typed, else those of an operation. [deg]"""
    from kitopt.operation import read_operation
    from kitopt.operation.tables import SiteTable

    if latitude is None or longitude is None:
        site = read_operation(operation).site
        return site.latitude_deg, site.longitude_deg
    gather = Gather()
    north = gather.get(lambda: float(read_option("--latitude", (SiteTable, "latitude"), latitude)))
    east = gather.get(lambda: float(read_option("--longitude", (SiteTable, "longitude"), longitude)))
    gather.stop_if_any()
    assert north is not None
    assert east is not None
    return north, east
