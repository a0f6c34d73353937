"""Place, season and source become weather windows: the only part of kitopt that imports pvlib, and only when used."""

from __future__ import annotations

from kitopt.sky.fetch import fetch_weather
from kitopt.sky.memory import check_all_fit, check_fits
from kitopt.sky.sources import fresh_windows, weather_ahead, windows_for
from kitopt.sky.windows import Laid, Sky, not_made

__all__ = [
    "Laid",
    "Sky",
    "check_all_fit",
    "check_fits",
    "fetch_weather",
    "fresh_windows",
    "not_made",
    "weather_ahead",
    "windows_for",
]
