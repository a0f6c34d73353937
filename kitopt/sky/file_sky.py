"""Windows cut from a weather file: the operation's hours, on days near its date, in every year of the file."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from pathlib import Path

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.operation.distance import distance_km
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky.assemble import UNKNOWN_WIND_MS, Air, Words, assemble, usual_air
from kitopt.sky.between_hours import light_over_steps, sky_over_steps, value_at
from kitopt.sky.light import Light
from kitopt.sky.memory import check_fits
from kitopt.sky.moments import moments_of
from kitopt.sky.record import Record
from kitopt.sky.temperature import BATTERY_LAG_H
from kitopt.sky.weather_file import read_weather
from kitopt.sky.windows import Sky
from kitopt.sky.worth import Numbered

NEAR_DAYS = 20
"""Days before and after the operation's date on which a window may start."""

_FAR_KM = 100.0

_HEADROOM = 1.3
"""Broken cloud can be brighter than the clear sky, and the turbidity map is a monthly mean."""


def file_sky(operation: Operation, weather: WeatherFile, n: int) -> Sky:
    """Windows of a weather file.

    Windows start at the operation's time of day, read at its own distance from universal time, so that a change of
    summer time within the 41 days does not shift the sun against the loads.

    Raises
    ------
    BadInput
        If the file cannot be used, or neither it nor the operation gives air temperatures.
    """
    record = read_weather(weather.path)
    starts_s = _choose(_starts(operation, record, weather.path), n, operation.need.seed)
    check_fits(operation, len(starts_s))
    light = _light(operation, record, starts_s)
    words = Words(
        _labels(operation, record, starts_s),
        f"{record.kind} file {weather.path.name}",
        _notes(operation, record, len(starts_s), n),
    )

    def sample(other: Operation, n_sample: int) -> Light:
        return _light(other, record, _choose(_starts(other, record, weather.path), n_sample, other.need.seed))

    # a spell is known by the day on which it starts, whichever others there are
    numbered = Numbered(operation.need.seed, (starts_s // 86400.0).astype(np.int64))
    return replace(assemble(operation, light, _air(operation, record, starts_s), words, sample), numbered=numbered)


def _starts(operation: Operation, record: Record, path: Path) -> NDArray[np.float64]:
    """Starts of all windows that the file can give, seconds of universal time since 1970."""
    start = operation.start.astimezone(UTC)
    length_s = operation.n_steps * operation.need.step_h * 3600.0
    # a typical year is laid on 2001 in the file's own standard time, which reaches into a neighbouring year elsewhere
    years = [2001] if record.is_typical else range(_year(record.start_s) - 1, _year(record.end_s) + 2)
    found: set[float] = set()
    for year in years:
        middle = _in_year(start, year)
        for days in range(-NEAR_DAYS, NEAR_DAYS + 1):
            found.add((middle + timedelta(days=days)).timestamp())
    starts_s = np.array(sorted(found))
    if not record.is_typical:
        starts_s = starts_s[(starts_s >= record.start_s) & (starts_s + length_s <= record.end_s)]
    dark = np.concatenate([[0], np.cumsum(np.isnan(record.dni_wm2) | np.isnan(record.dhi_wm2))])
    if dark[-1]:
        first, offset_s = _intervals(record, starts_s)
        n_touched = int(np.ceil((offset_s + length_s) / record.interval_s - 1e-9))
        touched = (first[:, None] + np.arange(n_touched)) % record.n_intervals
        whole = ~np.isnan(record.dni_wm2 + record.dhi_wm2)[touched].any(axis=1)
        starts_s = starts_s[whole] if whole.mean() >= 0.5 else starts_s[:0]
    if not len(starts_s):
        text = (
            f"found gaps in the light, or the file's end, in most windows of {operation.hours:g} h within {NEAR_DAYS} "
            "days of the date, need whole ones: get a file with fewer gaps or more years."
        )
        raise BadInput([Fault(str(path), None, None, text)])
    return starts_s


def _year(seconds: float) -> int:
    return datetime.fromtimestamp(seconds, UTC).year


def _in_year(moment: datetime, year: int) -> datetime:
    """The same date and time in another year; the 29th of February becomes the 28th in ordinary years."""
    try:
        return moment.replace(year=year)
    except ValueError:
        return moment.replace(year=year, day=28)


def _choose(starts_s: NDArray[np.float64], n: int, seed: int) -> NDArray[np.float64]:
    """At most n windows, evenly at random; a larger n keeps those of a smaller one."""
    if len(starts_s) <= n:
        return starts_s
    luck = np.random.Philox(key=np.array([seed % 2**64, 2**63], dtype=np.uint64)).random_raw(len(starts_s))
    return starts_s[np.sort(np.argsort(luck, kind="stable")[:n])]


def _intervals(record: Record, starts_s: NDArray[np.float64]) -> tuple[NDArray[np.int64], float]:
    """Interval in which each window starts, and how far into it, which is the same for all: they are days apart."""
    since_s = starts_s - record.start_s
    first = np.floor(since_s / record.interval_s).astype(np.int64)
    return first, float(since_s[0] - first[0] * record.interval_s) if len(starts_s) else 0.0


def _light(operation: Operation, record: Record, starts_s: NDArray[np.float64]) -> Light:
    """Light of the windows, before anything stands in its way; the sun is that of the file's place."""
    step_s = operation.need.step_h * 3600.0
    first, offset_s = _intervals(record, starts_s)
    dni, dhi = light_over_steps(record, first, offset_s, step_s, operation.n_steps)
    at_s = starts_s[:, None] + (np.arange(operation.n_steps) + 0.5) * step_s
    sun, clear = sky_over_steps(record, at_s)
    return Light(record.place, at_s, sun, clear, dni, dhi, _HEADROOM)


def _air(operation: Operation, record: Record, starts_s: NDArray[np.float64]) -> Air:
    """The file's own air, or the operation's where the file has none."""
    first, offset_s = _intervals(record, starts_s)
    after_s = moments_of(operation).middle_s - operation.start.timestamp() + offset_s
    wind = UNKNOWN_WIND_MS if record.wind_ms is None else value_at(record, record.wind_ms, first, after_s)
    if record.air_degc is None:
        usual = usual_air(operation)
        return Air(usual.air_degc, usual.battery_degc, wind, usual.coldest_degc)
    air = value_at(record, record.air_degc, first, after_s)
    battery = value_at(record, record.air_degc, first, after_s - BATTERY_LAG_H * 3600.0)
    return Air(air, battery, wind, float(air.min()))


def _labels(operation: Operation, record: Record, starts_s: NDArray[np.float64]) -> tuple[str, ...]:
    """The day on which each window starts, by the operation's own clock."""
    offset = operation.start.utcoffset() or timedelta(0)
    days = [datetime.fromtimestamp(start, UTC) + offset for start in starts_s]
    return tuple(f"{day:typical %m-%d}" if record.is_typical else f"{day:%Y-%m-%d}" for day in days)


def _notes(operation: Operation, record: Record, n_found: int, n_asked: int) -> tuple[str, ...]:
    """What the user must know of the file."""
    notes = []
    site, place = operation.site, record.place
    away_km = float(
        distance_km(site.latitude_deg, site.longitude_deg, np.array(place.latitude_deg), np.array(place.longitude_deg))
    )
    if away_km > _FAR_KM:
        notes.append(f"The weather file's place is {away_km:.0f} km from the operation's.")
    if n_found < n_asked:
        notes.append(f"The weather file gives {n_found} spells within {NEAR_DAYS} days of the date, not {n_asked}.")
    if record.is_typical:
        notes.append(
            "The weather file is a typical year: its months were chosen for being usual, so bad years and long dark "
            "spells are missing from it, and a kit that survives it may fail in one."
        )
    if record.late_s:
        minutes, early = abs(record.late_s) / 60, "before" if record.late_s > 0 else "after"
        late = "later" if record.late_s > 0 else "earlier"
        notes.append(
            f"The weather file is out of step: its light comes {minutes:.0f} min {early} the sun, so its rows are read "
            f"{minutes:.0f} min {late}."
        )
    if record.air_degc is None:
        notes.append("The weather file has no air temperature: the operation's own is used.")
    return tuple(notes)
