"""A proof made anew for one plan: nothing is less than a value, by rows that say where each comes from.

The search keeps what helps it most, such as lists of sides that its prices let it stop at. Here every row holds for
each kit that works, on its own account, so that whoever checks the rows and solves the program once has checked all.
"""

from __future__ import annotations

from dataclasses import dataclass, field

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget
from kitopt.certificate.learned import CutRow, Learned, Origin, Writer
from kitopt.engine import Plan
from kitopt.engine.learned import CaseMemory
from kitopt.engine.solver import Program, solve

Floats = NDArray[np.float64]

MOST_ROUNDS = 1_500
"""Kits that are proposed and refused before a proof is given up."""
_MOST_RELAXED = 80
_STALLED = 8
_MOST_CUTS = 2


@dataclass(frozen=True, eq=False)
class Stated:
    """A program with its learned rows.

    Attributes
    ----------
    origins : list of Origin
        Of the plan's cases, then of what it is tried by: of these only the spells that were hardest.
    others : list of tuple of int
        For each of the latter, which spells of all.
    """

    plan: Plan
    origins: list[Origin]
    others: list[tuple[int, ...]] = field(default_factory=list)
    rows: list[Learned] = field(default_factory=list)

    def program(self, most: float | None = None) -> Program:
        """The plan's own columns and rows, and those learned; with what the first objective may be at most."""
        first = self.plan.objectives[0]
        row = None if most is None else first.most(most)
        program = self.plan.program(first.weights, () if row is None else (row,))
        Writer(program, self.plan, self.origins).write(self.rows)
        return program


class NotProved(Exception):
    """There is no proof in this form within the rounds that are allowed."""


def prove(plan: Plan, value: float, budget: Budget = UNLIMITED) -> Stated:
    """Learn rows until nothing less than a whole value is left.

    Raises
    ------
    NotProved
    OutOfTime
    """
    return _Prover(plan, value, budget).run()


class _Prover:
    def __init__(self, plan: Plan, value: float, budget: Budget) -> None:
        self.plan, self.budget = plan, budget
        self.first, self.most = plan.objectives[0], value - 1.0
        self.stated = Stated(plan, [Origin(i, plan, case) for i, case in enumerate(plan.cases)])
        self.seen: set[bytes] = set()

    def run(self) -> Stated:
        self._relax()
        for _ in range(MOST_ROUNDS):
            self.budget.check()
            answer = solve(
                self.stated.program(),
                seconds=self.budget.left_s,
                absolute_gap=0.999,
                cutoff=self.most - self.first.fixed,
            )
            if answer.status == "infeasible":
                return self.stated
            if answer.values is None:
                self.budget.check()
                raise NotProved("the solver stopped without an answer")
            self._refuse(self.plan.whole(answer.values[: self.plan.n_columns]))
        raise NotProved(f"{MOST_ROUNDS} kits were refused and there are more")

    def _relax(self) -> None:
        """Cut the relaxation until nothing is left of it, or cuts no longer raise it."""
        stalled, last = 0, -np.inf
        for _ in range(_MOST_RELAXED):
            self.budget.check()
            answer = solve(self.stated.program(self.most), relaxed=True, seconds=self.budget.left_s)
            if answer.values is None:
                # that nothing is left is told again by whoever solves it whole
                return
            counts = np.clip(answer.values[: self.plan.n_columns], self.plan.lower, self.plan.upper)
            made = [self._cuts(origin, counts) for origin in self.stated.origins if origin.fails(counts) is not None]
            stalled = 0 if answer.objective > last + 1e-3 * abs(last) else stalled + 1
            last = max(last, answer.objective)
            if not any(made) or stalled > _STALLED:
                return

    def _cuts(self, origin: Origin, counts: Floats) -> bool:
        """Add cuts that some counts break; whether there were any."""
        memory = CaseMemory(origin.case)
        verdict = memory.judge(counts)
        memory.learn(counts, verdict)
        before = len(self.stated.rows)
        for free in memory.free_rows[:_MOST_CUTS]:
            row = origin.cut(counts, free.windows)
            if row is not None and self._is_broken(row, counts):
                self.stated.rows.append(row)
        return len(self.stated.rows) > before

    @staticmethod
    def _is_broken(row: CutRow, counts: Floats) -> bool:
        return sum(c * float(counts[j]) for j, c in row.terms) < row.lower - 1e-7

    def _refuse(self, counts: Floats) -> None:
        """Add rows that counts break which the judge refuses.

        Raises
        ------
        NotProved
            If it does not: then something less works after all.
        """
        failing = [origin for origin in self.stated.origins if origin.fails(counts) is not None]
        if not failing:
            failing = self._tried(counts)
        key = counts.astype(np.int64).tobytes()
        if key in self.seen:
            kit = failing[0].kit(counts)
            if kit is not None:
                self.stated.rows.append(kit)
            return
        self.seen.add(key)
        for origin in failing:
            side = origin.side_of(counts)
            if side is not None:
                self.stated.rows.append(side)
            if not self._cuts(origin, counts) and side is None:
                self._spells(origin, counts)

    def _spells(self, origin: Origin, counts: Floats) -> None:
        memory = CaseMemory(origin.case)
        memory.learn_windows(counts, memory.judge(counts))
        self.stated.rows.extend(origin.spell(counts, one.window) for one in memory.window_rows)

    def _tried(self, counts: Floats) -> list[Origin]:
        """The many other spells that some counts fail, the hardest of them as one more case."""
        found = []
        for trial in self.plan.trials:
            if trial.fails(counts):
                found.append(Origin(len(self.stated.origins), self.plan, trial.cases[-1]))
                self.stated.origins.append(found[-1])
                self.stated.others.append(tuple(trial.taken.tolist()))
        if not found:
            raise NotProved("a kit that works is better than the one that was chosen: a defect in kitopt")
        return found
