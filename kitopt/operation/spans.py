"""Hours of the day, written "18:00-23:00", and times, written "18:00"."""

from __future__ import annotations

import re

from kitopt.operation.terms import Span

_SPAN = re.compile(r"([0-9]{1,2}):([0-9]{2})\s*[-–]\s*([0-9]{1,2}):([0-9]{2})", re.ASCII)
_TIME = re.compile(r"([0-9]{1,2}):([0-9]{2})", re.ASCII)
DAY_MIN = 24 * 60


def read_time(text: str) -> int:
    """Return the time written ``HH:MM``, in minutes after midnight.

    Raises
    ------
    ValueError
        If it is written otherwise, or is no time of day.
    """
    match = _TIME.fullmatch(text.strip())
    hour, minute = (24, 0) if match is None else (int(part) for part in match.groups())
    if hour > 23 or minute > 59:
        raise ValueError("not a time of day")
    return 60 * hour + minute


def read_span(text: str) -> Span:
    """Return the span written ``HH:MM-HH:MM``; it may cross midnight, and may end at 24:00.

    Raises
    ------
    ValueError
        If it is written otherwise, is no time of day, or has no length.
    """
    match = _SPAN.fullmatch(text.strip())
    if match is None:
        raise ValueError("not a span")
    start_hour, start_minute, end_hour, end_minute = (int(part) for part in match.groups())
    start_min, end_min = start_hour * 60 + start_minute, end_hour * 60 + end_minute
    if start_minute > 59 or end_minute > 59 or start_min >= DAY_MIN or end_min > DAY_MIN or start_min == end_min:
        raise ValueError("not a span of the day")
    return Span(start_min, end_min)
