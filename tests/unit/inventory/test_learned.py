"""What kept readings teach: how near, how sure, and how little a spoiled one matters.

A trial is a panel of worth 0.75 ± 0.10, days whose sun is off by up to ± 100 of 900 W/m² (uniform, where what learns
takes a bell), a meter and a model of 3 % each. The suite tries a fifth of the 500 that `--many` does, with bounds as
much wider as chance asks for.
"""

from __future__ import annotations

import math
from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
import pytest

from kitopt.inventory.items import Reading
from kitopt.inventory.learned import worths

START = datetime(2027, 5, 1, 12, tzinfo=UTC)
PRIOR = {"panel": (0.75, 0.13)}


def trial(draw: np.random.Generator, n: int = 10, n_days: int = 10, meter: float = 0.0) -> tuple[float, list[Reading]]:
    worth = max(float(draw.normal(0.75, 0.10)), 0.4)
    sun, gain = draw.uniform(-100.0, 100.0, n_days) / 900.0, meter * draw.normal()
    read = [
        worth * (1 + sun[i % n_days]) * (1 + 0.03 * draw.normal()) * (1 + 0.03 * draw.normal()) * (1 + gain)
        for i in range(n)
    ]
    return worth, [
        Reading(START + timedelta(days=i % n_days, minutes=i), "panel", float(one), 0.9) for i, one in enumerate(read)
    ]


@pytest.fixture(scope="module")
def n_trials(request: pytest.FixtureRequest) -> int:
    return 500 if request.config.getoption("--many") else 100


def slack(share: float, n: int) -> float:
    return 0.0 if n >= 500 else 2.3 * math.sqrt(share * (1.0 - share) / n)


def outcome(n_trials: int, *, told: float = 0.0, **kind: float) -> tuple[float, float]:
    """How often within 5 %, and how often within the 90 % interval."""
    draw = np.random.default_rng(41)
    near, within = 0, 0
    for _ in range(n_trials):
        worth, readings = trial(draw, **kind)  # type: ignore[arg-type]
        low, middle, high = worths(readings, PRIOR, told)["panel"]
        near += abs(middle / worth - 1.0) < 0.05
        within += low <= worth <= high
    return near / n_trials, within / n_trials


def test_ten_readings_of_ten_days(n_trials: int) -> None:
    near, within = outcome(n_trials)
    assert near >= 0.93 - slack(0.93, n_trials)
    assert 0.85 - slack(0.85, n_trials) <= within <= 0.95 + slack(0.95, n_trials)


@pytest.mark.parametrize("kind", [{"n_days": 1}, {"meter": 0.04, "told": 0.04}, {"n": 1, "n_days": 1}])
def test_intervals_hold_for_one_day_and_for_a_meter_that_is_told(n_trials: int, kind: dict[str, float]) -> None:
    _, within = outcome(n_trials, **kind)
    assert 0.85 - slack(0.85, n_trials) <= within <= 0.95 + slack(0.95, n_trials)


@pytest.mark.parametrize(("least", "most", "may_move"), [(0.02, 0.5, 0.0), (0.72, 0.85, 0.05)])
def test_one_spoiled_of_ten_hardly_matters(n_trials: int, least: float, most: float, may_move: float) -> None:
    """A gross one never moves what is learned by 3 %, a mild one in 5 % of trials at most."""
    draw, moved = np.random.default_rng(42), 0
    for _ in range(n_trials):
        _, readings = trial(draw)
        before = worths(readings, PRIOR)["panel"][1]
        spoiled = replace(readings[0], worth=readings[0].worth * float(draw.uniform(least, most)))
        moved += abs(worths([spoiled, *readings[1:]], PRIOR)["panel"][1] / before - 1.0) > 0.03
    assert moved <= may_move * n_trials


def test_many_readings_of_one_noon_count_as_nearly_one() -> None:
    def width(n: int, n_days: int) -> float:
        some = [Reading(START + timedelta(days=i % n_days, minutes=i), "panel", 0.7, 0.9) for i in range(n)]
        low, middle, high = worths(some, PRIOR)["panel"]
        return (high - low) / middle

    assert width(10, 1) > 0.75 * width(1, 1)
    assert width(10, 10) < 0.4 * width(1, 1)


def test_what_panels_have_in_common_tells_of_one_without_readings() -> None:
    prior = {"read": (0.75, 0.13), "unread": (0.75, 0.13), "told": (0.75, 0.06)}
    some = [Reading(START + timedelta(days=i), "read", 0.60, 0.9) for i in range(10)]
    found = worths(some, prior)
    assert found["read"][1] == pytest.approx(0.61, abs=0.01)
    assert 0.61 < found["unread"][1] < 0.72
    # the more its owner knows of it, the less the others say
    assert found["unread"][1] < found["told"][1] < 0.745
    assert worths([], prior)["unread"][1] == pytest.approx(0.75, rel=0.01)


def test_what_was_not_normal_and_what_is_old_counts_less() -> None:
    good = [Reading(START + timedelta(days=700 + i), "panel", 0.75, 0.95) for i in range(3)]
    low = [Reading(START + timedelta(days=710 + i), "panel", 0.55, 0.95) for i in range(3)]
    both = worths([*good, *low], PRIOR)["panel"][1]
    doubted = worths([*good, *(replace(one, normal=0.05) for one in low)], PRIOR)["panel"][1]
    assert both < doubted - 0.03
    old = worths([*(replace(one, at=one.at - timedelta(days=3650)) for one in low), *good], PRIOR)["panel"][1]
    assert old > both + 0.01
