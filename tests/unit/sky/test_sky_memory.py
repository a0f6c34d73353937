"""Memory is counted before it is taken: what would not fit in 2 GB is refused with what does."""

from __future__ import annotations

import tracemalloc
from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky import check_all_fit, windows_for

Make = Callable[..., Operation]


def test_2000_windows_of_1440_hours_in_steps_of_5_minutes_are_refused_before_any_memory_is_taken(outing: Make) -> None:
    operation = outing(hours=1440.0, need={"windows": 2000, "step_h": 5 / 60})
    tracemalloc.start()
    try:
        with pytest.raises(BadInput) as error:
            windows_for(operation)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    # by hand: 1440 h are 17,280 steps of 5 minutes; 2,000 windows of them at 340 bytes are 11.75 GB, and 340 fit in 2
    assert "found 2,000 windows of 17,280 steps, which take about 11.8 GB" in error.value.faults[0].text
    assert "340 windows fit" in error.value.faults[0].text
    assert peak < 50_000_000


def test_long_steps_count_as_the_short_ones_that_they_are_made_of(outing: Make) -> None:
    # steps of an hour are made of two halves
    with pytest.raises(BadInput, match=r"20,000 windows of 2,880 steps"):
        windows_for(outing(hours=1440.0, need={"windows": 20_000, "step_h": 1.0}))


def test_a_file_counts_the_windows_that_it_holds(outing: Make, greensboro: Path) -> None:
    # a typical year holds 41 windows, however many are asked for
    operation = outing(
        weather=WeatherFile(greensboro), place=(36.1, -79.95), hours=240.0, need={"windows": 20_000, "step_h": 0.25}
    )
    assert windows_for(operation).n_windows == 41


@pytest.mark.parametrize("source", ["climate", "file"])
def test_light_takes_no_more_than_is_counted(outing: Make, greensboro: Path, source: str) -> None:
    from kitopt.sky import memory

    more = {"weather": WeatherFile(greensboro), "place": (36.1, -79.95)} if source == "file" else {}
    operation = outing(hours=1000.0, need={"windows": 41}, **more)
    windows_for(operation, n=1)
    tracemalloc.start()
    try:
        windows_for(operation)
        peak = tracemalloc.get_traced_memory()[1]
    finally:
        tracemalloc.stop()
    each = memory._BYTES_A_STEP_OF_A_FILE if source == "file" else memory._BYTES_A_STEP
    assert peak < each * 41 * operation.n_steps


def test_many_skies_that_fit_one_by_one_are_refused_together(outing: Make) -> None:
    operation = outing(hours=336.0, need={"windows": 500, "step_h": 0.5})
    check_all_fit([operation] * 12, "plan.toml")
    # by hand: 672 steps; 150 bytes a step of 48 and 190 more of one are 4,966,080 a window: 402 fit in 2 GB
    with pytest.raises(BadInput, match=r"48 dates, 500 windows each, takes about 2\.5 GB.* 402 windows each fit"):
        check_all_fit([operation] * 48, "plan.toml")


def test_a_sky_that_is_kept_takes_no_more_than_is_counted(outing: Make) -> None:
    from kitopt.sky import memory

    operation = outing(hours=240.0, need={"windows": 100})
    windows_for(operation, n=1)
    tracemalloc.start()
    try:
        skies = [windows_for(operation) for _ in range(4)]
        kept = tracemalloc.get_traced_memory()[0]
    finally:
        tracemalloc.stop()
    assert kept < memory._BYTES_KEPT * len(skies) * 100 * operation.n_steps
