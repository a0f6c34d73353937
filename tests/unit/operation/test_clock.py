"""Steps and hours of the day against a naive minute-by-minute reading of the wall clock."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta
from itertools import pairwise
from zoneinfo import ZoneInfo

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st

from kitopt.operation.clock import share_of_steps, step_starts, steps_of
from kitopt.operation.moment import Skipped, moment_of
from kitopt.operation.spans import read_span
from kitopt.operation.terms import LoadUse, Need, Operation, Site, Span


def outing(start: str, hours: float, zone: str = "Europe/Madrid", step_min: int = 30) -> Operation:
    place = ZoneInfo(zone)
    return Operation(
        file="x.toml",
        name="x",
        start=moment_of(datetime.fromisoformat(start), place).time,
        hours=hours,
        site=Site(43.46, -3.8, 0, place, 6, 19),
        loads=(),
        need=Need(step_h=step_min / 60),
    )


def minute_by_minute(operation: Operation, spans: tuple[Span, ...]) -> list[float]:
    """Look at the clock in the middle of every minute, and count."""
    step_min = round(operation.need.step_h * 60)
    shares = []
    for t in range(operation.n_steps):
        on = 0
        for minute in range(t * step_min, (t + 1) * step_min):
            if minute + 0.5 >= operation.hours * 60:
                continue
            wall = (operation.start.astimezone(UTC) + timedelta(minutes=minute, seconds=30)).astimezone(
                operation.site.timezone
            )
            now = wall.hour * 60 + wall.minute
            on += not spans or any(
                s.start_min <= now < s.end_min if s.start_min < s.end_min else now >= s.start_min or now < s.end_min
                for s in spans
            )
        shares.append(on / step_min)
    return shares


@pytest.mark.parametrize(
    ("text", "span"),
    [
        ("09:00-23:00", Span(540, 1380)),
        ("22:00-06:00", Span(1320, 360)),
        ("0:00-24:00", Span(0, 1440)),
        (" 9:30 – 10:00 ", Span(570, 600)),
        ("22:00-00:00", Span(1320, 0)),
    ],
)
def test_spans(text: str, span: Span) -> None:
    assert read_span(text) == span


@pytest.mark.parametrize(
    "text",
    ["", "9-10", "09:00", "24:00-01:00", "09:00-24:01", "09:60-10:00", "09:00-09:00", "９:00-10:00", "09:00-10:00x"],
)
def test_what_is_no_span(text: str) -> None:
    with pytest.raises(ValueError, match="not a span"):
        read_span(text)


def test_steps_elapse_whatever_the_clock_does() -> None:
    starts = step_starts(outing("2026-03-28T22:00:00", 8))
    assert len(starts) == 16
    assert starts[0] == datetime(2026, 3, 28, 21, tzinfo=UTC)
    assert {after - before for before, after in pairwise(starts)} == {timedelta(minutes=30)}
    assert all(start.tzinfo is UTC for start in starts)


def test_steps_that_do_not_divide_the_hour() -> None:
    starts = step_starts(outing("2026-06-01T00:00:00", 10, step_min=7))
    assert len(starts) == 86
    assert starts[-1] == starts[0] + timedelta(minutes=7 * 85)


def test_no_spans_are_all_hours_but_none_after_the_end() -> None:
    shares = share_of_steps(outing("2026-06-01T00:00:00", 1.25), ())
    assert shares.tolist() == [1, 1, 0.5]


def test_a_day_with_a_night_span() -> None:
    operation = outing("2026-06-01T20:00:00", 12)
    shares = share_of_steps(operation, (read_span("21:15-06:00"),))
    assert shares.tolist() == [0, 0, 0.5, *[1] * 17, *[0] * 4]


def test_overlapping_and_touching_spans_count_once() -> None:
    operation = outing("2026-06-01T09:00:00", 4)
    spans = tuple(read_span(text) for text in ("10:00-11:30", "11:00-12:00", "12:00-12:10"))
    assert share_of_steps(operation, spans).tolist() == [0, 0, 1, 1, 1, 1, pytest.approx(1 / 3), 0]


def test_spans_that_are_never_reached() -> None:
    assert share_of_steps(outing("2026-06-01T09:00:00", 2), (read_span("12:00-13:00"),)).tolist() == [0] * 4


# Directive 2000/84/EC: in 2026 clocks go forward on 29 March and back on 25 October, both at 01:00 UTC
@pytest.mark.parametrize(
    ("start", "span", "hours_on"),
    [
        ("2026-03-28T22:00:00", "01:00-05:00", 3),
        ("2026-03-28T22:00:00", "02:30-05:00", 2),
        ("2026-03-28T22:00:00", "01:00-02:30", 1),
        ("2026-03-28T22:00:00", "02:10-02:50", 0),
        ("2026-10-24T22:00:00", "01:00-05:00", 5),
        ("2026-10-24T22:00:00", "02:30-05:00", 3.5),
        ("2026-10-24T22:00:00", "01:00-02:30", 2.5),
        ("2026-10-24T22:00:00", "02:00-03:00", 2),
    ],
)
def test_clock_changes(start: str, span: str, hours_on: float) -> None:
    operation = outing(start, 12)
    assert share_of_steps(operation, (read_span(span),)).sum() * 0.5 == pytest.approx(hours_on)


def test_a_step_without_any_time_in_a_span_is_exactly_zero() -> None:
    operation = outing("2026-06-01T00:00:00", 200, step_min=7)
    shares = share_of_steps(operation, (read_span("10:00-11:10"),))
    assert set(np.unique(shares[(shares < 1e-3)])) == {0.0}
    assert np.count_nonzero(shares == 1.0) > 50


@st.composite
def outings(draw: st.DrawFn) -> tuple[Operation, tuple[Span, ...]]:
    zone = draw(
        st.sampled_from(
            ["Europe/Madrid", "America/St_Johns", "Australia/Lord_Howe", "Asia/Kathmandu", "Etc/UTC", "Pacific/Apia"]
        )
    )
    day = draw(st.sampled_from(["2026-03-28", "2026-10-24", "2026-03-07", "2026-10-31", "2026-04-04", "2026-07-01"]))
    start = f"{day}T{draw(st.integers(4, 23)):02}:{draw(st.integers(0, 59)):02}:00"
    # ends from 01:00 to 03:00 may be shown twice or not at all: the cases above settle what they mean
    minutes = st.one_of(st.integers(0, 59), st.integers(181, 1439))
    ends = draw(st.lists(st.tuples(minutes, minutes).filter(lambda pair: pair[0] != pair[1]), max_size=3))
    hours = draw(st.integers(1, 40 * 60)) / 60
    step_min = draw(st.sampled_from([5, 7, 30, 45, 60]))
    return outing(start, hours, zone, step_min), tuple(Span(*pair) for pair in ends)


@given(outings())
@settings(max_examples=150, deadline=None)
def test_the_share_is_what_a_look_at_the_clock_says(case: tuple[Operation, tuple[Span, ...]]) -> None:
    operation, spans = case
    shares = share_of_steps(operation, spans)
    assert shares.shape == (operation.n_steps,)
    assert shares == pytest.approx(minute_by_minute(operation, spans), abs=1e-6)


def test_a_skipped_time_carries_what_the_clock_shows_instead() -> None:
    with pytest.raises(Skipped) as caught:
        moment_of(datetime(2026, 3, 29, 2, 30), ZoneInfo("Europe/Madrid"))
    assert caught.value.shown.strftime("%H:%M") == "03:30"


def test_of_an_hour_that_clocks_show_twice_the_second_begins_an_hour_later() -> None:
    # on 25 October 2026 clocks in Spain go from 03:00 back to 02:00: from the first 02:30 to 06:15 are 4.75 hours
    first = replace(outing("2026-10-25T02:30", 8.0), loads=(LoadUse("radio", spans=(Span(375, 435),)),))
    second = replace(first, start=first.start.replace(fold=1))
    assert first != second
    edges_h = [[edge / 3600 for edge in steps_of(one).edges_s if edge % 1800] for one in (first, second)]
    assert edges_h == [[4.75, 5.75], [3.75, 4.75]]
