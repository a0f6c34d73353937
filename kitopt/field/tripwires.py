"""Trip-wires: clock times, and the least charge at each from which one change, made at the next, still saves the day.

Everything is asked of the engine's judge, with the loads as they are up to some step and changed from it on. A wire
that waits for the last moment at which the change still helps is seldom tripped for nothing; how sure it is that it
helps is set so that, over the spells at hand, few are lost that could have been saved and few are alarmed in vain.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.choice.terms import Floats
from kitopt.engine import Case
from kitopt.engine.between import between
from kitopt.engine.judge import TOLERANCE_WH, least_charge_wh, simulate
from kitopt.engine.plant import Conditions

LOST_SHARE, ALARMED_SHARE = 0.05, 0.2
"""Of the spells that the change could have saved as many may be lost at most, and of those that would have lasted
anyway as many alarmed."""
_SURENESS = (0.5, 0.7, 0.8, 0.85, 0.9, 0.93, 0.95, 0.97, 0.98, 0.99, 0.995)
_ROUNDS = 2
_AIM_SHARE = 0.6
"""Of what may be lost: other spells than those at hand come off a little worse."""


@dataclass(frozen=True, eq=False)
class Course:
    """A kit's course with its loads as they are, and with one change.

    Attributes
    ----------
    case, changed : Case
        As they are, and with the change from the start on; of the same spells.
    counts : ndarray
        Of the kit's model.
    """

    case: Case
    changed: Case
    counts: Floats

    @property
    def plant(self) -> Floats:
        """The kit in the judge's coordinates."""
        return self.case.plant(self.counts)

    def conditions(self, step: int | None) -> Conditions:
        """With the change from a step on; never where that is None."""
        now, then = self.case.conditions, self.changed.conditions
        if step is None:
            return now
        is_after = np.arange(now.n_steps) >= step
        return replace(
            now,
            load_w=np.where(is_after, over_steps(now, then, then.load_w), now.load_w),
            demand_shapes=np.where(is_after, over_steps(now, then, then.demand_shapes), now.demand_shapes),
        )

    def margin_wh(self, step: int | None) -> Floats:
        """Margins of all spells with the change from a step on, shape (n_windows,). [Wh]"""
        return simulate(self.conditions(step), self.plant).margin_wh

    def charge_wh(self, steps: Sequence[int]) -> Floats:
        """Charge at the start of some steps, none of them the first, with the loads as they are. [Wh]"""
        return simulate(self.case.conditions, self.plant).charge_wh[:, [step - 1 for step in steps]]


def over_steps(now: Conditions, then: Conditions, power: Floats) -> Floats:
    """Powers over the steps of other hours, as mean powers over the steps of these."""
    here, there = (np.concatenate([[0.0], np.cumsum(one.step_h)]) for one in (now, then))
    return between(power * then.step_h, there, here) / now.step_h


@dataclass(frozen=True, eq=False)
class Followed:
    """What came of heeding wires.

    Attributes
    ----------
    tripped : ndarray of int, shape (n_windows,)
        The first wire that was tripped; -1 for none.
    is_lost, would_last, is_savable : ndarray of bool, shape (n_windows,)
        Whether the reserve was touched all the same; whether nothing had to be done; whether it could have been saved
        by the change, made at once, and would not have lasted without it.
    """

    tripped: NDArray[np.intp]
    is_lost: NDArray[np.bool_]
    would_last: NDArray[np.bool_]
    is_savable: NDArray[np.bool_]

    @property
    def is_hopeless(self) -> bool:
        """Whether no spell lasts, not even with the change made at once."""
        return not bool((self.would_last | self.is_savable).any())

    @property
    def is_at_once(self) -> bool:
        """Whether no spell lasts as it is, and all trip the first wire: there is nothing to wait for."""
        return not bool(self.would_last.any()) and bool((self.tripped == 0).all())

    @property
    def lost_share(self) -> float:
        """Of those that could have been saved. [0–1]"""
        return _share(self.is_lost & self.is_savable, self.is_savable)

    @property
    def alarmed_share(self) -> float:
        """Of those that would have lasted anyway. [0–1]"""
        return _share((self.tripped >= 0) & self.would_last, self.would_last)


def _share(some: NDArray[np.bool_], of: NDArray[np.bool_]) -> float:
    n = int(np.count_nonzero(of))
    return float(np.count_nonzero(some)) / n if n else 0.0


class Heeding:
    """Spells of a course in which wires at some steps are heeded, whatever their limits."""

    def __init__(self, course: Course, steps: Sequence[int]) -> None:
        self.charge_wh = course.charge_wh(steps)
        none = course.margin_wh(None)
        # the last column is that of no wire
        self.margin_wh = np.column_stack([*(course.margin_wh(step) for step in steps), none])
        self.would_last = none >= -TOLERANCE_WH
        self.is_savable = (course.margin_wh(0) >= -TOLERANCE_WH) & ~self.would_last

    def follow(self, limits_wh: Floats) -> Followed:
        """Heed wires of those limits, shape (n_wires,). [Wh]"""
        is_below = self.charge_wh < limits_wh
        tripped = np.where(is_below.any(axis=1), np.argmax(is_below, axis=1), -1)
        margin_wh = np.take_along_axis(self.margin_wh, tripped[:, None], axis=1)[:, 0]
        return Followed(tripped, margin_wh < -TOLERANCE_WH, self.would_last, self.is_savable)


def needed_wh(course: Course, step: int, changed_from: int | None) -> Floats:
    """The charge at a step that each spell asks for, with the change from a later one on; infinite where none does.

    Returns
    -------
    ndarray, shape (n_windows,) [Wh]
    """
    return least_charge_wh(course.conditions(changed_from).since(step), course.plant)[:, 0]


def limits_of(course: Course, steps: Sequence[int]) -> tuple[Floats, Followed]:
    """The least charge at the start of each of some steps, and what comes of heeding that over these spells. [Wh]

    Below a limit it is too unsure that the change still helps when it is only made at the next wire.
    """
    after: list[int | None] = [*steps[1:], None]
    needed = [needed_wh(course, step, later) for step, later in zip(steps, after, strict=True)]
    capacity_wh = float(course.plant[course.case.conditions.layout.capacity])
    heeding = Heeding(course, steps)
    table_wh = np.array(
        [[min(float(np.quantile(one, sure, method="higher")), capacity_wh) for one in needed] for sure in _SURENESS]
    )
    wires = np.arange(len(steps))

    def worth(sure: NDArray[np.intp]) -> tuple[float, float, float]:
        followed = heeding.follow(table_wh[sure, wires])
        lost, alarmed = followed.lost_share / (_AIM_SHARE * LOST_SHARE), followed.alarmed_share / ALARMED_SHARE
        # a wire that most trip for nothing is not heeded for long; of two that keep both, the one that loses less
        return max(alarmed, 1.0), max(lost, 1.0), lost + 0.1 * alarmed

    best = min((np.full(len(steps), n) for n in range(len(_SURENESS))), key=worth)
    for _ in range(_ROUNDS):
        for wire in wires:
            tries = [np.where(wires == wire, n, best) for n in range(len(_SURENESS))]
            best = min([best, *tries], key=worth)
    limits_wh = table_wh[best, wires]
    return limits_wh, heeding.follow(limits_wh)
