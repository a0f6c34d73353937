"""Weather files: told apart by how they begin, read through pvlib, every stamp turned into an interval's start."""

from __future__ import annotations

import io
import re
import warnings
from collections.abc import Callable, Mapping
from functools import lru_cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.files.faults import FaultList, quoted
from kitopt.files.reading import read_bytes, what_lies_at
from kitopt.sky.clear_sky import Place
from kitopt.sky.power_file import BEGIN, parse_power
from kitopt.sky.record import Record, Table, lay_out

Array = NDArray[np.float64]

_TYPICAL = re.compile(
    r"\b(TMY\w*|I?WEC2?|SWEC|TRY\d*|DRY|RMY|CSWD|CWEC|ISHRAE|INETI|MN\d|METEONORM|typical year|synthetic)\b",
    re.IGNORECASE,
)
"""Words in an EPW's head that say how its year was made: joined from months of several years, or by a generator."""

_KNOWN = "TMY3 (.csv), TMY2 (.tm2), EPW (.epw), NSRDB (.csv) or NASA POWER (.csv)"


LARGEST_BYTES = 64_000_000
"""Fifty years of hours, or several of five minutes."""


def read_weather(path: Path) -> Record:
    """Weather of a file; read once, as long as the file stays as it is.

    Raises
    ------
    BadInput
        If the file cannot be read, is of no known kind, is shorter than a year, or has too many gaps.
    """
    if what_lies_at(path) != "file":
        return _read(path, 0, 0)
    now = path.stat()
    return _read(path, now.st_mtime_ns, now.st_size)


@lru_cache(maxsize=4)
def _read(path: Path, _changed: int, _size: int) -> Record:
    faults = FaultList(str(path))
    raw = read_bytes(path, faults, LARGEST_BYTES)
    if raw is None:
        raise BadInput(faults.listed())
    return weather_of(raw, path)


def weather_of(raw: bytes, path: Path) -> Record:
    """Weather in the bytes of a file that is, or will be, at a path.

    Raises
    ------
    BadInput
        As for `read_weather`.
    """
    try:
        text = raw.decode("utf-8-sig")
    except UnicodeDecodeError:
        text = raw.decode("latin-1")
    reader = _reader_of(text)
    if reader is None:
        raise _fault(path, f"begins with {quoted(_first_line(text))}, need a file of a known kind: {_KNOWN}.", 1)
    try:
        with warnings.catch_warnings():
            warnings.simplefilter("ignore")
            table = reader(text, path)
    except BadInput:
        raise
    except Exception as why:  # the readers raise whatever their parsing meets; to the user it is one thing
        raise _fault(path, f"cannot be read as the kind that it begins like ({why}): get the file again.") from why
    latitude, longitude = table.place.latitude_deg, table.place.longitude_deg
    if not abs(latitude) <= 90:
        raise _fault(path, f"found latitude {latitude:g}, need one between -90 and 90.", 1)
    if not abs(longitude) <= 360:
        raise _fault(path, f"found longitude {longitude:g}, need one between -180 and 180.", 1)
    return lay_out(table, path)


def _fault(path: Path, text: str, line: int | None = None) -> BadInput:
    return BadInput([Fault(str(path), line, None, text)])


def _first_line(text: str) -> str:
    return text[:40].splitlines()[0] if text.strip() else ""


def _reader_of(text: str) -> Callable[[str, Path], Table] | None:
    """The reader for a file that begins like this, or None."""
    begin = text[:4000].lstrip("\r\n")
    lines = begin.splitlines()
    if begin.startswith(BEGIN):
        return _power
    if begin.upper().startswith("LOCATION,"):
        return _epw
    if len(lines) > 1 and lines[1].startswith("Date (MM/DD/YYYY)"):
        return _tmy3
    if begin.startswith("Source,"):
        return _nsrdb
    if re.match(r"\s*\d{5}\s.*\s-?\d+ [NS]\s+\d+\s+\d+\s+[EW]\s+\d+\s+\d+\s+-?\d+\s*$", lines[0] if lines else ""):
        return _tmy2
    return None


def _seconds(index: Any) -> Array:
    """Stamps as seconds of universal time; stamps without a zone would silently be read as universal time."""
    if index.tz is None:
        raise ValueError("time stamps carry no time zone")
    at = index.tz_convert("UTC").tz_localize(None).to_numpy().astype("datetime64[s]")
    # a stamp that is none would be the least whole number there is
    return np.where(np.isnat(at), np.nan, at.astype(np.int64).astype(np.float64))


