"""A few standard kits that together serve most: one integer program over sites and kits, proved.

A site is served by a kit that passes there in every plan of it. First as much priority as can be is served; then what
the sites carry is least, each taking the lightest (or cheapest) standard kit that passes there.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.solver import Program, solve
from kitopt.errors import SolverFailed

Bools = NDArray[np.bool_]

_PARTS = 1000
"""Priorities count in so many parts of one."""


@dataclass(frozen=True)
class Picked:
    """Which kits are kept in store.

    Attributes
    ----------
    kits : tuple of int
        By number, in order; fewer than allowed where more would change nothing.
    of_site : tuple of int or None
        Which of them each site takes; None for one that none serves.
    weight : float
        Priority that is served in all.
    cost : int
        Of the kits that sites take, in all.
    """

    kits: tuple[int, ...]
    of_site: tuple[int | None, ...]
    weight: float
    cost: int


def pick(passes: Bools, weights: Sequence[float], costs: Sequence[int], most: int) -> Picked:
    """Pick at most so many kits.

    Parameters
    ----------
    passes : ndarray of bool, shape (n_sites, n_kits)
        Which kit passes where.
    weights : sequence of float
        How much each site counts.
    costs : sequence of int
        Mass [g] or price [1/100] of each kit.
    """
    fine = np.array([round(_PARTS * one) for one in weights], dtype=np.int64)
    # as few parts as tell priorities apart: rows of the program are normalised, and a part must not drown
    unit = max(1, int(np.gcd.reduce(fine)))
    parts = fine // unit
    total_parts = max(1.0, float(parts.sum()))
    # sites at which the same kits pass are one
    groups: dict[bytes, list[int]] = {}
    for site, row in enumerate(passes):
        if row.any():
            groups.setdefault(row.tobytes(), []).append(site)
    program = Program()
    kits = [program.add_column(0.0, 1.0, integer=True) for _ in costs]
    program.add_row([(x, 1.0) for x in kits], upper=float(most))
    served: list[tuple[int, float]] = []
    carried: list[tuple[int, float]] = []
    for sites in groups.values():
        takes = []
        for j in np.flatnonzero(passes[sites[0]]).tolist():
            y = program.add_column(0.0, 1.0, integer=True)
            program.add_row([(y, 1.0), (kits[j], -1.0)], upper=0.0)
            takes.append((y, 1.0))
            served.append((y, float(parts[sites].sum())))
            carried.append((y, float(costs[j]) * len(sites)))
        program.add_row(takes, upper=1.0)
    most_served = -_least(program, [(y, -w) for y, w in served])
    # half a part below, which is none: parts are whole
    program.add_row([(y, w / total_parts) for y, w in served], lower=(most_served - 0.5) / total_parts)
    values = _values(program, carried)
    chosen = tuple(j for j, x in enumerate(kits) if values[x] > 0.5)
    of_site = tuple(_lightest(row, chosen, costs) for row in passes)
    used = tuple(j for j in chosen if j in of_site)
    total = sum(costs[j] for j in of_site if j is not None)
    weight = sum(int(fine[site]) for site, j in enumerate(of_site) if j is not None) / _PARTS
    return Picked(used, of_site, weight, total)


def _lightest(row: Bools, chosen: Sequence[int], costs: Sequence[int]) -> int | None:
    return min((j for j in chosen if row[j]), key=lambda j: (costs[j], j), default=None)


def _least(program: Program, costs: Sequence[tuple[int, float]]) -> float:
    values = _values(program, costs)
    return float(round(sum(cost * float(values[j]) for j, cost in costs)))


def _values(program: Program, costs: Sequence[tuple[int, float]]) -> NDArray[np.float64]:
    """A proved optimum of the program with these costs."""
    of: Mapping[int, float] = dict(costs)
    asked = program.copy()
    asked.objective = [of.get(j, 0.0) for j in range(len(asked.lower))]
    answer = solve(asked)
    if answer.status != "optimal" or answer.values is None:
        raise SolverFailed("a choice of standard kits always has an optimum, and none was found")
    return answer.values
