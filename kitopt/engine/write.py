"""Learned rows written into an integer program."""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, anyhow
from kitopt.engine.learned import CaseMemory, WindowRow
from kitopt.engine.listing import Listed, Listing
from kitopt.engine.losses import Spared, add_lost
from kitopt.engine.needs import Counts
from kitopt.engine.sides import Sides, Wired
from kitopt.engine.solver import Program

Floats = NDArray[np.float64]
Writer = Callable[[Floats], list[tuple[int, float]]]


_FEW_ROWS = 40
"""Up to so many rows are written in counts; more, in the plant's coordinates."""


def add_learned(program: Program, memory: CaseMemory, box: Floats, scale_column: int | None = None) -> None:
    """Write one case's rows: a few in counts, many in the plant's coordinates, tied to the counts by equalities.

    Rows in coordinates are sparser and have the same optimum; the ties cost more than they save
    while rows are few. Coordinates are scaled to the box, so that their columns run from 0 to 1.

    Parameters
    ----------
    box : ndarray, shape (n_coordinates,)
        Largest value of each coordinate.
    scale_column : int, optional
        A column λ in place of the 1 on the right-hand sides: the share of the need that is met.
        A case's own served column is another.
    """
    case = memory.case
    is_few = len(memory.free_rows) + len(memory.window_rows) <= _FEW_ROWS
    in_columns = case.terms if is_few else _coordinates(program, case, box)
    # what stands on the right-hand side in place of 1: each column is 1 at most, and their shares below 1 add up
    scales = [column for column in (scale_column, case.served) if column is not None]

    def at_least(v: Floats, least: float, *more: tuple[int, float]) -> None:
        terms, lower = case.where_asked([*in_columns(v), *more], least, v, box)
        program.add_row([*terms, *((j, -least) for j in scales)], lower=lower - least * len(scales))

    for row in memory.free_rows:
        at_least(row.v, row.least)
    given_up: dict[int, int] = {}
    for window_row in memory.window_rows:
        floor = _floor(memory, window_row, box, is_scaled=bool(scales))
        if floor >= window_row.least - 1e-9:
            at_least(window_row.v, window_row.least)
            continue
        if window_row.window not in given_up:
            given_up[window_row.window] = program.add_column(0, 1, integer=True)
        at_least(window_row.v, window_row.least, (given_up[window_row.window], window_row.least - floor))
    if given_up:
        program.add_row([(j, 1.0) for j in given_up.values()], upper=float(memory.case.n_allowed))


def add_sides(program: Program, listing: Listing, listed: Listed) -> list[int]:
    """Write that a kit has one of some sides, all joins of it, and the batteries that it needs.

    Returns
    -------
    list of int
        The column of each side that says whether it is the kit's.
    """
    sides, weights = listing.sides, listing.objective.weights
    # what the judge refused with any batteries needs infinitely many: not to be chosen
    may = np.isfinite(listed.need_wh)
    chosen = [program.add_column(0.0, float(one), integer=True) for one in may.tolist()]
    program.add_row([(y, 1.0) for y in chosen], 1.0, 1.0)
    for c in range(sides.n_classes):
        having = [(y, -float(n)) for y, n in zip(chosen, listed.sides[:, c].tolist(), strict=True) if n]
        if having or any(program.lower[j] > 0.0 for j, _ in sides.terms(c)):
            program.add_row([*sides.terms(c), *having], 0.0, 0.0)
            continue
        for j, _ in sides.terms(c):
            program.upper[j] = 0.0
    needs_wh = np.where(may, listed.need_wh, 0.0)
    scale = max(1.0, float(np.max(needs_wh, initial=0.0)))
    needs = [(y, -wh / scale) for y, wh in zip(chosen, needs_wh.tolist(), strict=True)]
    program.add_row([*((j, wh / scale) for j, wh in sides.capacity_terms()), *needs], lower=0.0)
    for spared in listing.with_losable if np.any(may) else []:
        _add_spared(program, spared, listed.sides[may], np.array(chosen)[may].tolist())
    for one in listing.wired:
        for k in np.flatnonzero(np.all(listed.sides == one.side, axis=1)).tolist():
            _add_wired(program, sides, one, chosen[k])
    # what a linear program knows of each side alone, it would not know of a mixture of them
    dearest = max(1.0, float(np.max(listed.least[may], initial=0.0)))
    least = [(y, -value / dearest) for y, value in zip(chosen, np.where(may, listed.least, 0.0).tolist(), strict=True)]
    program.add_row([*((int(j), float(weights[j]) / dearest) for j in np.flatnonzero(weights)), *least], lower=0.0)
    return chosen


