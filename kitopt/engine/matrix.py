"""A matrix of which most entries are zero: what counts bring to a plant's coordinates, or the terms of many rows."""

from __future__ import annotations

import itertools
from collections.abc import Mapping, Sequence
from dataclasses import dataclass
from operator import itemgetter

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]
Places = NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Matrix:
    """Its entries in any order; each place has one at most.

    Attributes
    ----------
    shape : (int, int)
    rows, columns : ndarray of int, shape (n_entries,)
    values : ndarray, shape (n_entries,)
    """

    shape: tuple[int, int]
    rows: Places
    columns: Places
    values: Floats

    # so that an array on its left leaves the product to it
    __array_ufunc__ = None

    @classmethod
    def of(cls, shape: tuple[int, int], entries: Mapping[tuple[int, int], float]) -> Matrix:
        """That of entries by row and column."""
        places = np.array(list(entries), dtype=np.intp).reshape(-1, 2)
        return cls._summed(shape, places[:, 0], places[:, 1], np.fromiter(entries.values(), np.float64, len(entries)))

    @classmethod
    def of_rows(cls, rows: Sequence[Sequence[tuple[int, float]]], n_columns: int) -> Matrix:
        """That of rows of ``(column, coefficient)``, each column once in a row: its entries are in their order."""
        lengths, entries = [len(row) for row in rows], list(itertools.chain.from_iterable(rows))
        columns = np.fromiter(map(itemgetter(0), entries), np.intp, len(entries))
        values = np.fromiter(map(itemgetter(1), entries), np.float64, len(entries))
        return cls((len(rows), n_columns), np.repeat(np.arange(len(rows)), lengths), columns, values)

    @classmethod
    def below_each_other(cls, some: Sequence[Matrix]) -> Matrix:
        """Some of the same columns, the rows of one behind those of another."""
        firsts = np.cumsum([0, *(one.shape[0] for one in some)]).tolist()
        rows = np.concatenate([one.rows + first for one, first in zip(some, firsts, strict=False)])
        columns, values = (np.concatenate([getattr(one, name) for one in some]) for name in ("columns", "values"))
        return cls._summed((firsts[-1], some[0].shape[1]), rows, columns, values)

    @classmethod
    def _summed(cls, shape: tuple[int, int], rows: Places, columns: Places, values: Floats) -> Matrix:
        """That of entries of which several may be for one place; zeros are left out."""
        places, which = np.unique(columns * shape[0] + rows, return_inverse=True)
        summed = np.bincount(which, values, len(places))
        places, summed = places[summed != 0.0], summed[summed != 0.0]
        return cls(shape, places % shape[0], places // shape[0], summed)

    def among(self, first: int, n_columns: int) -> Matrix:
        """The same as so many columns, of which its own stand from some place on."""
        return Matrix((self.shape[0], n_columns), self.rows, self.columns + first, self.values)

    def plus(self, column: int, times: float, to: int) -> Matrix:
        """The same with so many times one column added to another."""
        mine = self.columns == column
        rows = np.append(self.rows, self.rows[mine])
        columns = np.append(self.columns, np.full(np.count_nonzero(mine), to))
        return Matrix._summed(self.shape, rows, columns, np.append(self.values, times * self.values[mine]))

    def without(self, columns: Sequence[int], rows: slice = slice(None)) -> Matrix:
        """The same with nothing in some columns, or in some rows of these."""
        stays = ~np.isin(self.columns, columns) | ~self.is_in(rows)
        return Matrix(self.shape, self.rows[stays], self.columns[stays], self.values[stays])

    def divided(self, columns: Sequence[int], by: float) -> Matrix:
        """The same with so little of some columns."""
        values = np.where(np.isin(self.columns, columns), self.values / by, self.values)
        return Matrix(self.shape, self.rows, self.columns, values)

    def __matmul__(self, counts: Floats) -> Floats:
        """What counts bring to each coordinate, shape (n_rows,)."""
        return np.asarray(np.bincount(self.rows, self.values * counts[self.columns], self.shape[0]), dtype=np.float64)

    def __rmatmul__(self, slope: Floats) -> Floats:
        """A sum over the coordinates as one over the counts, shape (n_columns,)."""
        return np.asarray(np.bincount(self.columns, slope[self.rows] * self.values, self.shape[1]), dtype=np.float64)

    def row(self, i: int) -> Floats:
        """What each column brings to a coordinate, shape (n_columns,)."""
        return np.asarray(self.some_rows(slice(i, i + 1))[0])

    def some_rows(self, rows: slice) -> Floats:
        """What each column brings to some coordinates, shape (n, n_columns)."""
        first, end, _ = rows.indices(self.shape[0])
        some, found = self.is_in(rows), np.zeros((end - first, self.shape[1]))
        found[self.rows[some] - first, self.columns[some]] = self.values[some]
        return found

    def column(self, j: int) -> Floats:
        """What a column brings to each coordinate, shape (n_rows,)."""
        mine, found = self.columns == j, np.zeros(self.shape[0])
        found[self.rows[mine]] = self.values[mine]
        return found

    def is_in(self, rows: slice) -> NDArray[np.bool_]:
        """Which entries lie in some rows, shape (n_entries,)."""
        first, end, _ = rows.indices(self.shape[0])
        return np.asarray((self.rows >= first) & (self.rows < end))

    def n_in(self, rows: slice) -> Places:
        """How many entries each column has in some rows, shape (n_columns,)."""
        return np.bincount(self.columns[self.is_in(rows)], minlength=self.shape[1])

    @property
    def has_any(self) -> tuple[NDArray[np.bool_], NDArray[np.bool_]]:
        """Which rows, and which columns, have any entry."""
        row, column = (np.zeros(n, dtype=bool) for n in self.shape)
        row[self.rows], column[self.columns] = True, True
        return row, column
