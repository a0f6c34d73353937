"""Several plants under the same windows, as one: a window is survived when every one of them survives it.

The margin of a window is the smallest of theirs, which is concave as each of them is; so the cut of the plant that
has the least lies above the margin of all.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace
from typing import cast

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import judge
from kitopt.engine.case import Case
from kitopt.engine.judge import Cuts, Floats, Verdict
from kitopt.engine.matrix import Matrix
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

    @property
    def is_in_step(self) -> bool:
        """Whether all have the same steps."""
        first = self.parts[0].step_h
        return all(part.step_h.shape == first.shape and bool(np.all(part.step_h == first)) for part in self.parts)

    @property
    def step_h(self) -> Floats:
        """Length of each step, where all have the same. [h]"""
        return self.parts[0].step_h

    @property
    def load_wh(self) -> float:
        """What all loads draw over all steps. [Wh]"""
        return sum(part.load_wh for part in self.parts)

    def scaled(self, share: float) -> Joint:
        """The same with that share of all loads and fixed reserves."""
        return Joint(tuple(part.scaled(share) for part in self.parts))

    def each(self, plant: Floats) -> Iterator[tuple[Conditions, slice]]:
        """Each part with its place in a plant."""
        first = 0
        for part in self.parts:
            yield part, slice(first, first + part.layout.size)
            first += part.layout.size


def places_of_missing(conditions: Conditions | Joint) -> list[int]:
    """Where in a plant the charge missing at the start stands, of each plant."""
    parts = (conditions,) if isinstance(conditions, Conditions) else conditions.parts
    ends = np.cumsum([part.layout.size for part in parts])
    return [int(end) - part.layout.size + part.layout.missing for end, part in zip(ends, parts, strict=True)]


def simulate(conditions: Conditions | Joint, plant: Floats) -> Verdict:
    """Run one plant or several through every window; of several each window is told of that with the least margin.

    Returns
    -------
    Verdict
        Of several plants the charge of each step is that of the one with the least margin, what is free the least of
        all; neither is told where their steps differ. [Wh]
    """
    if isinstance(conditions, Conditions):
        return judge.simulate(conditions, plant)
    each = [judge.simulate(part, plant[place]) for part, place in conditions.each(plant)]
    margins = np.stack([one.margin_wh for one in each])
    hardest = np.argmin(margins, axis=0)
    steps = np.stack([one.lowest_step for one in each])
    windows, nothing = np.arange(conditions.n_windows), np.zeros((conditions.n_windows, 0))
    margin_wh, lowest = margins[hardest, windows], steps[hardest, windows]
    if not conditions.is_in_step:
        return Verdict(margin_wh, lowest, nothing, nothing, nothing)
    charge_wh = np.stack([one.charge_wh for one in each])[hardest, windows]
    held_wh = np.stack([np.broadcast_to(one.held_wh, charge_wh.shape) for one in each])[hardest, windows]
    return Verdict(margin_wh, lowest, charge_wh, np.min([one.free_wh for one in each], axis=0), held_wh)


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
            found = judge.cuts(part, plant[place], lowest_step[mine], windows[mine])
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
    firsts = np.cumsum([0, *(one.matrix.shape[1] for one in cases)]).tolist()
    apart = [one.matrix.among(first, firsts[-1]) for one, first in zip(cases, firsts, strict=False)]
    matrix = Matrix.below_each_other(apart)
    placed = [_placed(one, np.arange(n_first)) if one.columns is None else one for one in cases]
    columns = np.concatenate([one.columns for one in placed if one.columns is not None])
    parts = tuple(part for one in placed for part in one.parts or (one,))
    return Case("all circuits", _conditions_of(parts), cases[0].confidence, matrix, columns, parts=parts)


def in_banks(cases: Sequence[Case]) -> Case:
    """Cases of the same counts as one: a window is survived when it is survived in each of them."""
    parts = tuple(cases)
    matrix = Matrix.below_each_other([part.matrix for part in parts])
    return replace(parts[0], conditions=_conditions_of(parts), matrix=matrix, parts=parts)


def _placed(case: Case, columns: NDArray[np.intp]) -> Case:
    return replace(case, columns=columns, parts=tuple(_placed(part, columns) for part in case.parts))


def _conditions_of(parts: Sequence[Case]) -> Conditions:
    return cast(Conditions, Joint(tuple(part.conditions for part in parts)))