def _add_spared(program: Program, spared: Spared, some: Counts, chosen: list[int]) -> None:
    """Write that a side has the batteries that it needs whichever of them is lost."""
    needs_wh = [spared.sides.need_wh(side) for side in some]
    scale = max(1.0, *needs_wh)
    has = [(j, wh / scale) for j, wh in spared.sides.capacity_terms()]
    needs = [(y, -wh / scale) for y, wh in zip(chosen, needs_wh, strict=True)]
    program.add_row([*has, (add_lost(program, spared.losable, scale), -1.0), *needs], lower=0.0)


def _add_wired(program: Program, sides: Sides, wired: Wired, chosen: int) -> None:
    """Write that a side wired in one way has the batteries for that; where none are enough, that it is not."""
    is_it = [(j, 1.0) for j in (*wired.columns, chosen)]
    if not np.isfinite(wired.need_wh):
        program.add_row(is_it, upper=float(wired.n))
        return
    capacity = [(j, wh / wired.need_wh) for j, wh in sides.capacity_terms()]
    program.add_row([*capacity, *((j, -c) for j, c in is_it)], lower=-float(wired.n))


@dataclass(frozen=True, eq=False)
class Asked:
    """What the windows of a case of several plants ask of one of these.

    Attributes
    ----------
    chosen : list of int
        The column of each side that it may have.
    in_all_wh : ndarray, shape (n_sides,)
        What is asked of the side anyhow. [Wh]
    each_wh : ndarray, shape (n_sides, n_windows)
        What each window asks of it, no less than that. [Wh]
    """

    sides: Sides
    chosen: list[int]
    in_all_wh: Floats
    each_wh: Floats


def add_joint(program: Program, case: Case, asked: Sequence[Asked]) -> None:
    """Write that no more windows are given up than may be, all plants together.

    A window asks something only where it asks more than what a side needs in all, which few do: that of a case with
    `a` windows to be given up is exceeded by `a` of them.
    """
    more = [one.each_wh - one.in_all_wh[:, None] for one in asked]
    hard = np.flatnonzero(np.any([np.any(part > 1e-6, axis=0) for part in more], axis=0))
    if len(hard) <= case.n_allowed:
        return
    given_up = []
    for k in hard.tolist():
        given_up.append(program.add_column(0.0, 1.0, integer=True))
        for one, part in zip(asked, more, strict=True):
            most = float(np.max(part[:, k]))
            if most > 1e-6:
                scale = float(np.max(one.each_wh[:, k]))
                needs = [(y, -wh / scale) for y, wh in zip(one.chosen, one.each_wh[:, k].tolist(), strict=True)]
                has = ((j, wh / scale) for j, wh in one.sides.capacity_terms())
                program.add_row([*has, *needs, (given_up[-1], most / scale)], lower=0.0)
    program.add_row([(u, 1.0) for u in given_up], upper=float(case.n_allowed))


def _coordinates(program: Program, case: Case, box: Floats) -> Writer:
    """Add a column for each coordinate, tied to the counts, and give the writer of rows in them."""
    column: dict[int, int] = {}
    matrix = case.whole_matrix
    of_plan = case.in_plan()
    for c in np.flatnonzero(matrix.has_any[0]).tolist():
        size = max(float(box[c]), 1e-9)
        column[c] = program.add_column(0.0, 1.0, integer=False)
        brought = matrix.row(c)
        terms = [(int(of_plan[j]), float(brought[j]) / size) for j in np.flatnonzero(brought)]
        program.add_row([*terms, (column[c], -1.0)], 0.0, 0.0)

    def in_columns(v: Floats) -> list[tuple[int, float]]:
        return [(column[c], float(v[c] * box[c])) for c in np.flatnonzero(v).tolist() if c in column]

    return in_columns


def _floor(memory: CaseMemory, row: WindowRow, box: Floats, *, is_scaled: bool) -> float:
    """What the row's left side reaches even where its window is given up."""
    worst = anyhow(row.v, box)
    # the bound by other windows holds for the whole need only, or in proportion while nothing pulls below zero
    if row.least != 1.0 or (is_scaled and worst < 0.0):
        return min(row.least, worst)
    return memory.least_without(row.v, box)
