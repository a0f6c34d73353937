"""Amounts that flow evenly between some edges, told between others."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

Floats = NDArray[np.float64]


def between(amounts: Floats, edges: Floats, wanted: Floats) -> Floats:
    """What comes between some edges of amounts that come evenly between others.

    Parameters
    ----------
    amounts : ndarray, shape (..., n)
    edges : ndarray, shape (n + 1,)
        Rising.
    wanted : ndarray, shape (m + 1,)
        Rising; nothing comes beyond the edges.

    Returns
    -------
    ndarray, shape (..., m)
    """
    rows = np.atleast_2d(amounts)
    total = np.concatenate([np.zeros((len(rows), 1)), np.cumsum(rows, axis=1)], axis=1)
    found = np.array([np.diff(np.interp(wanted, edges, row)) for row in total])
    return found.reshape((*amounts.shape[:-1], len(wanted) - 1))
