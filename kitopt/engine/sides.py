"""What a panel side asks of the battery: one number, whatever the windows.

For a given side the capacity that a window needs is one number, so what a confidence needs is one of them in order.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property, reduce

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, Terms
from kitopt.engine.needs import Counts, Fixed, Floats, Needs, in_order
from kitopt.engine.plan import Row
from kitopt.engine.plant import Conditions
from kitopt.engine.tangents import Tangent

_MOST_CLOSER = 40
"""Tangents at sides that are kept."""
_WINDOWS_AT_ONCE = 48
"""Of the hardest so many are looked at before it is asked whether the next may tell less."""
_TIMES, _FEWEST = 4, 64
"""Of windows that need most by the tangents so many times as many as may fail are asked, and no fewer: of 2,700 sides
that were in question all but 18 needed no more in any other window."""
_FEW_WINDOWS = 3
"""Where the hardest windows are more than one in so many, to look at all of them is no more work."""


@dataclass(frozen=True, eq=False)
class Wired:
    """A side as one kit wires it: what it needs so, and with joins that bring no more.

    Attributes
    ----------
    columns : tuple of int
        Of the plan, all that make the plant but the batteries, and joins that bring no more than these.
    n : int
        Their counts in all, which no better wiring of the side reaches with them.
    """

    side: Counts
    columns: tuple[int, ...]
    n: int
    need_wh: float


class Sides:
    """The needs of the sides of one case."""

    def __init__(self, case: Case, fixed: Fixed) -> None:
        self.case, self.needs = case, Needs.of(case, fixed)
        self.kind, self.n_kinds, self.n_classes = self.needs.kind, self.needs.n_kinds, self.needs.n_classes
        self._need_wh: dict[bytes, float] = {}
        self._at_least_wh: dict[bytes, float] = {}
        self.tangents: dict[bytes, Tangent] = {}
        """By the set of panels that each is at."""
        self.closer: dict[bytes, Tangent] = {}
        """By the side that each is at, the latest alone."""

    @cached_property
    def in_plan(self) -> tuple[list[Terms], Terms]:
        """What counts the panels of each class, and the usable capacity [Wh], in the plan's columns.

        Where it is alike in two cases, the same counts make the same sides in them.
        """

        def terms(columns: NDArray[np.intp], weights: Floats) -> Terms:
            return [(int(j), float(weights[c])) for j, c in zip(self.case.in_plan(columns), columns, strict=True)]

        needs = self.needs
        classes = [terms(columns, needs.joined) for columns in needs.columns]
        return classes, terms(np.flatnonzero(needs.capacity), needs.capacity)

    def terms(self, c: int) -> Terms:
        """What counts the panels of a class, in the plan's columns."""
        return self.in_plan[0][c]

    def capacity_terms(self) -> Terms:
        """What counts the usable capacity, in the plan's columns. [Wh]"""
        return self.in_plan[1]

    def of(self, counts: Floats) -> Counts:
        """The side that a kit's counts have, shape (n_classes,)."""
        own = self.case.own(counts)
        each = [round(float(self.needs.joined[j] @ own[j])) for j in self.needs.columns]
        return np.array(each, dtype=np.int64)

    # -- what they need ----------------------------------------------------------------

    def need_wh(self, side: Counts) -> float:
        """Usable capacity without which no kit with that side passes; infinite where none does. [Wh]

        Of windows that the tangents call easy nothing is asked: the judge tells, should they be none.
        """
        key, n_allowed = side.tobytes(), self.case.n_allowed
        if key not in self._need_wh:
            n_asked = max(_FEWEST, _TIMES * (n_allowed + 1))
            is_some = self.tangents and n_asked < self.case.conditions.n_windows
            hard = self._hardest(side, n_asked)[0] if is_some else None
            self._need_wh[key] = in_order(self.needs.each_wh(side[None, :], hard)[0], n_allowed)
        return self._need_wh[key]

    def _hardest(self, side: Counts, n: int) -> tuple[NDArray[np.intp], Floats]:
        """So many windows that the tangents call hardest for the panels of a side; what each window needs by them."""
        some = np.bincount(self.kind, weights=side, minlength=self.n_kinds)
        each = reduce(np.maximum, (one.least - one.saved @ some for one in self.tangents.values()))
        return np.argpartition(-each, n - 1)[:n], each

    def need_at_least_wh(self, sides: Counts) -> Floats:
        """What sides of one set of panels need at least, shape (n_sides,). [Wh]

        Of the windows that the tangents call hardest one must be survived. Where these are nearly all, nothing is said
        that is not known.
        """
        n_hard = self.case.n_allowed + 1
        keys = [side.tobytes() for side in sides]
        if _FEW_WINDOWS * n_hard <= self.case.conditions.n_windows:
            new = np.array([i for i, key in enumerate(keys) if key not in self._at_least_wh], dtype=np.intp)
            hard, each = self._hardest(sides[0], n_hard)
            hard = hard[np.argsort(each[hard], kind="stable")]
            needs = np.full(len(new), np.inf)
            for first in range(0, n_hard, _WINDOWS_AT_ONCE):
                # what a window needs by the tangents all after it need too
                open_ = np.flatnonzero(needs >= each[hard[first]])
                if not len(open_):
                    break
                here = self.needs.each_wh(sides[new[open_]], hard[first : first + _WINDOWS_AT_ONCE])
                needs[open_] = np.minimum(needs[open_], np.min(here, axis=1))
            self._at_least_wh |= zip((keys[i] for i in new), needs.tolist(), strict=True)
        return np.array([self._need_wh.get(key, self._at_least_wh.get(key, 0.0)) for key in keys])

    def follow(self, side: Counts) -> float:
        """The need of a side with all that the judge knows; it is kept."""
        need_wh = self.needs.followed_wh(side, self.need_wh(side), self.case.n_allowed)
        self._need_wh[side.tobytes()] = need_wh
        return need_wh

    def as_wired(self, counts: Floats, upper: Floats) -> Wired | None:
        """What the side of a kit needs by its very wiring; None where other wirings cannot be told from it by a sum.

        Parameters
        ----------
        upper : ndarray
            The most of each column of the plan.
        """
        case, layout, side = self.case, self.case.conditions.layout, self.of(counts)
        own = case.own(counts)
        makes_plant = case.matrix.has_any[1] & (case.matrix.row(layout.capacity) == 0.0)
        no_better = makes_plant & (own > 0.5)
        mine = np.flatnonzero(no_better)
        is_alone = np.zeros(case.matrix.shape[1], dtype=bool)
        for columns in self.needs.columns:
            used = columns[own[columns] > 0.5]
            if len(used) == 1:
                is_alone[used] = True
                no_better[[j for j in columns if self.needs.brings_no_more(case, int(j), int(used[0]))]] = True
        if not np.all(is_alone[mine] | (own[mine] >= upper[case.in_plan(mine)] - 0.5)):
            return None
        need_wh = self.needs.followed_as_wired_wh(
            case.conditions, case.plant(counts), self.need_wh(side), case.n_allowed
        )
        all_such = case.in_plan(np.flatnonzero(no_better))
        return Wired(side, tuple(all_such.tolist()), round(float(np.sum(own[mine]))), need_wh)

    # -- sets of panels, whatever unit they are on -------------------------------------------

    def tangent(self, some: Counts | Floats) -> Tangent:
        """The tangent at a set of panels, shape (n_kinds,)."""
        key = some.tobytes()
        if key not in self.tangents:
            self.tangents[key] = self.needs.tangent(some, self.case.n_allowed)
        return self.tangents[key]

    def look_at(self, side: Counts, sides: Counts) -> Floats:
        """Learn of all sides from one; what it tells of some, shape (n_sides,). [Wh]"""
        key = side.tobytes()
        tangent = self.closer.pop(key, None) or self.needs.tangent_of_side(side, self.case.n_allowed)
        if len(self.closer) == _MOST_CLOSER:
            del self.closer[next(iter(self.closer))]
        self.closer[key] = tangent
        return tangent.hardest_need_wh(*self.needs.told(sides))

    def at_least_by_sides_wh(self, sides: Counts) -> Floats:
        """What sides need at least by those that were looked at, shape (n_sides,). [Wh]"""
        told = self.needs.told(sides)
        return reduce(np.maximum, (one.hardest_need_wh(*told) for one in self.closer.values()), np.zeros(len(sides)))

    def at_least_wh(self, tangent: Tangent, sets: Counts | Floats) -> Floats:
        """What sets of panels need by a tangent, shape (n_sets,). [Wh]"""
        return tangent.need_wh(sets, self.case.n_allowed)


