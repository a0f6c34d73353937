"""What a panel side asks of the battery where one thing of a kit may be lost: what the worst of what is left asks.

All losses of a kit meet the same weather with the same loads, so what is left needs what any side needs there.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, Terms
from kitopt.engine.needs import Counts, Floats
from kitopt.engine.sides import MOST_SUMS, Sides, more_of
from kitopt.engine.solver import Program
from kitopt.engine.tangents import Tangent

_ALL_OF_IT = 10**6


def whole_of(case: Case) -> Case:
    """A case of a loss with nothing lost."""
    return case if case.within is None else replace(case, within=None, gone=(), less=())


@dataclass(frozen=True)
class Losable:
    """Of one type of battery so much may be lost: the plan's columns of the type, and of whether there is any. [Wh]"""

    column: int
    mark: int
    lost_wh: float


def add_lost(program: Program, losable: Sequence[Losable], scale: float) -> int:
    """Add a column that is no less than what any of some batteries that are there is, in so many watt-hours."""
    lost = program.add_column(0.0, max(one.lost_wh for one in losable) / scale, integer=False)
    for one in losable:
        program.add_row([(lost, 1.0), (one.mark, -one.lost_wh / scale)], lower=0.0)
    return lost


class Spared:
    """The needs of the sides of one kit, whichever of some things is lost.

    All that is told is a capacity in all without which no kit with a side passes. Where the side alone does not say
    what a loss leaves, nothing is told of that loss.

    Parameters
    ----------
    cases : sequence of Case
        One a loss, alike in all but what is lost.
    sides : Sides
        Those of the cases with nothing lost.
    upper : ndarray
        The most of each column of the plan.
    """

    def __init__(self, cases: Sequence[Case], sides: Sides, upper: Floats) -> None:
        self.cases, self.sides, self.upper = tuple(cases), sides, upper
        capacity, each = sides.needs.capacity, [_lost_in(case) for case in cases]
        self.losable = tuple(
            Losable(int(case.in_plan(np.array([j]))[0]), case.within, share * float(capacity[j]))
            for case, lost in zip(cases, each, strict=True)
            for j, share in lost.items()
            if capacity[j] > 0.0 and case.within is not None
        )
        self._lost = [*self._units(each), *self._panels(each)]
        self._of_kind = (sides.kind[:, None] == np.arange(sides.n_kinds)).astype(np.int64)

    # -- what is lost --------------------------------------------------------------------

    def _units(self, each: Sequence[dict[int, float]]) -> list[Counts]:
        """What is lost with each unit: all that hangs on it."""
        case, needs = self.sides.case, self.sides.needs
        limit = case.conditions.layout.limit
        found = [
            u
            for u in sorted(set(needs.unit.tolist()))
            if any(any(case.matrix.row(limit(u))[j] > 0.0 for j in lost) for lost in each)
        ]
        return [np.where(needs.unit == u, _ALL_OF_IT, 0) for u in found]

    def _panels(self, each: Sequence[dict[int, float]]) -> list[Counts]:
        """What is lost of each class whichever of its joins is there, where there is any."""
        sides, needs = self.sides, self.sides.needs
        lost = {j: share for one in each if len(one) == 1 for j, share in one.items()}
        found = []
        for c, columns in enumerate(needs.columns):
            there = columns[self.upper[sides.case.in_plan(columns)] > 0.0].tolist()
            least = min((lost.get(j, 0.0) * float(needs.joined[j]) for j in there), default=0.0)
            if least > 1.0 - 1e-6:
                found.append(np.where(np.arange(sides.n_classes) == c, int(least + 1e-6), 0))
        return found

    def _left(self, sides: Counts) -> tuple[Counts, NDArray[np.intp]]:
        """What may be left of some sides without some of their panels, and of which of them each is."""
        found, of = [sides[:0]], [np.zeros(0, dtype=np.intp)]
        for lost in self._lost:
            left = np.maximum(sides - lost, 0)
            mine = np.flatnonzero(np.any(left != sides, axis=1))
            found.append(left[mine])
            of.append(mine)
        return np.concatenate(found), np.concatenate(of)

    # -- batteries -----------------------------------------------------------------------

    @cached_property
    def _made(self) -> tuple[Floats, Floats] | None:
        """What the batteries at hand can leave of a capacity, in order, and the least capacity that leaves so much.

        None where there are too many.
        """
        lost_of = {one.column: one.lost_wh for one in self.losable}
        sums, left, in_all = np.zeros(1), [np.zeros(1)], [np.zeros(1)]
        for j, wh in sorted(self.sides.capacity_terms(), key=lambda one: lost_of.get(one[0], 0.0)):
            # with this one no other that is there is a greater loss
            here = more_of(sums, wh, round(float(self.upper[j])))
            left.append(np.maximum(here - lost_of.get(j, 0.0), 0.0))
            in_all.append(here)
            sums = np.unique(np.concatenate([sums, here]))
            if len(sums) > MOST_SUMS:
                return None
        left_wh, in_all_wh = np.concatenate(left), np.concatenate(in_all)
        order = np.argsort(left_wh, kind="stable")
        return left_wh[order], np.minimum.accumulate(in_all_wh[order][::-1])[::-1]

    def _in_all(self, needs: Floats) -> Floats:
        """The least capacity that leaves so much whichever battery is lost; infinite where none does. [Wh]"""
        if not self.losable or self._made is None:
            return needs
        left_wh, in_all_wh = self._made
        at = np.searchsorted(left_wh, needs - 1e-6)
        return np.where(at < len(left_wh), in_all_wh[np.minimum(at, len(left_wh) - 1)], np.inf)

    def is_short(self, side: Counts, counts: Floats) -> bool:
        """Whether the batteries of a kit with a side are too few when one of them is lost."""
        lost = max((one.lost_wh for one in self.losable if counts[one.mark] > 0.5), default=0.0)
        in_all = sum(wh * float(counts[j]) for j, wh in self.sides.capacity_terms())
        return self.sides.need_wh(side) > in_all - lost + 1e-6

    # -- what sides need -----------------------------------------------------------------

    def _asked(self, sides: Counts, each: Callable[[Counts], Floats]) -> Floats:
        """What is asked in all of some sides, from what is asked of each that may be left."""
        left, of = self._left(sides)
        needs = each(np.concatenate([sides, left]))
        in_all = self._in_all(needs[: len(sides)])
        np.maximum.at(in_all, of, needs[len(sides) :])
        return in_all

    def need_wh(self, side: Counts) -> float:
        """As of ``Sides``."""
        return float(self._asked(side[None, :], lambda left: np.array([self.sides.need_wh(one) for one in left]))[0])

    def follow(self, side: Counts) -> float:
        """As of ``Sides``."""
        return float(self._asked(side[None, :], lambda left: np.array([self.sides.follow(one) for one in left]))[0])

    def need_at_least_wh(self, sides: Counts) -> Floats:
        """As of ``Sides``."""

        def each(left: Counts) -> Floats:
            _, same = np.unique(left @ self._of_kind, axis=0, return_inverse=True)
            needs = np.zeros(len(left))
            for one in range(int(np.max(same, initial=-1)) + 1):
                needs[same == one] = self.sides.need_at_least_wh(left[same == one])
            return needs

        return self._asked(sides, each)

    def look_at(self, side: Counts, sides: Counts) -> Floats:
        """As of ``Sides``, from the worst that may be left of it."""
        left, _ = self._left(side[None, :])
        worst = max((side, *left), key=self.sides.need_wh)
        return self._asked(sides, lambda left: self.sides.look_at(worst, left))

    def at_least_by_sides_wh(self, sides: Counts) -> Floats:
        """As of ``Sides``."""
        return self._asked(sides, self.sides.at_least_by_sides_wh)

    @property
    def in_plan(self) -> tuple[list[Terms], Terms]:
        """As of ``Sides``."""
        return self.sides.in_plan

    @property
    def tangents(self) -> dict[bytes, Tangent]:
        """By the set of panels that each is at, whatever is lost."""
        return self.sides.tangents

    def tangent(self, some: Counts | Floats) -> Tangent:
        """As of ``Sides``."""
        return self.sides.tangent(some)

    def at_least_wh(self, tangent: Tangent, sets: Counts | Floats) -> Floats:
        """As of ``Sides``, of losses of batteries alone: which unit a panel is on is open."""
        return self._in_all(self.sides.at_least_wh(tangent, sets))


def _lost_in(case: Case) -> dict[int, float]:
    """Own columns of which some is lost in a case wherever there is any of it, and what share of one.

    Where what decides is another column, such as that of a joiner that few kits have, nothing is known by the side.
    """
    lost = {**dict.fromkeys(case.gone, 1.0), **{j: share for _, j, share in case.less}}
    return lost if case.elsewhere is None else {}
