"""The start: a time on a clock at the site to a moment."""

from __future__ import annotations

from datetime import UTC, datetime
from typing import NamedTuple
from zoneinfo import ZoneInfo, ZoneInfoNotFoundError


class Skipped(ValueError):
    """The clock jumps over this time, as it does in spring; carries the time that it shows instead."""

    def __init__(self, shown: datetime) -> None:
        self.shown = shown
        super().__init__("skipped")


class Moment(NamedTuple):
    """An aware time in the site's zone, and whether its clock showed that time twice."""

    time: datetime
    is_twice: bool


def zone_named(name: str) -> ZoneInfo:
    """Return the time zone of that name.

    Raises
    ------
    ValueError
        If there is none.
    """
    try:
        # a name such as "Europe" is a folder of the database, and raises OSError
        return ZoneInfo(name)
    except (ZoneInfoNotFoundError, ValueError, OSError):
        raise ValueError(f"no time zone {name!r}") from None


def zone_at(latitude_deg: float, longitude_deg: float) -> ZoneInfo:
    """Return the time zone of a place, from boundaries that tzfpy carries; at sea the nautical zone."""
    import tzfpy

    return ZoneInfo(tzfpy.get_tz(longitude_deg, latitude_deg) or "Etc/UTC")


def moment_of(start: datetime, zone: ZoneInfo) -> Moment:
    """Return the moment of a start; with an offset it is converted, without one it is a time at the site.

    Raises
    ------
    Skipped
        If the site's clock never shows that time.
    """
    if start.tzinfo is not None:
        return Moment(start.astimezone(zone), False)
    first = start.replace(tzinfo=zone, fold=0)
    second = start.replace(tzinfo=zone, fold=1)
    if first.utcoffset() == second.utcoffset():
        return Moment(first, False)
    shown = first.astimezone(UTC).astimezone(zone)
    if shown.replace(tzinfo=None, fold=0) != start.replace(fold=0):
        raise Skipped(shown)
    return Moment(first, True)
