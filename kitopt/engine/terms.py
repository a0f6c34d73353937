"""The terms of many rows as arrays, for what is asked of all rows at once."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Terms:
    """The terms of some rows, one after another: ``coefficient`` times ``column`` in ``row``, each (n_terms,)."""

    row: NDArray[np.intp]
    column: NDArray[np.intp]
    coefficient: Floats
    n_rows: int

    @classmethod
    def of(cls, rows: Sequence[Sequence[tuple[int, float]]]) -> Terms:
        """Those of rows of ``(column, coefficient)``."""
        lengths = [len(row) for row in rows]
        n = sum(lengths)
        column = np.fromiter((j for row in rows for j, _ in row), np.intp, n)
        coefficient = np.fromiter((c for row in rows for _, c in row), np.float64, n)
        return cls(np.repeat(np.arange(len(rows)), lengths), column, coefficient, len(rows))

    def at(self, values: Floats) -> Floats:
        """What each row comes to at values of the columns, shape (n_rows,)."""
        return np.asarray(np.bincount(self.row, self.coefficient * values[self.column], self.n_rows), dtype=np.float64)
