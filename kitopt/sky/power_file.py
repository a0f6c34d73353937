"""The open text format of hourly NASA POWER data: a block of header lines, then one row an hour."""

from __future__ import annotations

import re
from collections.abc import Mapping
from dataclasses import dataclass
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault

Array = NDArray[np.float64]

BEGIN, END = "-BEGIN HEADER-", "-END HEADER-"

MISSING = -999.0

NAMES = {
    "ghi": "ALLSKY_SFC_SW_DWN",
    "dni": "ALLSKY_SFC_SW_DNI",
    "dhi": "ALLSKY_SFC_SW_DIFF",
    "temp_air": "T2M",
    "wind_speed": "WS10M",
}
"""pvlib's names and POWER's."""

_UNITS = {"ghi": "Wh/m^2", "dni": "Wh/m^2", "dhi": "Wh/m^2", "temp_air": "C", "wind_speed": "m/s"}


@dataclass(frozen=True)
class PowerData:
    """Hourly data of one point; `start_s` counts universal time since 1970, columns go by pvlib's names."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    start_s: Array
    columns: Mapping[str, Array]


def power_text(data: PowerData, title: str) -> str:
    """Data in POWER's text format, in universal time.

    References
    ----------
    .. [1] NASA POWER project, hourly API documentation, output format CSV.
    """
    days = (data.start_s[[0, -1]].astype(np.int64)).astype("datetime64[s]").astype("datetime64[D]").tolist()
    first, last = (day.strftime("%m/%d/%Y") for day in days)
    names = [name for name in NAMES if name in data.columns]
    head = [
        BEGIN,
        title,
        f"Dates (month/day/year): {first} through {last} in UTC",
        f"Location: latitude {data.latitude_deg:g} longitude {data.longitude_deg:g}",
        f"elevation from MERRA-2: Average for 0.5 x 0.625 degree lat/lon region = {data.altitude_m:g} meters",
        f"The value for missing source data that cannot be computed or is outside of the sources range: {MISSING:g}",
        "parameter(s):",
        *(f"{NAMES[name]} ({_UNITS[name]})" for name in names),
        END,
        ",".join(["YEAR", "MO", "DY", "HR", *(NAMES[name] for name in names)]),
    ]
    at = data.start_s.astype(np.int64).astype("datetime64[s]").tolist()
    values = [np.nan_to_num(data.columns[name], nan=MISSING) for name in names]
    rows = [
        f"{when.year},{when.month},{when.day},{when.hour}," + ",".join(f"{value:.2f}" for value in row)
        for when, row in zip(at, zip(*values, strict=True), strict=True)
    ]
    return "\n".join([*head, *rows]) + "\n"


def parse_power(text: str, path: Path) -> PowerData:
    """Read POWER's text format, in universal or local solar time.

    Raises
    ------
    BadInput
        With the line, where there is one.
    """
    import io

    import pandas as pd

    def fault(line: int | None, column: str | None, found: str) -> BadInput:
        return BadInput([Fault(str(path), line, column, found)])

    lines = text.splitlines()
    try:
        end = lines.index(END)
    except ValueError:
        stripped = [line.strip() for line in lines]
        if END not in stripped:
            raise fault(1, None, f"found no line {END}, need a whole NASA POWER file: fetch it again.") from None
        end = stripped.index(END)
    head = "\n".join(lines[:end])
    place = re.search(r"latitude\s+(-?[\d.]+)\s+longitude\s+(-?[\d.]+)", head, re.IGNORECASE)
    if place is None:
        raise fault(2, None, 'found no line "Location: latitude … longitude …", need one in the header.')
    height = re.search(r"elevation.*=\s*(-?[\d.]+)", head, re.IGNORECASE)
    latitude, longitude = float(place[1]), float(place[2])
    try:
        frame = pd.read_csv(io.StringIO("\n".join(lines[end + 1 :])))
        stamps = frame[["YEAR", "MO", "DY", "HR"]].set_axis(["year", "month", "day", "hour"], axis=1)
        start_s = pd.to_datetime(stamps).to_numpy().astype("datetime64[s]").astype(np.float64)
    except (ValueError, KeyError) as why:
        raise fault(end + 2, None, f"found rows that are not POWER's, need YEAR,MO,DY,HR and values ({why}).") from why
    missing = [NAMES[name] for name in ("dni", "dhi") if NAMES[name] not in frame]
    if missing:
        text = f"found no column {' or '.join(missing)}, need both: fetch the file again with them."
        raise fault(end + 2, missing[0], text)
    if re.search(r"\bin LST\b", head):
        start_s = start_s - round(longitude / 15.0) * 3600.0
    columns: dict[str, Array] = {}
    for name, theirs in NAMES.items():
        if theirs in frame:
            values = np.asarray(pd.to_numeric(frame[theirs], errors="coerce"), dtype=np.float64)
            columns[name] = np.where(values <= MISSING + 1e-6, np.nan, values)
    return PowerData(latitude, longitude, float(height[1]) if height else 0.0, start_s, columns)
