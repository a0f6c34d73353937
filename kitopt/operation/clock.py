"""Steps of elapsed time, and the hours of a wall clock laid over them."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import UTC, date, datetime, time, timedelta
from functools import lru_cache
from typing import Any
from zoneinfo import ZoneInfo

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.terms import Operation, Span


def moment_after(operation: Operation, elapsed: timedelta) -> datetime:
    """A moment so long after the start, on the clock of the place: hours elapse whatever that clock does."""
    return (operation.start.astimezone(UTC) + elapsed).astimezone(operation.site.timezone)


def hours_to(operation: Operation, moment: datetime) -> float:
    """How long after the start a moment is, whatever the clock of the place does in between. [h]"""
    # two moments of one zone would be held against each other by their clocks
    return (moment.astimezone(UTC) - operation.start.astimezone(UTC)) / timedelta(hours=1)


def step_starts(operation: Operation) -> list[datetime]:
    """Return when each step begins, in UTC: hours elapse whatever the clock at the site does.

    Returns
    -------
    list of datetime
        Aware, length ``operation.n_steps``.
    """
    start = operation.start.astimezone(UTC)
    step_s = operation.need.step_h * 3600
    return [start + timedelta(seconds=round(t * step_s, 6)) for t in range(operation.n_steps)]


def share_of_steps(operation: Operation, spans: tuple[Span, ...]) -> NDArray[np.float64]:
    """Return the share of each step that lies within spans of local wall time.

    Hours after the end of the operation count nothing. Where the clock is set back, a span runs from the
    first to the last time that the clock shows its ends; where it is set forward, an end that is skipped
    falls on the change.

    Parameters
    ----------
    operation : Operation
        Gives start, hours, step and time zone.
    spans : tuple of Span
        Joined together; empty means always.

    Returns
    -------
    ndarray, shape (n_steps,)
        From 0 to 1.
    """
    edges_s = np.minimum(np.arange(operation.n_steps + 1) * operation.need.step_h * 3600, operation.hours * 3600)
    shares: NDArray[np.float64] = np.clip(within_h(operation, spans, edges_s) / operation.need.step_h, 0.0, 1.0)
    return shares


def within_h(operation: Operation, spans: tuple[Span, ...], edges_s: NDArray[np.float64]) -> NDArray[np.float64]:
    """Return the time within spans between each two edges; the rest is as for `share_of_steps`. [h]

    Parameters
    ----------
    edges_s : ndarray, shape (n + 1,)
        Rising, seconds after the operation's start, up to its end.

    Returns
    -------
    ndarray, shape (n,)
    """
    if not spans:
        within_s = edges_s
    else:
        joined = _on_days(operation, spans)
        if not joined:
            return np.zeros(len(edges_s) - 1)
        times_s = np.array([edge for interval in joined for edge in interval])
        lengths_s = np.array([after - before for before, after in joined])
        # seconds spent within the spans up to each edge: rises along an interval, level between two
        spent_s = np.repeat(np.cumsum(lengths_s), 2)
        spent_s[0::2] -= lengths_s
        within_s = np.interp(edges_s, times_s, spent_s)
    # a microsecond is no time: what rounding leaves must not count as being on
    return np.asarray(np.round(np.diff(within_s) / 3600, 9))


@dataclass(frozen=True)
class Steps:
    """Steps within which neither the weather nor any load's state changes.

    Attributes
    ----------
    edges_s : ndarray, shape (n + 1,)
        Seconds after the operation's start; the last is its end.
    cell : ndarray of int, shape (n,)
        The step of weather that each lies in: weather has its own grid, and the loads' hours only split it.
    """

    edges_s: NDArray[np.float64]
    cell: NDArray[np.intp]

    @property
    def length_h(self) -> NDArray[np.float64]:
        """Length of each. [h]"""
        return np.asarray(np.diff(self.edges_s) / 3600)

    def spread(self, values: NDArray[Any]) -> NDArray[Any]:
        """Return values of the steps of weather, shape (n_windows, n_cells), over these steps."""
        return values if len(self.cell) == values.shape[1] else np.take(values, self.cell, axis=1)

    @property
    def first_of_cell(self) -> NDArray[np.intp]:
        """First of the steps in each one's step of weather."""
        return np.searchsorted(self.cell, self.cell, side="left")


