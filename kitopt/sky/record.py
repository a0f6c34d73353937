"""Measured or typical weather, interval by interval, on an even grid."""

from __future__ import annotations

from dataclasses import dataclass, replace
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.sky.clear_sky import Place
from kitopt.sky.in_step import MOST_S, seconds_late

Array = NDArray[np.float64]

_DAY_S = 86400

_MOST_OFFSET_S = 14 * 3600
"""No civil time is further from universal time (IANA time zone database: Pacific/Kiritimati)."""

_BRIDGED_S = 3 * 3600
"""Longer gaps in the light are not guessed; windows that touch one are left out. [s]"""

_MOST_MISSING_SHARE = 0.1

_MOST_SLOTS_A_ROW = 4
"""Gaps of up to three hours are bridged, so even a file of every fourth hour may do."""

TYPICAL_START_S = float(np.datetime64("2001-01-01", "s").astype(np.int64))
"""Typical years are laid on 2001, an ordinary year midway between two long ones."""


@dataclass(frozen=True)
class Table:
    """Rows as they stand in a file, in file order.

    Attributes
    ----------
    start_s : ndarray, shape (n_rows,)
        Start of each row's interval, seconds of universal time since 1970.
    air_lag_s : float
        When the air was measured: seconds after the interval's start.
    utc_offset_s : float
        The file's standard time less universal time. [s]
    outside_wm2 : ndarray, shape (n_rows,)
        Irradiance on the flat outside the atmosphere, as the file has it; NaN where it does not. [Wm⁻²]
    is_typical : bool
        Whether the file says that its months were chosen from different years.
    """

    kind: str
    place: Place
    start_s: Array
    dni_wm2: Array
    dhi_wm2: Array
    air_degc: Array
    wind_ms: Array
    air_lag_s: float
    utc_offset_s: float
    outside_wm2: Array
    is_typical: bool


@dataclass(frozen=True)
class Record:
    """Weather on an even grid, shape (n_intervals,); light is NaN in gaps, air and wind are filled.

    Attributes
    ----------
    start_s : float
        Start of the first interval, seconds of universal time since 1970.
    interval_s : int
        Length of one. [s]
    is_typical : bool
        Whether it is one year that stands for all; its end then joins its beginning.
    air_degc, wind_ms : ndarray or None
        None when the file does not know.
    """

    kind: str
    place: Place
    start_s: float
    interval_s: int
    is_typical: bool
    dni_wm2: Array
    dhi_wm2: Array
    air_degc: Array | None
    wind_ms: Array | None
    air_lag_s: float
    late_s: float = 0.0

    @property
    def n_intervals(self) -> int:
        """Number of intervals."""
        return len(self.dni_wm2)

    @property
    def end_s(self) -> float:
        """End of the last interval, seconds of universal time since 1970."""
        return self.start_s + self.n_intervals * self.interval_s