def _column(frame: Any, name: str, lowest: float, highest: float, scale: float = 1.0) -> Array:
    """A column as numbers; what lies outside the bounds marks a missing value in every one of these formats."""
    import pandas as pd

    if name not in frame:
        return np.full(len(frame), np.nan)
    values = np.asarray(pd.to_numeric(frame[name], errors="coerce"), dtype=np.float64) * scale
    return np.where((values >= lowest) & (values <= highest), values, np.nan)


def _table(
    kind: str,
    frame: Any,
    meta: Mapping[str, Any],
    start_s: Array,
    *,
    names: tuple[str, str, str, str] = ("dni", "dhi", "temp_air", "wind_speed"),
    tenths: float = 1.0,
    air_lag_s: float,
    utc_offset_h: float,
    outside: str = "",
    is_typical: bool = False,
) -> Table:
    dni, dhi, air, wind = names
    return Table(
        kind,
        Place(float(meta["latitude"]), float(meta["longitude"]), float(meta["altitude"])),
        start_s,
        _column(frame, dni, 0.0, 1500.0),
        _column(frame, dhi, 0.0, 1500.0),
        _column(frame, air, -90.0, 60.0, tenths),
        _column(frame, wind, 0.0, 80.0, tenths),
        air_lag_s,
        utc_offset_h * 3600.0,
        _column(frame, outside, 0.0, 1500.0),
        is_typical,
    )


def _tmy3(text: str, path: Path) -> Table:
    """TMY3: rows are stamped with the end of their hour, air is that of the stamp (NREL/TP-581-43156)."""
    import pvlib

    frame, meta = pvlib.iotools.read_tmy3(io.StringIO(text), map_variables=True)
    return _table(
        "TMY3",
        frame,
        meta,
        _seconds(frame.index) - 3600.0,
        air_lag_s=3600.0,
        utc_offset_h=float(meta["TZ"]),
        outside="ghi_extra",
        is_typical=True,
    )


def _tmy2(text: str, path: Path) -> Table:
    """TMY2: hours 1 to 24 in the file, made starts of the hour by pvlib; air in tenths, at the hour's end."""
    import pvlib

    # this reader takes a path only, and knows no other encoding than the system's
    frame, meta = pvlib.iotools.read_tmy2(str(path))
    return _table(
        "TMY2",
        frame,
        meta,
        _seconds(frame.index),
        names=("DNI", "DHI", "DryBulb", "Wspd"),
        tenths=0.1,
        air_lag_s=3600.0,
        utc_offset_h=float(meta["TZ"]),
        outside="ETR",
        is_typical=True,
    )


def _epw(text: str, path: Path) -> Table:
    """EPW: hours 1 to 24 in the file, made starts of the hour by pvlib; air at the hour's end."""
    import pvlib

    frame, meta = pvlib.iotools.read_epw(io.StringIO(text))
    return _table(
        "EPW",
        frame,
        meta,
        _seconds(frame.index),
        air_lag_s=3600.0,
        utc_offset_h=float(meta["TZ"]),
        outside="etr",
        is_typical=_TYPICAL.search("\n".join(text.splitlines()[:8])) is not None,
    )


def _nsrdb(text: str, path: Path) -> Table:
    """NSRDB: values hold around their stamp, which lies in the middle of the interval."""
    import pvlib

    frame, meta = pvlib.iotools.read_nsrdb_psm4(io.StringIO(text.replace("\r\n", "\n")), map_variables=True)
    stamps = _seconds(frame.index)
    interval_s = float(np.median(np.diff(stamps)))
    offset_h = float(meta["Time Zone"])
    return _table("NSRDB", frame, meta, stamps - interval_s / 2, air_lag_s=interval_s / 2, utc_offset_h=offset_h)


def _power(text: str, path: Path) -> Table:
    """NASA POWER: rows are stamped with the start of their hour, values are means over it."""
    import pandas as pd

    data = parse_power(text, path)
    place = {"latitude": data.latitude_deg, "longitude": data.longitude_deg, "altitude": data.altitude_m}
    frame = pd.DataFrame(data.columns)
    offset_h = float(round(data.longitude_deg / 15.0))
    return _table("NASA POWER", frame, place, data.start_s, air_lag_s=1800.0, utc_offset_h=offset_h)