@lru_cache(maxsize=64)
def steps_of(operation: Operation) -> Steps:
    """Return the steps of weather, split where a load's hours begin or end, and where banks change places."""
    step_s, end_s = operation.need.step_h * 3600, operation.hours * 3600
    cells_s = np.minimum(np.arange(operation.n_steps + 1) * step_s, end_s)
    wanted = [
        edge for use in operation.loads if use.spans for interval in _on_days(operation, use.spans) for edge in interval
    ]
    # an edge within a second of another is that one
    inside = [s for s in sorted({*wanted, *swaps_s(operation)}) if np.min(np.abs(cells_s - s)) >= 1.0]
    inside = [s for n, s in enumerate(inside) if n == 0 or s - inside[n - 1] >= 1.0]
    edges_s = np.sort(np.concatenate([cells_s, np.array(inside, dtype=np.float64)]))
    return Steps(edges_s, np.searchsorted(cells_s, edges_s[:-1], side="right") - 1)


def swaps_s(operation: Operation) -> list[float]:
    """Return when two banks change places, as seconds after the start; one that falls on the start is none."""
    is_apart = operation.charge == "apart"
    return swaps_after(operation.start, operation.hours, operation.site.timezone, operation.swap) if is_apart else []


def swaps_after(start: datetime, hours: float, zone: ZoneInfo, times: tuple[int, ...]) -> list[float]:
    """Return when some times of the day, in minutes after midnight, come within the hours after a start. [s]"""
    first, since = start.astimezone(zone).date(), start.astimezone(UTC)
    days = [first + timedelta(days=n) for n in range(int(hours // 24) + 3)]
    moments = (_instant(day, minute, zone, fold=0) for day in days for minute in times)
    return sorted({s for at in moments if 1.0 <= (s := (at - since).total_seconds()) <= hours * 3600 - 1.0})


def on_air(operation: Operation, edges_s: NDArray[np.float64], bank: int) -> NDArray[np.bool_]:
    """Return whether one of two banks is on the air between each two edges; else it has the sun.

    Parameters
    ----------
    edges_s : ndarray, shape (n + 1,)
        Seconds after the start; no swap lies between two, or less than a second after one.
    """
    n_swaps = np.searchsorted(np.array(swaps_s(operation)) - 1.0, edges_s[:-1], side="right")
    return np.asarray(n_swaps % 2 == bank)


def _intervals(start: datetime, zone: ZoneInfo, spans: tuple[Span, ...], end_s: float) -> list[tuple[float, float]]:
    """Return the spans of every day as seconds after the start, in UTC, up to the end."""
    last = (start + timedelta(seconds=end_s)).astimezone(zone).date()
    # a span of the day before may reach into the first
    day = start.astimezone(zone).date() - timedelta(days=1)
    intervals: list[tuple[float, float]] = []
    while day <= last:
        for span in spans:
            crosses = span.end_min <= span.start_min
            begin = _instant(day, span.start_min, zone, fold=0)
            end = _instant(day + timedelta(days=1) if crosses else day, span.end_min, zone, fold=1)
            before, after = max(0.0, (begin - start).total_seconds()), min(end_s, (end - start).total_seconds())
            if before < after:
                intervals.append((before, after))
        day += timedelta(days=1)
    return intervals


def _instant(day: date, minute: int, zone: ZoneInfo, fold: int) -> datetime:
    """Return the moment at which a clock shows a minute of the day; a skipped one falls on the change. [UTC]"""
    wall = datetime.combine(day, time()) + timedelta(minutes=minute)
    moment = wall.replace(tzinfo=zone, fold=fold).astimezone(UTC)
    if moment.astimezone(zone).replace(tzinfo=None) == wall:
        return moment
    # read with the offset of after the change and with that of before, the skipped minute brackets the change
    low, high = sorted(wall.replace(tzinfo=zone, fold=fold).astimezone(UTC) for fold in (0, 1))
    before = low.astimezone(zone).utcoffset()
    while high - low > timedelta(seconds=1):
        middle = low + timedelta(seconds=(high - low) // timedelta(seconds=2))
        if middle.astimezone(zone).utcoffset() == before:
            low = middle
        else:
            high = middle
    return high


def _on_days(operation: Operation, spans: tuple[Span, ...]) -> tuple[tuple[float, float], ...]:
    """Return the union of the spans of every day as intervals in order that do not touch, cut to the operation."""
    # two moments of one zone may be equal and yet an hour apart, so it is kept by that in UTC
    return _joined(operation.start.astimezone(UTC), operation.site.timezone, spans, operation.hours * 3600)


@lru_cache(maxsize=256)
def _joined(start: datetime, zone: ZoneInfo, spans: tuple[Span, ...], end_s: float) -> tuple[tuple[float, float], ...]:
    """Return the same of a start in UTC; kept, as whatever is laid out asks for it."""
    joined: list[tuple[float, float]] = []
    for before, after in sorted(_intervals(start, zone, spans, end_s)):
        if joined and before <= joined[-1][1]:
            joined[-1] = (joined[-1][0], max(after, joined[-1][1]))
        else:
            joined.append((before, after))
    return tuple(joined)
