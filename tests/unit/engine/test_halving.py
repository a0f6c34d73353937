"""The one halving: every edge found, each question asked once, and few of them."""

from __future__ import annotations

import math

import pytest

from kitopt.engine.halving import last_that_holds


@pytest.mark.parametrize("guess", [None, 0, 3, 40])
@pytest.mark.parametrize("edge", [-1, 0, 1, 7, 38, 39])
def test_the_last_that_holds_is_found(edge: int, guess: int | None) -> None:
    asked: list[int] = []

    def holds(n: int) -> bool:
        asked.append(n)
        return n <= edge

    assert last_that_holds(holds, -1, 40, guess) == edge
    assert len(set(asked)) == len(asked)
    assert set(asked) <= set(range(40))
    # 41 answers are told apart by 6 yes or no; growing steps take at most twice that
    assert len(asked) <= (6 if guess is None else 2 * math.ceil(math.log2(41)))


def test_a_good_guess_needs_two_questions() -> None:
    asked: list[int] = []
    assert last_that_holds(lambda n: asked.append(n) or n <= 20, -1, 1000, 20) == 20  # type: ignore[func-returns-value]
    assert asked == [20, 21]


def test_nothing_is_asked_where_nothing_lies_between() -> None:
    assert last_that_holds(lambda n: pytest.fail("asked"), 3, 4) == 3
