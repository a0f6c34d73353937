"""The few entries of a matrix do what numpy does with all of them."""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.engine.matrix import Matrix

DENSE = np.array([[0.0, 2.0, 0.0, 1.0], [3.0, 0.0, 0.0, -1.0], [0.0, 4.0, 0.0, 0.5]])


def of(dense: np.ndarray) -> Matrix:
    return Matrix.of(dense.shape, {(int(i), int(j)): float(dense[i, j]) for i, j in np.ndindex(*dense.shape)})


def test_its_products_rows_and_columns_are_those_of_numpy() -> None:
    some = of(DENSE)
    counts, slope = np.array([1.0, 2.0, 3.0, 4.0]), np.array([5.0, 6.0, 7.0])
    assert some @ counts == pytest.approx(DENSE @ counts)
    assert slope @ some == pytest.approx(slope @ DENSE)
    assert some.row(1).tolist() == DENSE[1].tolist()
    assert some.column(3).tolist() == DENSE[:, 3].tolist()
    assert some.some_rows(slice(1, 3)).tolist() == DENSE[1:3].tolist()
    assert some.n_in(slice(0, 2)).tolist() == [1, 1, 0, 2]


def test_no_zero_is_held_and_what_has_none_is_told() -> None:
    some = of(DENSE)
    assert len(some.values) == np.count_nonzero(DENSE)
    rows, columns = some.has_any
    assert (rows.tolist(), columns.tolist()) == ([True] * 3, [True, True, False, True])


def test_changes_of_columns_are_those_of_numpy() -> None:
    some = of(DENSE)
    added = DENSE.copy()
    added[:, 2] += -0.5 * added[:, 3]
    assert some.plus(3, -0.5, to=2).some_rows(slice(None)).tolist() == added.tolist()
    # what cancels out is gone
    assert len(some.plus(3, -1.0, to=3).values) == len(some.values) - 3
    gone = DENSE.copy()
    gone[:, 3] = 0.0
    assert some.without([3]).some_rows(slice(None)).tolist() == gone.tolist()
    assert some.without([3], slice(1, 2)).row(0).tolist() == DENSE[0].tolist()
    assert some.divided([1, 3], 2.0).some_rows(slice(None)).tolist() == (DENSE / [1.0, 2.0, 1.0, 2.0]).tolist()


def test_one_stands_below_another_or_among_more_columns() -> None:
    some = of(DENSE)
    assert Matrix.below_each_other([some, some]).some_rows(slice(None)).tolist() == np.vstack([DENSE, DENSE]).tolist()
    assert some.among(1, 6).some_rows(slice(None)).tolist() == np.pad(DENSE, ((0, 0), (1, 1))).tolist()


def test_rows_of_terms_are_in_their_order() -> None:
    some = Matrix.of_rows([[(2, 3.0), (0, 1.0)], [], [(1, 5.0)]], 3)
    assert some @ np.array([1.0, 2.0, 3.0]) == pytest.approx([3.0 * 3 + 1.0, 0.0, 5.0 * 2])
    assert (some.columns.tolist(), some.shape) == ([2, 0, 1], (3, 3))
