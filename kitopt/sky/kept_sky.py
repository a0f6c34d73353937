"""Windows that were made before: a repeated question imports nothing that makes weather."""

from __future__ import annotations

from collections.abc import Callable
from datetime import date
from typing import Any

import numpy as np

from kitopt.files.ahead import Ahead
from kitopt.files.kept import LARGEST_ENTRY_BYTES, Kept, kept
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky.windows import DayFrom, Sky, asked_of_sky
from kitopt.sky.worth import Numbered

_MADE_BY = ("sky", "operation")
_BY_WAY = ("poa_wm2", "useful_wm2", "panel_degc")
_PLAIN = ("air_degc", "battery_degc")
_BYTES_A_STEP = 8 * (2 * len(_BY_WAY) + len(_PLAIN))
"""Of one step in one window, at most."""
_WORDS = ("coldest_degc", "labels", "source", "notes", "can_refresh", "aim_text")


def kept_sky(operation: Operation, n: int, first: int, make: Callable[[], Sky]) -> Sky:
    """Return the sky of an operation as it was made before, or make it.

    Parameters
    ----------
    n, first : int
        How many windows, and the number of the first.
    """
    asked = _asked(operation, n, first)
    # the reader of weather says in its own words what is wrong
    return make() if asked is None else _sky_of(operation, kept(asked, _MADE_BY, lambda: _laid_down(make())))


def sky_ahead(operation: Operation, n: int, first: int, ask: Callable[[], object]) -> list[Ahead]:
    """What `kept_sky` will be asked, where it will keep what is made."""
    asked = _asked(operation, n, first)
    n_bytes = n * operation.n_steps * _BYTES_A_STEP
    return [Ahead(asked, _MADE_BY, ask, n_bytes)] if asked is not None and n_bytes <= LARGEST_ENTRY_BYTES else []


def _asked(operation: Operation, n: int, first: int) -> str | None:
    """All that windows hang on; None where they come from a file that is not there."""
    weather = operation.need.weather
    file: object = None
    if isinstance(weather, WeatherFile):
        try:
            now = weather.path.stat()
        except (OSError, ValueError):
            return None
        file = (weather.path.absolute(), now.st_mtime_ns, now.st_size)
    # where a file lies is told with its windows
    return repr((file, *asked_of_sky(operation), n, first))


def _laid_down(sky: Sky) -> Kept:
    arrays = {name: getattr(sky, name) for name in _PLAIN}
    for name in _BY_WAY:
        by_way = getattr(sky, name)
        arrays[f"{name}.flat"] = by_way["flat"]
        if by_way["aimed"] is not by_way["flat"]:
            arrays[f"{name}.aimed"] = by_way["aimed"]
    if sky.numbered is not None:
        arrays["numbers"] = sky.numbered.numbers.astype(np.float64)
    facts: dict[str, Any] = {name: getattr(sky, name) for name in _WORDS}
    facts["days"] = [[one.day.isoformat(), one.source, one.share] for one in sky.days]
    return Kept(arrays, facts)


def _sky_of(operation: Operation, content: Kept) -> Sky:
    arrays, facts = content.arrays, content.facts
    parts: dict[str, Any] = {name: arrays[name] for name in _PLAIN}
    for name in _BY_WAY:
        flat = arrays[f"{name}.flat"]
        parts[name] = {"flat": flat, "aimed": arrays.get(f"{name}.aimed", flat)}
    for name in _WORDS:
        parts[name] = tuple(facts[name]) if isinstance(facts[name], list) else facts[name]
    numbered = Numbered(operation.need.seed, arrays["numbers"].astype(np.int64)) if "numbers" in arrays else None
    days = tuple(DayFrom(date.fromisoformat(day), source, share) for day, source, share in facts["days"])
    return Sky(start=operation.start, step_h=operation.need.step_h, days=days, numbered=numbered, **parts)
