"""Rows that failing kits teach, worked out by hand on plants of two or three coordinates."""

from __future__ import annotations

import numpy as np
import pytest
from dark_batteries import LAYOUT, memory

from kitopt.engine.learned import CaseMemory


def row(capacity: float, demand: float = 0.0, missing: float = 0.0) -> np.ndarray:
    v = np.zeros(LAYOUT.size)
    v[LAYOUT.capacity], v[LAYOUT.demand(0)], v[LAYOUT.missing] = capacity, demand, missing
    return v


BOX = np.full(LAYOUT.size, 2.0)


@pytest.mark.parametrize(
    ("known", "asked", "each"),
    [
        # three times what a window asks for is one at least; half of it is a half; of a window unknown nothing is said
        ([row(1.0), row(0.0, 1.0)], row(3.0, 0.5), [1.0, 0.5, 0.0]),
        # a window that asks for twice as much says half as much; what no window knows adds nothing
        ([row(2.0), row(0.0, 0.5)], row(1.0, 0.5, 1.0), [1.0, 0.5, 0.0]),
        # what pulls below zero does so at its worst, twice a half; the second window holds nothing against it
        ([row(1.0), row(0.0, 1.0)], row(3.0, -0.5), [0.0, -1.0, -1.0]),
        # so does what no window knows, where it pulls
        ([row(1.0), row(0.0, 1.0)], row(3.0, 0.5, -1.0), [-1.0, -1.5, -2.0]),
        # what the window grants itself to be pulled down by is not taken off again: 1 + 2 · min(0, -2 + 1)
        ([row(1.0, -1.0)], row(1.0), [1.0, 0.0, 0.0]),
        ([row(1.0, -1.0)], row(1.0, -2.0), [-1.0, -4.0, -4.0]),
    ],
)
@pytest.mark.parametrize("n_allowed", [0, 1, 2])
def test_what_a_row_reaches_whichever_windows_are_given_up(
    known: list[np.ndarray], asked: np.ndarray, each: list[float], n_allowed: int
) -> None:
    """By each of three windows alone; with so many given up the next best holds."""
    some = memory(3, n_allowed)
    some._remember(np.arange(len(known)), np.array(known))
    for _ in range(2):
        assert some.least_without(asked, BOX) == pytest.approx(each[n_allowed])


def test_what_a_row_reaches_is_asked_anew_when_more_is_known_or_may_be_packed() -> None:
    some = memory(3, 0)
    asked = row(3.0, -0.5)
    assert some.least_without(asked, BOX) == pytest.approx(-1.0)
    some._remember(np.array([0]), np.array([row(1.0)]))
    assert some.least_without(asked, BOX) == pytest.approx(0.0)
    assert some.least_without(asked, 2.0 * BOX) == pytest.approx(-1.0)
    some._remember(np.array([1]), np.array([row(2.0, -0.25)]))
    # of the new window all that is asked, and a quarter less is pulled: 1 + 2 · (-0.5 + 0.25)
    assert some.least_without(asked, BOX) == pytest.approx(0.5)


@pytest.mark.parametrize("n_allowed", [0, 1])
def test_where_nothing_is_asked_but_what_the_kit_itself_draws_rows_are_in_watt_hours(n_allowed: int) -> None:
    # one battery of 10 Wh and 1 W over 20 h: 10 Wh short in the warmest window, more in the colder ones
    some = memory(4, n_allowed)
    counts = np.array([1.0, 1.0])
    verdict = some.judge(counts)
    assert verdict.margin_wh[0] == pytest.approx(-10.0)
    assert some.cuts_at(counts, verdict) is None
    some.learn_windows(counts, verdict)
    assert not some.window_rows
    assert some.learn(counts, verdict)
    rows = [one.v for one in (*some.free_rows, *some.window_rows)]
    assert len(some.window_rows) == (2 if n_allowed else 0)
    assert len(some.free_rows) == (0 if n_allowed else 1)
    least = [one.least for one in (*some.free_rows, *some.window_rows)]
    # the coldest window leaves 13/16 of a battery: three hold 24.4 Wh, two 16.25 Wh
    for v, at_least in zip(rows, least, strict=True):
        assert v @ some.case.plant(np.array([2.0, 1.0])) < at_least
        assert v @ some.case.plant(np.array([3.0, 1.0])) >= at_least
        # near to 1, since a solver's tolerance is absolute
        assert np.max(np.abs(v)) == pytest.approx(1.0)


@pytest.mark.parametrize(("n_allowed", "enough"), [(0, 3.0), (1, 2.0)])
def test_a_failing_kit_breaks_what_it_teaches_and_a_working_one_does_not(n_allowed: int, enough: float) -> None:
    # 17 W and a thing of 1 W over an hour; a battery has 10 Wh in the first window and 8.75 in the second: one fails
    # both, two are enough in the first alone, three in both
    some = memory(2, n_allowed, hours=1.0, load_w=17.0)
    works = np.array([enough, 1.0])
    assert some.passes(some.judge(works))
    fails = np.array([1.0, 1.0])
    verdict = some.judge(fails)
    assert some.learn(fails, verdict)
    some.learn_windows(fails, verdict)
    for one in some.free_rows:
        assert one.v @ some.case.plant(fails) < one.least
        assert one.v @ some.case.plant(works) >= one.least
    assert some.free_rows
    # each window's own row holds where it is survived: 10 or 8.75 Wh a battery of 17 and 1 for each thing besides
    assert {one.window for one in some.window_rows} == {0, 1}
    for one in some.window_rows:
        held_wh = (10.0, 8.75)[one.window]
        assert one.v[LAYOUT.capacity] == pytest.approx(held_wh / 10.0 / 17.0, rel=1e-5)
        assert one.v[LAYOUT.demand(0)] == pytest.approx(-1.0 / 17.0, rel=1e-5)
        assert one.least == 1.0


@pytest.mark.parametrize("load_w", [0.0, 1.0])
def test_no_more_failing_windows_than_may_fail_teach_nothing(load_w: float) -> None:
    # 20 Wh of 2 W over 10 h, or of 1 W of load and 1 W besides: survived in the warmest of three windows alone
    some = memory(3, 2, hours=10.0, load_w=load_w)
    counts = np.array([2.0, 2.0 - load_w])
    verdict = some.judge(counts)
    assert verdict.survives.tolist() == [True, False, False]
    assert some.passes(verdict)
    assert not some.learn(counts, verdict)
    assert not some.free_rows
    assert not some.window_rows


def test_groups_grow_by_what_lifts_their_largest_cut_least() -> None:
    # at (1, 1) the cuts reach 0.30, 0.35 and 0.36; with the first the second makes 0.65, the third 0.36
    v = np.array([[0.30, 0.0], [0.0, 0.35], [0.36, 0.0]])
    plant = np.ones(2)
    groups = CaseMemory._groups(v, v @ plant, plant, 2)
    assert [sorted(group.tolist()) for group in groups] == [[0, 2], [0, 1]]
    assert [sorted(group.tolist()) for group in CaseMemory._groups(v, v @ plant, plant, 1)] == [[0]]
    assert [sorted(group.tolist()) for group in CaseMemory._groups(v, v @ plant, plant, 3)] == [[0, 1, 2]]
