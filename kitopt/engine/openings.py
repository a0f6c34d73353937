"""What is there for whole as soon as one panel needs it, such as a controller with what it costs.

Where a panel asks for a column by a row of its own, a linear program takes as much of the column as of the panel, and
which of several panels bears what it costs is open. A side tells which are asked for, so each of these counts once.
"""

from __future__ import annotations

from collections.abc import Collection, Sequence

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Terms
from kitopt.engine.needs import Counts
from kitopt.engine.plan import Plan

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


class Openings:
    """Columns of a plan that all that brings panels of some class asks for, in rows of two terms.

    Parameters
    ----------
    classes : sequence of terms
        What counts the panels of each class, in the plan's columns.
    without : collection of int
        Columns that are not asked about.

    Attributes
    ----------
    n : int
        How many columns are opened by any class.
    """

    def __init__(self, plan: Plan, classes: Sequence[Terms], without: Collection[int]) -> None:
        bring = {j: (c, n) for c, of_class in enumerate(classes) for j, n in of_class}
        asked: dict[tuple[int, int], dict[int, tuple[int, float, float]]] = {}
        for i, row in enumerate(plan.rows):
            # of a whole number of panels comes one of what they ask for at least
            if len(row.terms) != 2 or row.upper != 0.0:
                continue
            (j, more), (opened, less) = sorted(row.terms, key=lambda term: -term[1])
            is_opened = plan.is_count[opened] and opened not in bring and opened not in without
            if more > 0.0 > less and j in bring and is_opened:
                c, n = bring[j]
                asked.setdefault((c, opened), {})[j] = (i, more / n, -less)
        whole = {at: rows for at, rows in asked.items() if len(rows) == len(classes[at[0]])}
        columns = sorted({opened for _, opened in whole})
        place = {opened: at for at, opened in enumerate(columns)}
        self.n, self._n_classes = len(columns), len(classes)
        each = [(c, place[o], *one) for (c, o), rows in whole.items() for one in rows.values()]
        classes_of, places, rows, self._by_panel, self._of_whole = (
            np.array(part) for part in (zip(*each, strict=True) if each else [[]] * 5)
        )
        self._class, self._place, self._row = (part.astype(np.intp) for part in (classes_of, places, rows))
        self._opens = np.zeros((len(classes), self.n))
        self._opens[self._class, self._place] = 1.0

    def of(self, sides: Counts, classes: Places | slice) -> Counts:
        """What some sides open, each at most once, shape (n_sides, n)."""
        return ((sides > 0) @ self._opens[classes] > 0.0).astype(np.int64)

    def apart(self, each: Floats, duals: Floats) -> tuple[Floats, Floats]:
        """The price of a panel of each class but for what it opens, and that of each opening.

        What the rows of an opening bear is taken from its panels, and is borne by it alone: of the linear program all
        else stays as it is, and no column has a lower reduced cost.

        Parameters
        ----------
        each : ndarray, shape (n_classes,)
            With what each opens.
        duals : ndarray, shape (n_rows,)
        """
        borne = np.maximum(0.0, -duals[self._row])
        of_class = np.zeros((self._n_classes, self.n))
        np.maximum.at(of_class, (self._class, self._place), borne * self._by_panel)
        opening = np.zeros(self.n)
        np.add.at(opening, self._place, borne * self._of_whole)
        return each - of_class.sum(axis=1), opening
