"""The learned rows of a certificate: each says what it was learned from, and what follows is made from that alone.

Four sorts, all of which hold for every kit that passes the case: a cut of the judge over one spell more than may be
failed, which holds whichever are given up; what a side of panels needs of the batteries; a cut of one spell, unless
that spell is given up; and a kit that the judge refuses.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, anyhow
from kitopt.engine.joint import cuts, simulate
from kitopt.engine.judge import TOLERANCE_WH
from kitopt.engine.learned import CaseMemory
from kitopt.engine.listing import fixed_of
from kitopt.engine.plan import Plan
from kitopt.engine.sides import Sides, can_hold
from kitopt.engine.solver import Program

Floats = NDArray[np.float64]
Terms = tuple[tuple[int, float], ...]

LEAST_NEED_WH = 1e-3
"""A cut that asks for less is not brought to the form in which cuts of several spells are put together. [Wh]"""
UNBOUNDED = -1.0
"""Stands in a file for a capacity that no batteries can make."""


@dataclass(frozen=True)
class CutRow:
    """``Σ coefficient·count >= lower``: of the spells, one more than may be failed, each asks for less than this.

    Attributes
    ----------
    case : int
    counts, plant : tuple of (column, count), of (coordinate, amount)
        Where the judge was differentiated, in counts that may be parts and in watts and watt-hours.
    spells : tuple of int
    interval : tuple of (first step, last step)
        For each spell the steps whose energy counts: after the last full one, up to the lowest.
    margin_wh : tuple of float
        For each spell that of the plant. [Wh]
    """

    case: int
    counts: Terms
    plant: Terms
    spells: tuple[int, ...]
    interval: tuple[tuple[int, int], ...]
    margin_wh: tuple[float, ...]
    terms: Terms
    lower: float


@dataclass(frozen=True)
class SpellRow:
    """The cut of one spell, unless it is given up; then its left side is at least `floor` all the same."""

    case: int
    counts: Terms
    plant: Terms
    spell: int
    interval: tuple[int, int]
    margin_wh: float
    terms: Terms
    lower: float
    floor: float


@dataclass(frozen=True)
class SideRow:
    """A kit with these panels on these units, or fewer of them on the same units, needs that capacity of batteries.

    Attributes
    ----------
    side : tuple of int
        How many panels of each kind on each unit, by class.
    plant : tuple of (coordinate, amount)
        Of such a kit at its best, batteries apart.
    units : tuple of int
        The columns of the units that have panels.
    capacity_wh : float
        `UNBOUNDED` where none at hand suffices. [Wh]
    """

    case: int
    side: tuple[int, ...]
    plant: Terms
    units: tuple[int, ...]
    capacity_wh: float


@dataclass(frozen=True)
class KitRow:
    """Just these counts are none that work, by the judge of one case."""

    case: int
    counts: Terms
    plant: Terms


Learned = CutRow | SpellRow | SideRow | KitRow


class Origin:
    """What rows of one case are made from: the judge, under that case.

    Parameters
    ----------
    number : int
        Of the case in the certificate.
    """

    def __init__(self, number: int, plan: Plan, case: Case) -> None:
        self.number, self.plan, self.case, self.n_allowed = number, plan, case, case.n_allowed
        self.box = CaseMemory(case).upper_of_coordinates(plan.upper)
        self.has_sides = can_hold(case) and self._has_one_column_a_unit()
        self._followed_wh: dict[tuple[int, ...], float] = {}

    def _has_one_column_a_unit(self) -> bool:
        layout = self.case.conditions.layout
        return all(len(self._columns_of_unit(u)) <= 1 for u in range(layout.n_units))

    def _columns_of_unit(self, unit: int) -> list[int]:
        own = np.flatnonzero(self.case.matrix.row(self.case.conditions.layout.limit(unit)) > 0.0)
        return [int(j) for j in self.case.in_plan(own)]

    @cached_property
    def sides(self) -> Sides:
        """The needs of the case's sides; only where it has any."""
        return Sides(self.case, fixed_of(self.case, self.plan, self.box))

    @cached_property
    def box_margin_wh(self) -> tuple[float, ...]:
        """What each spell leaves to all that there is together: the weather in one number each. [Wh]"""
        return tuple(simulate(self.case.conditions, self.box).margin_wh.tolist())

    @cached_property
    def _counts_here(self) -> NDArray[np.bool_]:
        """Which of the plan's columns the case knows, shape (n_columns,)."""
        _, own = self.case.matrix.has_any
        own[[mark for mark, _, _ in self.case.less]] = True
        known = np.zeros(self.plan.n_columns, dtype=bool)
        known[self.case.in_plan()] = own
        return known

    @cached_property
    def _is_used(self) -> NDArray[np.bool_]:
        return self.case.whole_matrix.has_any[0]

    def fails(self, counts: Floats) -> NDArray[np.bool_] | None:
        """Which spells are failed, where more of them are than may be; None where the counts pass."""
        if not self.case.is_asked(counts):
            return None
        failed = ~simulate(self.case.conditions, self.case.plant(counts)).survives
        return failed if np.count_nonzero(failed) > self.n_allowed else None

    # -- made from where they come from ------------------------------------------------

    def cut(self, counts: Floats, spells: Sequence[int]) -> CutRow | None:
        """The cut at some counts that holds whichever spells are given up; None where these make none."""
        v, lower, interval, margin_wh = self._normal(counts, spells)
        if len(set(spells)) != len(spells) or len(spells) <= self.n_allowed or len(set(lower)) > 1:
            return None
        top = np.max(v, axis=0)
        terms, least = self.case.where_asked(self.case.terms(top), lower[0], top, self.box)
        return CutRow(self.number, *self._at(counts), tuple(spells), interval, margin_wh, tuple(terms), least)

    def spell(self, counts: Floats, spell: int) -> SpellRow:
        """The cut of one spell at some counts, and what its left side is at the least."""
        v, lower, interval, margin_wh = self._normal(counts, [spell])
        terms, least = self.case.where_asked(self.case.terms(v[0]), lower[0], v[0], self.box)
        floor = min(lower[0], anyhow(v[0], self.box)) - (lower[0] - least)
        return SpellRow(self.number, *self._at(counts), spell, interval[0], margin_wh[0], tuple(terms), least, floor)

    def kit(self, counts: Floats) -> KitRow | None:
        """That just these counts are none; None where the judge has nothing against them."""
        return KitRow(self.number, *self._at(counts, self.plan.is_count)) if self.fails(counts) is not None else None

    def _at(self, counts: Floats, which: Sequence[bool] | None = None) -> tuple[Terms, Terms]:
        """Counts that the case knows and the plant that they make, what is zero left out."""
        plant = self.case.plant(counts)
        known = self._counts_here if which is None else np.array(which)
        return _terms(np.where(known, counts, 0.0)), _terms(plant)

    def _normal(
        self, counts: Floats, spells: Sequence[int]
    ) -> tuple[Floats, list[float], tuple[tuple[int, int], ...], tuple[float, ...]]:
        """Cuts ``v @ plant >= lower`` of some spells, their steps and margins. [Wh]"""
        conditions, at = self.case.conditions, self.case.plant(counts)
        windows = np.array(spells, dtype=np.intp)
        verdict = simulate(conditions, at)
        found = cuts(conditions, at, verdict.lowest_step[windows], windows)
        slope, need = np.where(self._is_used, found.slope, 0.0), -found.constant - TOLERANCE_WH
        if np.all(need > LEAST_NEED_WH):
            scale, lower = need, [1.0] * len(windows)
        else:
            scale = np.maximum(1.0, np.max(np.abs(slope), axis=1))
            lower = (need / scale).tolist()
        v = slope / scale[:, None]
        v[np.abs(v) < 1e-12] = 0.0
        interval = tuple(zip(found.first_step.tolist(), found.last_step.tolist(), strict=True))
        return v, lower, interval, tuple(verdict.margin_wh[windows].tolist())

    def side(self, side: Sequence[int]) -> SideRow:
        """What a side needs by the judge."""
        counts = np.array(side, dtype=np.int64)
        need = self._followed(side)
        units = [j for u in sorted(set(self.sides.needs.unit[counts > 0].tolist())) for j in self._columns_of_unit(u)]
        plant = _terms(self.sides.needs.plant(counts))
        return SideRow(self.number, tuple(side), plant, tuple(units), need if np.isfinite(need) else UNBOUNDED)

    def _followed(self, side: Sequence[int]) -> float:
        # once a side: to follow it again from where it ended would go on
        key = tuple(side)
        if key not in self._followed_wh:
            self._followed_wh[key] = float(self.sides.follow(np.array(key, dtype=np.int64)))
        return self._followed_wh[key]

    # -- made from counts that fail ------------------------------------------------------

    def side_of(self, counts: Floats) -> SideRow | None:
        """The row of the largest side around that of some counts that needs more than they have; None where none does.

        More panels need no more, so what a larger side needs every smaller one does.
        """
        if not self.has_sides:
            return None
        has_wh = sum(wh * float(counts[j]) for j, wh in self.sides.capacity_terms()) + 1e-6
        side = self.sides.of(counts)
        if not self._followed(side.tolist()) > has_wh:
            return None
        used = np.isin(self.sides.needs.unit, self.sides.needs.unit[side > 0])
        most = [round(sum(n * float(self.plan.upper[j]) for j, n in self.sides.terms(c))) for c in range(len(side))]
        for c in sorted(np.flatnonzero(used).tolist(), key=lambda c: most[c]):
            # doubled while it may, then halved: many panels of a kind need few questions
            step = max(1, most[c])
            while step:
                more = side.copy()
                more[c] += step
                if more[c] <= most[c] and self.sides.need_wh(more) > has_wh:
                    side = more
                else:
                    step //= 2
        return self.side(side.tolist())


