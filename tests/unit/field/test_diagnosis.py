"""How often the cause is named, on an independent model whose severities were fixed before the method was written.

The suite asks a twentieth, with bounds that much wider: of n answers of which a share p is right on average, hardly one
set of seeds in a hundred falls below p - 2.3·sqrt(p·(1 - p)/n). `--many` asks for all of it.
"""

from __future__ import annotations

import math

import pytest
from oracle.diagnosed import Tally, cases, diagnose

AT_LEAST = {
    ("asked", "two"): 0.78,
    ("asked", "kind_two"): 0.86,
    ("one chosen test more", "first"): 0.75,
    ("one chosen test more", "kind"): 0.84,
    ("one chosen test more", "two"): 0.89,
    ("two chosen tests more", "first"): 0.80,
    ("two-minute test", "two"): 0.70,
    ("asked", "healthy_is_normal"): 0.93,
}
AT_MOST_NORMAL = 0.08
SURE = 0.92


@pytest.fixture(scope="module")
def asked(request: pytest.FixtureRequest) -> tuple[dict[str, Tally], bool]:
    is_long = bool(request.config.getoption("--many"))
    return diagnose(cases(1, 200, 100) if is_long else cases(1, 15, 5)), is_long


def slack(share: float, n: int, *, is_long: bool) -> float:
    return 0.0 if is_long else 2.3 * math.sqrt(share * (1.0 - share) / n)


@pytest.mark.parametrize(("way", "what"), AT_LEAST)
def test_the_cause_is_named(asked: tuple[dict[str, Tally], bool], way: str, what: str) -> None:
    tallies, is_long = asked
    least = AT_LEAST[way, what]
    n = len(getattr(tallies[way], what))
    assert tallies[way].share(what) >= least - slack(least, n, is_long=is_long)


def test_faults_are_not_called_normal(asked: tuple[dict[str, Tally], bool]) -> None:
    tallies, is_long = asked
    most = AT_MOST_NORMAL + slack(AT_MOST_NORMAL, len(tallies["asked"].first), is_long=is_long)
    assert tallies["asked"].share("fault_is_normal") <= most


def test_what_is_said_with_95_percent_is_right(asked: tuple[dict[str, Tally], bool]) -> None:
    tallies, is_long = asked
    for way in ("asked", "one chosen test more", "two chosen tests more"):
        right, said = tallies[way].sure_is_right()
        assert said > 0
        assert right >= SURE - slack(SURE, said, is_long=is_long)


def test_the_rules_of_thumb_are_beaten(asked: tuple[dict[str, Tally], bool]) -> None:
    """On the same readings, those of the two-minute test."""
    tallies, is_long = asked
    margin = 0.1 if is_long else 0.0
    assert tallies["two-minute test"].share("two") >= tallies["rules of thumb"].share("two") + margin
