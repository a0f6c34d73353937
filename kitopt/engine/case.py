"""What a kit must pass: a case of some windows, and a trial by many more than are worth having in a program."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.charging import Charging
from kitopt.engine.judge import TOLERANCE_WH
from kitopt.engine.matrix import Matrix
from kitopt.engine.plant import Conditions
from kitopt.errors import ModelError

Floats = NDArray[np.float64]
Terms = list[tuple[int, float]]

_HARDEST = 2
"""Times as many windows as may fail, and one, are taken at once: what is hard for one kit is hard for others too."""

_HARDLY = 1e-3
"""A case asked for in so small a part teaches nothing."""


@dataclass(frozen=True, eq=False)
class Case:
    """A kit under one set of windows and one contingency.

    Attributes
    ----------
    conditions : Conditions
    confidence : Fraction
        Share of the windows that must be survived.
    matrix : Matrix, shape (n_coordinates, n_own_columns)
        Takes counts to the plant that is judged.
    columns : ndarray of int, shape (n_own_columns,), or None
        Which of the plan's columns these are; the first ones in order when None.
    served : int or None
        A column of 0 or 1 that says whether the case must be passed; always when None.
    within : int or None
        A column of 0 or 1; where it is 0, the case need not be passed.
    gone : tuple of int
        Own columns that do not count in this case.
    less : tuple of (mark, column, share)
        For each in a mark, an own column, that share of one of another own column does not count.
        What is lost is kept beside the matrix, so that hundreds of cases may share one.
    pieces : Matrix, shape (n_kinds, n_own_columns), or None
        How many panels of each kind a column joins; every such column is a kind of its own when None. It says only
        which columns are alike: whatever it says, what is chosen is the best.
    """

    name: str
    conditions: Conditions
    confidence: Fraction
    matrix: Matrix
    columns: NDArray[np.intp] | None = None
    served: int | None = None
    within: int | None = None
    gone: tuple[int, ...] = ()
    less: tuple[tuple[int, int, float], ...] = ()
    pieces: Matrix | None = None
    charging: Charging | None = None
    """Where each battery takes all that the units pass."""
    parts: tuple[Case, ...] = ()
    """Where it is of several plants, the case of each: whoever passes this one passes each of them as surely."""

    @property
    def place(self) -> bytes:
        """The same for cases of the same columns."""
        return b"" if self.columns is None else self.columns.tobytes()

    def own(self, counts: Floats) -> Floats:
        """The counts that this case looks at, shape (n_own_columns,)."""
        return counts[: self.matrix.shape[1]] if self.columns is None else counts[self.columns]

    def in_plan(self, own: NDArray[np.intp] | None = None) -> NDArray[np.intp]:
        """Where some of its own columns, or all of them, stand in the plan."""
        own = np.arange(self.matrix.shape[1]) if own is None else own
        return own if self.columns is None else self.columns[own]

    def is_asked(self, counts: Floats) -> bool:
        """Whether the case must be passed, and says something that others do not."""
        return all(column is None or float(counts[column]) > _HARDLY for column in (self.served, self.within))

    @cached_property
    def elsewhere(self) -> int | None:
        """The column in `within`, where what is lost does not itself say whether the case is asked.

        Where one of what is lost says so, nothing is lost without it: whoever passes the plan's other cases passes
        this one, and what is learned of it holds for every kit.
        """
        lost = np.array([*self.gone, *(mark for mark, _, _ in self.less)], dtype=np.intp)
        return None if self.within in self.in_plan(lost).tolist() else self.within

    def where_asked(self, terms: Terms, least: float, v: Floats, box: Floats) -> tuple[Terms, float]:
        """A row ``v @ plant >= least`` and its lower bound, so that it binds only kits of which the case is asked.

        Parameters
        ----------
        terms : list of (column, coefficient)
            Of the row; other columns may be among them that are nowhere below zero.
        box : ndarray, shape (n_coordinates,)
            Largest value of each coordinate.
        """
        if self.elsewhere is None:
            return terms, least
        lowest = min(least, anyhow(v, box))
        return [*terms, (self.elsewhere, lowest - least)], lowest

    def plant(self, counts: Floats) -> Floats:
        """The plant that counts make, shape (n_coordinates,).

        Where the case is asked for in part, as a relaxation may, it is judged at that many times
        the counts: a row ``v @ plant >= served`` is broken just when ``v @ (plant / served) >= 1`` is.
        """
        plant = self.whole_matrix @ self.own(counts)
        return plant if self.served is None else plant / max(float(counts[self.served]), _HARDLY)

    def terms(self, v: Floats) -> Terms:
        """A row in the plant's coordinates as terms in the plan's columns."""
        row = v @ self.whole_matrix
        found = np.flatnonzero(np.abs(row) > 1e-12)
        return [(int(j), float(c)) for j, c in zip(self.in_plan(found), row[found], strict=True)]

    @cached_property
    def whole_matrix(self) -> Matrix:
        """The matrix with what is lost worked into it."""
        matrix = self.matrix
        for mark, column, share in self.less:
            matrix = matrix.plus(column, -share, to=mark)
        return matrix.without(self.gone) if self.gone else matrix

    @property
    def n_needed(self) -> int:
        """How many windows must be survived."""
        return math.ceil(self.confidence * self.conditions.n_windows)

    @property
    def n_allowed(self) -> int:
        """How many windows may fail."""
        return self.conditions.n_windows - self.n_needed


def anyhow(v: Floats, box: Floats) -> float:
    """What a row ``v @ plant`` has whatever kit it is, where no coordinate is larger than its part of a box."""
    return float(np.minimum(v, 0.0) @ box)


@dataclass(eq=False)
class Trial:
    """A case under more windows than are worth having in the program: a kit that passes all else is tried by them.

    What fails is sent back with the windows that are hardest for it. A case of some of the windows, of which as many
    may fail as of all, allows no less than the whole: so what is best under it and passes the whole is best.

    Attributes
    ----------
    needed_of : callable
        From how many windows there are to how many must be survived.
    margins_wh : callable
        From the plan's counts to the margins of all windows; None where the case is not asked. [Wh]
    case_of : callable
        The case under some of the windows, by number.
    cases : list of Case
        Of ever more windows, as they were found to be hard; the last one asks for all that the others do.
    """

    needed_of: Callable[[int], int]
    margins_wh: Callable[[Floats], Floats | None]
    case_of: Callable[[NDArray[np.intp]], Case]
    cases: list[Case] = field(default_factory=list)
    taken: NDArray[np.intp] = field(default_factory=lambda: np.zeros(0, dtype=np.intp))

    def fails(self, counts: Floats) -> bool:
        """Whether counts fail; if so there is one case more.

        Raises
        ------
        ModelError
            If counts pass the hardest windows and yet fail: a defect.
        """
        margin_wh = self.margins_wh(counts)
        if margin_wh is None:
            return False
        n_allowed = len(margin_wh) - self.needed_of(len(margin_wh))
        if np.count_nonzero(margin_wh < -TOLERANCE_WH) <= n_allowed:
            return False
        hardest = np.argsort(margin_wh, kind="stable")[: _HARDEST * (n_allowed + 1)]
        taken = np.union1d(self.taken, hardest)
        if len(taken) == len(self.taken):
            raise ModelError("a kit passes the hardest of many windows and yet fails too many of them")
        # where the time is up in between, nothing is taken
        self.cases.append(self.hardest(taken, len(margin_wh)))
        self.taken = taken
        return True

    def hardest(self, windows: NDArray[np.intp], n_all: int) -> Case:
        """The case of some windows, by number, of which as many may fail as of all of them."""
        case, n_allowed = self.case_of(windows), n_all - self.needed_of(n_all)
        confidence = Fraction(max(0, len(windows) - n_allowed), len(windows))
        return replace(case, name=f"{case.name}, hardest {len(windows)}", confidence=confidence)
