"""What a kit with one side costs at the least in whole counts, by all rules: a small program for each side.

A linear program thinks of a third of a battery. With the side given, little is left to be chosen.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Terms
from kitopt.engine.losses import Losable, add_lost
from kitopt.engine.matrix import Matrix
from kitopt.engine.needs import Counts
from kitopt.engine.plan import Objective, Plan
from kitopt.engine.solver import Answer, Program, Stated

Floats = NDArray[np.float64]
Solve = Callable[..., Answer]
"""A program, and how as of `Stated.solve`; within what is left."""


@dataclass(frozen=True, eq=False)
class _Known:
    """What was found of a side: no kit costs less; the counts of one that costs that, where there is any."""

    least: float
    counts: Floats | None


class Whole:
    """Kits of one plan with one side each, and the capacity that it needs.

    Parameters
    ----------
    in_plan : tuple
        Of ``Sides``.
    losable : sequence of sequence of Losable
        For each weather in which a battery may be lost, those that may.
    wider : Whole, optional
        Of a plan that allows all that this one does.
    """

    def __init__(
        self,
        plan: Plan,
        in_plan: tuple[list[Terms], Terms],
        objective: Objective,
        losable: Sequence[Sequence[Losable]],
        wider: Whole | None = None,
    ) -> None:
        self._plan, self._in_plan, self._objective, self._losable = plan, in_plan, objective, losable
        self._wider = wider
        self._known: dict[tuple[bytes, tuple[float, ...]], _Known] = {}
        self._programs: dict[bytes, tuple[Program, Matrix]] = {}
        self._rows = np.zeros(0, dtype=np.intp)
        self._of_class = [[j for j, n in terms if n > 0.0 and plan.lower[j] <= 0.0] for terms in in_plan[0]]

    def least(self, side: Counts, needs_wh: tuple[float, ...], most: float, solve: Solve) -> float:
        """The least objective of a kit with a side; infinite where there is none.

        Parameters
        ----------
        needs_wh : tuple of float
            The capacity in all, and what is to be left of it in each weather in which a battery may be lost. [Wh]
        most : float
            More than this is of no interest.
        """
        key = side.tobytes(), needs_wh
        if key not in self._known:
            of_more = None if self._wider is None else self._wider._known.get(key)
            if of_more is not None and of_more.least > most:
                return of_more.least
            if of_more is not None and of_more.counts is not None and self._plan.allows(of_more.counts):
                self._known[key] = of_more
            else:
                self._known[key] = self._asked(side, needs_wh, solve)
        return self._known[key].least

    def _asked(self, side: Counts, needs_wh: tuple[float, ...], solve: Solve) -> _Known:
        objective = self._objective
        answer = solve(self._with(side, needs_wh, objective.weights))
        if answer.status == "infeasible":
            # the solver may take back what it said, or not come to an end
            is_none = self._is_none(self._with(side, needs_wh, np.zeros_like(objective.weights)), solve)
            return _Known(math.inf if is_none else -math.inf, None)
        counts = answer.values if answer.status == "optimal" else None
        least = objective.at_least(answer.bound + objective.fixed)
        return _Known(least, None if counts is None else counts[: self._plan.n_columns])

    @staticmethod
    def _is_none(stated: Stated, solve: Solve) -> bool:
        """Whether there is no point at all, asked without presolve: linear terms alone most often tell."""
        return "infeasible" in (
            solve(stated, presolve=False, relaxed=is_relaxed).status for is_relaxed in (True, False)
        )

    def _with(self, side: Counts, needs_wh: tuple[float, ...], weights: Floats) -> Stated:
        """The program with a side and what it needs, by what each count costs.

        Most columns are of classes of which a side has no panel: told of these, the solver takes half as long again.
        """
        key = weights.tobytes()
        if key not in self._programs:
            program, self._rows = self._program(weights)
            self._programs[key] = program, program.terms()
        program, terms = self._programs[key]
        upper = program.upper.copy()
        for c in np.flatnonzero(side == 0).tolist():
            for j in self._of_class[c]:
                upper[j] = 0.0
        stated = Stated(replace(program, upper=upper), is_relaxed=False, as_it_stands=terms)
        least = np.array([*side.tolist(), *(wh / 1000.0 for wh in needs_wh)])
        most = np.array([*side.tolist(), *(math.inf for _ in needs_wh)])
        stated.set_rows(self._rows, least, most)
        return stated

    def _program(self, weights: Floats) -> tuple[Program, NDArray[np.intp]]:
        """The plan's program with a row for each class of panels, and one for each capacity that is needed."""
        classes, capacity = self._in_plan
        program = self._plan.program(weights)
        rows = [program.add_row(of_class, 0.0, 0.0) for of_class in classes]
        has = [(j, wh / 1000.0) for j, wh in capacity]
        rows.append(program.add_row(has, lower=0.0))
        for losable in self._losable:
            rows.append(program.add_row([*has, (add_lost(program, losable, 1000.0), -1.0)], lower=0.0))
        return program, np.array(rows, dtype=np.intp)
