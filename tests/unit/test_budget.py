"""Steps of work: a part never allows more than the whole, and what is used up of one is used up of both."""

from __future__ import annotations

import math

import pytest

from kitopt.budget import ANY_NODES, UNLIMITED, Budget, OutOfTime


def test_steps_of_a_part_are_steps_of_the_whole() -> None:
    whole = Budget().steps(5)
    first, second = whole.steps(3), whole.steps(10)
    for _ in range(2):
        first.step()
    assert not first.is_over
    with pytest.raises(OutOfTime):
        first.step()
    # five in all, three of them done: whatever the part would allow
    assert not second.is_over
    second.step()
    with pytest.raises(OutOfTime):
        second.step()
    assert (whole.is_over, whole.left_s) == (True, 0.0)


def test_nodes_of_the_solver_are_steps_too() -> None:
    part = Budget().steps(5)
    assert part.most_nodes == 50
    part.count_nodes(39)
    assert part.most_nodes == 20
    part.count_nodes(1000)
    # a program is never asked for no node at all: that would be no limit
    assert part.is_over
    assert part.most_nodes == 10


def test_without_a_limit_any_number_is_done() -> None:
    for _ in range(3):
        UNLIMITED.step()
    UNLIMITED.count_nodes(ANY_NODES)
    assert (UNLIMITED.left_s, UNLIMITED.most_nodes) == (math.inf, ANY_NODES)
    # a part of the time keeps its steps
    assert Budget().steps(2).slice(100.0).steps(7).most_nodes == 20