MOST_SUMS = 20_000
"""More capacities than this are not told apart."""


def more_of(sums: Floats, wh: float, n: int) -> Floats:
    """The capacities that some come to with one to so many batteries of a type besides, in order. [Wh]"""
    return np.unique((sums[:, None] + wh * np.arange(1, n + 1)).round(9))


def can_hold(case: Case) -> bool:
    """Whether a case is of one plant, binds every kit, and each of its joins is of one kind on one unit."""
    if not isinstance(case.conditions, Conditions):
        return False
    if case.served is not None or case.within is not None or case.gone or case.less:
        return False
    layout = case.conditions.layout
    n_brought = case.matrix.n_in(slice(layout.panel(0, 0), layout.demand(0)))
    n_kinds = n_brought if case.pieces is None else case.pieces.n_in(slice(None))
    brings_one = (n_brought == 0) | ((n_brought == 1) & (n_kinds == 1))
    charge_without_room = (case.matrix.row(layout.missing) != 0.0) & (case.matrix.row(layout.capacity) <= 0.0)
    return bool(np.all(brings_one) and np.all(case.matrix.values >= 0.0) and not np.any(charge_without_room))


def least_by_rows(weights: Floats, rows: Sequence[Row]) -> float:
    """What a nonnegative sum of counts is at least by any one of the rows."""
    least = 0.0
    for row in rows:
        if row.lower > 0.0:
            pays = min((weights[j] / c for j, c in row.terms if c > 0.0), default=0.0)
            least = max(least, row.lower * float(pays))
    return least