def lay_out(table: Table, path: Path) -> Record:
    """Put a file's rows on an even grid, in step with the sun; a typical year is laid on one year.

    Raises
    ------
    BadInput
        If there is less than a year, rows are doubled, more than a tenth of the light is missing, or it comes when the
        sun does not.
    """
    n_rows = len(table.start_s)
    if n_rows < 365:
        raise _fault(path, f"found {n_rows} rows of weather, need a whole year or several: get a longer file.")
    if not abs(table.utc_offset_s) <= _MOST_OFFSET_S:
        found = f"found a time zone {table.utc_offset_s / 3600:g} h from universal time"
        raise _fault(path, f"{found}, need at most {_MOST_OFFSET_S / 3600:g} h: get the file again.")
    if not np.isfinite(table.start_s).all():
        raise _fault(path, "found rows without a date and hour, need both in every row: get the file again.")
    interval_s = int(np.median(np.diff(np.sort(table.start_s))))
    if interval_s < 60 or interval_s > 3600 or 3600 % interval_s:
        raise _fault(path, f"found rows {interval_s / 60:g} minutes apart, need an even part of an hour, such as 60.")
    a_year = 365 * _DAY_S // interval_s
    if n_rows < a_year * (1 - _MOST_MISSING_SHARE):
        days = n_rows * interval_s / _DAY_S
        raise _fault(path, f"found {days:.1f} days of weather, need a whole year or several: get a longer file.")
    late_s = _late_s(table, interval_s, path)
    table = replace(table, start_s=table.start_s + late_s)
    # months that follow each other from different years betray one, whatever the file says
    is_joined = bool((np.abs(np.diff(table.start_s)) > 40 * _DAY_S).any())
    is_typical = n_rows <= a_year + _DAY_S // interval_s and (table.is_typical or is_joined)
    if is_typical:
        # half-hourly values centred on their stamps begin a quarter of an hour off the clock's half hours
        local_s = table.start_s + table.utc_offset_s
        phase_s = float(np.median(local_s % interval_s))
        keep, slot = _slots_of_a_year(local_s - phase_s, interval_s)
        start_s, n_slots = TYPICAL_START_S + phase_s - table.utc_offset_s, a_year
    else:
        start_s = float(table.start_s.min())
        keep = np.arange(n_rows)
        slot = np.round((table.start_s - start_s) / interval_s).astype(np.int64)
        n_slots = int(slot.max()) + 1
        # before room is made for them: two rows may lie eight thousand years apart
        if n_slots > _MOST_SLOTS_A_ROW * n_rows:
            found = f"found rows from {_day(start_s)} to {_day(float(table.start_s.max()))}"
            raise _fault(path, f"{found}, but too few to fill that time, need years without long gaps.")
    if len(np.unique(slot)) < len(slot):
        raise _fault(path, "found the same hour twice: take out the doubled rows.")

    def spread(values: Array) -> Array:
        whole = np.full(n_slots, np.nan)
        whole[slot] = values[keep]
        return whole

    bridged = _BRIDGED_S // interval_s
    light = [_fill(spread(values), bridged) for values in (table.dni_wm2, table.dhi_wm2)]
    missing = float(np.mean(np.isnan(light[0]) | np.isnan(light[1])))
    if missing > _MOST_MISSING_SHARE:
        raise _fault(
            path, f"found {100 * missing:.0f} % of the direct and diffuse light missing, need at least nine tenths."
        )
    air, wind = (_known(spread(values)) for values in (table.air_degc, table.wind_ms))
    return Record(
        table.kind, table.place, start_s, interval_s, is_typical, light[0], light[1], air, wind, table.air_lag_s, late_s
    )


def _late_s(table: Table, interval_s: int, path: Path) -> float:
    """How much later the rows are read, so that the light comes with the sun. [s]"""
    place = table.place
    light_wm2 = table.dni_wm2 + table.dhi_wm2
    late_s = seconds_late(
        table.start_s, interval_s, place.latitude_deg, place.longitude_deg, light_wm2, table.outside_wm2
    )
    if abs(late_s) > MOST_S:
        early = "before" if late_s > 0 else "after"
        raise _fault(
            path,
            f"found light that comes {abs(late_s) / 3600:.1f} h {early} the sun at {place.latitude_deg:g}, "
            f"{place.longitude_deg:g}, need rows in step with it: look at the file's longitude and time zone.",
        )
    return late_s


def _day(at_s: float) -> str:
    return str(np.datetime64(int(at_s), "s").astype("datetime64[D]"))


def _fault(path: Path, text: str) -> BadInput:
    return BadInput([Fault(str(path), None, None, text)])


def _slots_of_a_year(local_s: Array, interval_s: int) -> tuple[NDArray[np.int64], NDArray[np.int64]]:
    """Rows that are not on the 29th of February, and where each stands in a year of 365 days."""
    at = local_s.astype(np.int64).astype("datetime64[s]")
    days = at.astype("datetime64[D]")
    months = days.astype("datetime64[M]")
    month = months.astype(np.int64) % 12
    of_month = (days - months).astype(np.int64)
    keep = np.flatnonzero(~((month == 1) & (of_month == 28)))
    ordinary = np.arange("2001-01", "2002-01", dtype="datetime64[M]").astype("datetime64[D]")
    starts = (ordinary - ordinary[0]).astype(np.int64)
    of_day = (at - days).astype(np.int64) // interval_s
    slot = (starts[month] + of_month) * (_DAY_S // interval_s) + of_day
    return keep, slot[keep]


def _fill(values: Array, longest: int) -> Array:
    """Bridge short gaps by straight lines; leave longer ones."""
    gaps = np.isnan(values)
    if not gaps.any() or gaps.all():
        return values
    edges = np.flatnonzero(np.diff(np.concatenate([[0], gaps.astype(np.int8), [0]])))
    known = np.flatnonzero(~gaps)
    filled = values.copy()
    for begin, end in zip(edges[::2], edges[1::2], strict=True):
        if end - begin <= longest:
            filled[begin:end] = np.interp(np.arange(begin, end), known, values[known])
    return filled


def _known(values: Array) -> Array | None:
    """Values with gaps bridged, or None when too many are missing to say anything."""
    if np.isnan(values).mean() > _MOST_MISSING_SHARE:
        return None
    return _fill(values, len(values))
