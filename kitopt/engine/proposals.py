"""What is proposed by a program of counts and learned rows, judged, and cut.

The program's optimum is a bound; when the judge passes it, it is the answer. Everything that is valid for all kits is
kept from pass to pass.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import Budget, OutOfTime
from kitopt.engine.judge import Verdict
from kitopt.engine.learned import CaseMemory
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.solver import Answer, Program, solve_within
from kitopt.engine.write import add_learned
from kitopt.errors import ModelError

Floats = NDArray[np.float64]

_MOST_RELAXED_ROUNDS = 200
_STALLED_ROUNDS = 8
_MOST_NEIGHBOURS = 12
GAP = 0.999
"""Objectives are multiples of a step, so a gap below one is none."""


class Proposals:
    """Counts of a plan, proposed and judged."""

    def __init__(
        self,
        plan: Plan,
        budget: Budget,
        memories: Sequence[CaseMemory],
        least: float,
        best: Floats | None = None,
    ) -> None:
        self.plan = plan
        self.budget = budget
        self.memories = tuple(memories)
        self.rounds = 0
        self.alone: set[tuple[str, bytes]] = set()
        self.best = best
        """The best counts known."""
        self.bound = max(plan.least(plan.objectives[0]), least)
        self.fixed: list[Row] = []
        self.seen: set[bytes] = set()
        self.forbidden: list[Floats] = []
        self._boxes = [m.upper_of_coordinates(plan.upper) for m in self.memories]

    # -- what else may be known --------------------------------------------------------

    @property
    def _is_by_rows_alone(self) -> bool:
        """Whether learned rows are all that the program has of the cases."""
        return True

    def _write_more(self, program: Program) -> None:
        """Write what is known beside learned rows into a program."""

    def _refined_by(self, counts: Floats) -> bool:
        """Learn of counts that fail beside rows; whether that alone keeps them from coming again."""
        return False

    # -- one objective ---------------------------------------------------------------

    def _relax(self, objective: Objective, cutoff: float) -> bool:
        """Cut the relaxation before any branching: linear programs are cheap.

        Returns
        -------
        bool
            False when the relaxation has no point within the cutoff, which was confirmed.
        """
        stalled, last = 0, -math.inf
        for _ in range(_MOST_RELAXED_ROUNDS):
            program = self._program(objective.weights, objective.most(cutoff))
            answer = self._solve(program, relaxed=True)
            if answer.values is None:
                return answer.status != "infeasible"
            counts = np.clip(answer.values[: self.plan.n_columns], self.plan.lower, self.plan.upper)
            failed = self._failed(counts)
            learned = [memory.learn(counts, verdict) for memory, verdict in failed]
            stalled = 0 if answer.objective > last + 1e-3 * abs(last) else stalled + 1
            self.bound = max(self.bound, objective.at_least(answer.objective + objective.fixed))
            best = None if self.best is None else float(objective.of(self.best))
            self.budget.round(bound=self.bound, best=best, n_rows=len(program.rows))
            last = max(last, answer.objective)
            if not any(learned) or stalled >= 2 * _STALLED_ROUNDS:
                break
        return True

    def _failed(self, counts: Floats) -> list[tuple[CaseMemory, Verdict]]:
        """The cases that counts fail, with their verdicts."""
        failed = []
        for memory in self.memories:
            if memory.case.is_asked(counts):
                self.budget.check()
                verdict = memory.judge(counts)
                if not memory.passes(verdict):
                    failed.append((memory, verdict))
        return failed

    def _minimise(self, objective: Objective, cutoff: float, *, is_full: bool) -> bool:
        while True:
            program = self._program(objective.weights)
            start = None if self.best is None else {j: float(c) for j, c in enumerate(self.best)}
            answer = self._solve(
                program,
                start=start,
                absolute_gap=GAP * objective.step,
                cutoff=cutoff - objective.fixed,
                # it ends the proof; of later passes nothing is lost by a wrong verdict but a tie
                confirm=is_full,
            )
            if answer.status == "infeasible":
                # nothing better than the kit in hand, where there is one
                return self.best is not None and objective.of(self.best) <= cutoff
            if is_full and math.isfinite(answer.bound):
                self.bound = max(self.bound, objective.at_least(answer.bound + objective.fixed))
            if answer.values is None:
                raise OutOfTime
            counts = self._whole(answer.values)
            passed = self._judge_all(counts)
            if passed:
                self.best = counts
            best = None if self.best is None else float(objective.of(self.best))
            self.budget.round(bound=self.bound, best=best, n_rows=len(program.rows))
            if answer.status == "stopped":
                raise OutOfTime
            if passed:
                return True
            if is_full and self._is_by_rows_alone:
                cutoff = self._try_neighbours(counts, objective, cutoff)

    def _try_neighbours(self, counts: Floats, objective: Objective, cutoff: float) -> float:
        """Look for a kit that passes by one piece more than a failing one; it bounds what is worth trying.

        Returns
        -------
        float
            The cutoff, lowered to the objective of what was found.
        """
        known = [(m, m.cuts_at(counts)) for m in self.memories if m.case.is_asked(counts)]
        best = math.inf if self.best is None else float(objective.of(self.best))
        tries = 0
        for j in np.argsort(objective.weights, kind="stable"):
            more = counts.copy()
            more[j] += 1.0
            value = float(objective.of(more))
            if value >= best or value > cutoff or tries == _MOST_NEIGHBOURS:
                break
            if objective.weights[j] <= 0 or more[j] > self.plan.upper[j] or self.plan.broken_rows(more):
                continue
            # cheaper than to judge: do the cuts at the failing counts let the neighbour pass?
            fails = [
                np.count_nonzero(found.v @ m.case.plant(more) < 1.0 - 1e-9) > m.case.n_allowed
                for m, found in known
                if found is not None
            ]
            if any(fails):
                continue
            tries += 1
            if not self._failed(more):
                self.best = more
                return min(cutoff, value)
        return cutoff

    def _judge_all(self, counts: Floats) -> bool:
        """Judge counts in every case, and learn from each that fails."""
        self.rounds += 1
        fingerprint = counts.astype(np.int64).tobytes()
        failed = self._failed(counts)
        if not failed:
            return True
        is_again = fingerprint in self.seen
        self.seen.add(fingerprint)
        if self._refined_by(counts) and not is_again:
            return False
        for memory, verdict in failed:
            if not memory.learn(counts, verdict):
                memory.learn_windows(counts, verdict)
        if is_again:
            # rows say yes and the judge says no by less than the solver's tolerance
            self.forbidden.append(counts)
        return False

    # -- others as good ----------------------------------------------------------------

    def _fix(self, weights: Floats, at: Floats) -> None:
        value = float(round(float(weights @ at)))
        terms = tuple((int(i), float(weights[i])) for i in np.flatnonzero(weights))
        if terms:
            self.fixed.append(Row(terms, -math.inf, value, "tie", "no worse than the best"))

    def _other(self, objective: Objective) -> Floats | None:
        """The best counts of other items that pass and are as good as the best, or better; None where it is alone.

        To be another is worth half of the least difference: one answer tells both what is best and whether it is alone.
        """
        assert self.best is not None
        key = (objective.name, self.best.tobytes())
        while key not in self.alone:
            program = self._program(2.0 * objective.weights)
            other = self._told_apart(program, self.best, objective)
            start = {j: float(c) for j, c in enumerate(self.best)}
            cutoff = 2.0 * (objective.of(self.best) - objective.fixed)
            answer = self._solve(program, start=start, absolute_gap=GAP, cutoff=cutoff, confirm=False)
            if math.isfinite(answer.bound):
                # by a hair above the cutoff nothing was looked at
                least = min(answer.bound / 2.0 + objective.fixed, float(objective.of(self.best)))
                self.bound = max(self.bound, objective.at_least(least))
            if answer.status == "stopped":
                raise OutOfTime
            if answer.values is None or answer.values[other] < 0.5:
                self.alone.add(key)
                break
            counts = self._whole(answer.values)
            if self._judge_all(counts):
                return counts
        return None

    def _told_apart(self, program: Program, counts: Floats, objective: Objective) -> int:
        """Add a column that is one only for other totals of the quantities by which kits are told apart.

        A kit that has no less of anything costs no less, so one of the totals must be smaller; only
        of what costs nothing may one be larger instead.
        """
        either: list[tuple[int, float]] = []
        for weights in self.plan.tie_break:
            terms = [(int(i), float(weights[i])) for i in np.flatnonzero(weights)]
            most = float(np.maximum(weights, 0.0) @ self.plan.upper)
            at = float(round(float(weights @ counts)))
            is_free = any(objective.weights[i] <= 0.0 for i, _ in terms)
            if at < most and is_free:
                more = program.add_column(0, 1, integer=True)
                program.add_row([*terms, (more, -(at + 1))], lower=0.0)
                either.append((more, 1.0))
            if at > 0:
                less = program.add_column(0, 1, integer=True)
                program.add_row([*terms, (less, most - at + 1)], upper=most)
                either.append((less, 1.0))
        other = program.add_column(0, 1, integer=True, cost=-1.0)
        program.add_row([*either, (other, -1.0)], lower=0.0)
        return other

    # -- the program -----------------------------------------------------------------

    def _program(self, weights: Floats, most: Row | None = None) -> Program:
        program = self.plan.program(weights, (*self.fixed, *([most] if most else ())))
        self._write_more(program)
        for memory, box in zip(self.memories, self._boxes, strict=True):
            if memory.free_rows or memory.window_rows:
                add_learned(program, memory, box)
        for counts in self.forbidden:
            self._forbid_columns(program, counts)
        return program

    def _forbid_columns(self, program: Program, counts: Floats) -> None:
        either: list[tuple[int, float]] = []
        for j in range(self.plan.n_columns):
            at, most = float(counts[j]), float(self.plan.upper[j])
            if not self.plan.is_count[j]:
                continue
            if at < most:
                more = program.add_column(0, 1, integer=True)
                program.add_row([(j, 1.0), (more, -(at + 1))], lower=0.0)
                either.append((more, 1.0))
            if at > 0:
                less = program.add_column(0, 1, integer=True)
                program.add_row([(j, 1.0), (less, most - at + 1)], upper=most)
                either.append((less, 1.0))
        program.add_row(either, lower=1.0)

    def _solve(self, program: Program, **how: Any) -> Answer:
        self.budget.step()
        return solve_within(self.budget, program, **how)

    def _whole(self, values: Floats) -> Floats:
        counts = self.plan.whole(values[: self.plan.n_columns])
        broken = self.plan.broken_rows(counts)
        if broken:
            raise ModelError(f"the solver's counts break {broken[0].rule or 'a rule'}: {broken[0].text}")
        return counts
