"""Several plants under the same windows, as one: a window is survived when every one of them survives it.

The margin of a window is the smallest of theirs, which is concave as each of them is; so the cut of the plant that
has the least lies above the margin of all.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import judge
from kitopt.engine.judge import Cuts, Floats, Verdict
from kitopt.engine.plan import Case
from kitopt.engine.plant import Conditions


@dataclass(frozen=True, eq=False)
class Joint:
    """What several plants meet; the coordinates of one stand behind those of another.

    Attributes
    ----------
    parts : tuple of Conditions
        Of as many windows each, the same weather in each; their steps may differ.
    """

    parts: tuple[Conditions, ...]

    @property
    def n_windows(self) -> int:
        """Number of windows."""
        return self.parts[0].n_windows

    def each(self, plant: Floats) -> Iterator[tuple[Conditions, slice]]:
        """Each part with its place in a plant."""
        first = 0
        for part in self.parts:
            yield part, slice(first, first + part.layout.size)
            first += part.layout.size


def simulate(conditions: Conditions | Joint, plant: Floats) -> Verdict:
    """Run one plant or several through every window; of several each window is told of that with the least margin.

    Returns
    -------
    Verdict
        Of several plants the charge of each step is not told. [Wh]
    """
    if isinstance(conditions, Conditions):
        return judge.simulate(conditions, plant)
    each = [judge.simulate(part, plant[place]) for part, place in conditions.each(plant)]
    margins = np.stack([one.margin_wh for one in each])
    hardest = np.argmin(margins, axis=0)
    steps = np.stack([one.lowest_step for one in each])
    windows, nothing = np.arange(conditions.n_windows), np.zeros((conditions.n_windows, 0))
    return Verdict(margins[hardest, windows], steps[hardest, windows], nothing, nothing, nothing)


def cuts(
    conditions: Conditions | Joint, plant: Floats, lowest_step: NDArray[np.intp], windows: NDArray[np.intp]
) -> Cuts:
    """Differentiate the margin of some windows; of several plants that of the one which has the least."""
    if isinstance(conditions, Conditions):
        return judge.cuts(conditions, plant, lowest_step, windows)
    margins = np.stack([judge.simulate(part, plant[place]).margin_wh for part, place in conditions.each(plant)])
    hardest = np.argmin(margins, axis=0)[windows]
    slope, constant = np.zeros((len(windows), len(plant))), np.zeros(len(windows))
    first, last = np.zeros(len(windows), dtype=np.intp), np.zeros(len(windows), dtype=np.intp)
    for number, (part, place) in enumerate(conditions.each(plant)):
        mine = np.flatnonzero(hardest == number)
        if len(mine):
            found = judge.cuts(part, plant[place], lowest_step, windows[mine])
            slope[mine, place], constant[mine] = found.slope, found.constant
            first[mine], last[mine] = found.first_step, found.last_step
    return Cuts(windows, slope, constant, first, last)


def joined(cases: tuple[Case, ...], n_first: int) -> Case:
    """Cases of several kits of a plan as one, without losses: a window is survived when each of them survives it.

    Parameters
    ----------
    n_first : int
        How many columns the first has, where it has the plan's first ones.
    """
    size = [one.matrix.shape for one in cases]
    matrix = np.zeros((sum(rows for rows, _ in size), sum(columns for _, columns in size)))
    row = column = 0
    for one, (rows, columns) in zip(cases, size, strict=True):
        matrix[row : row + rows, column : column + columns] = one.matrix
        row, column = row + rows, column + columns
    parts = tuple(replace(one, columns=np.arange(n_first) if one.columns is None else one.columns) for one in cases)
    own = [one.columns for one in parts if one.columns is not None]
    together = cast(Conditions, Joint(tuple(one.conditions for one in cases)))
    return Case("all circuits", together, cases[0].confidence, matrix, np.concatenate(own), parts=parts)