def _terms(values: Floats) -> Terms:
    return tuple((int(i), float(values[i])) for i in np.flatnonzero(values))


class Writer:
    """Writes learned rows into a program, what they share once."""

    def __init__(self, program: Program, plan: Plan, origins: Sequence[Origin]) -> None:
        self.program, self.plan, self.origins = program, plan, origins
        self._more: dict[tuple[int, int, int], int] = {}
        self._given_up: dict[tuple[int, int], int] = {}

    def write(self, rows: Sequence[Learned]) -> None:
        """Add them all."""
        for row in rows:
            if isinstance(row, CutRow):
                self.program.add_row(row.terms, lower=row.lower)
            elif isinstance(row, SpellRow):
                self._spell(row)
            elif isinstance(row, SideRow):
                self._side(row)
            else:
                self._kit(row)
        for case, origin in enumerate(self.origins):
            given_up = [(j, 1.0) for (of, _), j in self._given_up.items() if of == case]
            if given_up:
                self.program.add_row(given_up, upper=float(origin.n_allowed))

    def _spell(self, row: SpellRow) -> None:
        key = row.case, row.spell
        if key not in self._given_up:
            self._given_up[key] = self.program.add_column(0.0, 1.0, integer=True)
        self.program.add_row([*row.terms, (self._given_up[key], row.lower - row.floor)], lower=row.lower)

    def _side(self, row: SideRow) -> None:
        """More panels of some kind on some unit, a unit less, or the batteries that it needs."""
        sides = self.origins[row.case].sides
        terms = [(j, -1.0) for j in row.units]
        for c, n in enumerate(row.side):
            most = sum(each * self.program.upper[j] for j, each in sides.terms(c))
            if most > n:
                terms.append((self._has_more(row.case, c, n), 1.0))
        if row.capacity_wh != UNBOUNDED and row.capacity_wh > 0.0:
            terms += [(j, wh / row.capacity_wh) for j, wh in sides.capacity_terms()]
        self.program.add_row(terms, lower=1.0 - len(row.units))

    def _has_more(self, case: int, c: int, n: int) -> int:
        """The column that may be one only where there are more than so many panels of a class."""
        key = case, c, n
        if key not in self._more:
            self._more[key] = self.program.add_column(0.0, 1.0, integer=True)
            terms = [*self.origins[case].sides.terms(c), (self._more[key], -float(n + 1))]
            self.program.add_row(terms, lower=0.0)
        return self._more[key]

    def _kit(self, row: KitRow) -> None:
        counts = dict(row.counts)
        either: list[tuple[int, float]] = []
        for j, is_count in enumerate(self.plan.is_count):
            at, most = counts.get(j, 0.0), float(self.plan.upper[j])
            if is_count and at < most:
                more = self.program.add_column(0.0, 1.0, integer=True)
                self.program.add_row([(j, 1.0), (more, -(at + 1.0))], lower=0.0)
                either.append((more, 1.0))
            if is_count and at > 0.0:
                less = self.program.add_column(0.0, 1.0, integer=True)
                self.program.add_row([(j, 1.0), (less, most - at + 1.0)], upper=most)
                either.append((less, 1.0))
        self.program.add_row(either, lower=1.0)
