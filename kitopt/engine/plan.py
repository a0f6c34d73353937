"""What is to be chosen: columns, rows and cases, without a word about items.

A plan may hold several kits; its columns are all their counts side by side, and each case
judges the kit whose counts its matrix picks out.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.case import Case, Trial
from kitopt.engine.matrix import Matrix
from kitopt.engine.solver import FEASIBILITY, Program

Floats = NDArray[np.float64]

_LIMITS = ("cutoff", "mass-limit")


@dataclass(frozen=True)
class Row:
    """A rule on the counts: ``lower <= Σ coefficient·count <= upper``.

    Attributes
    ----------
    terms : tuple of (column, coefficient)
    rule : str
        Identifier of the rule, such as "stock".
    text : str
        The rule in words, for reasons.
    """

    terms: tuple[tuple[int, float], ...]
    lower: float = -math.inf
    upper: float = math.inf
    rule: str = ""
    text: str = ""

    @property
    def slack(self) -> float:
        """How far from it counts may lie for what the solver tolerates."""
        return 2 * FEASIBILITY * max([1.0, *(abs(c) for _, c in self.terms)])

    def holds(self, counts: Floats) -> bool:
        """Whether whole counts keep it."""
        value, slack = sum(c * float(counts[j]) for j, c in self.terms), self.slack
        return self.lower - slack <= value <= self.upper + slack

    def most(self, lower: Floats, upper: Floats) -> float:
        """What its terms come to at most where columns keep to their bounds."""
        return sum(c * float((upper if c > 0.0 else lower)[j]) for j, c in self.terms)

    def is_out_of_reach(self, lower: Floats, upper: Floats) -> bool:
        """Whether it asks for more than the bounds of its columns allow."""
        return self.lower > 0.0 and self.most(lower, upper) < self.lower - self.slack


@dataclass(frozen=True, eq=False)
class Objective:
    """A whole-number quantity to be made small: ``weights @ counts + fixed``."""

    name: str
    weights: Floats
    fixed: int = 0

    def of(self, counts: Floats) -> int:
        """Its value at whole counts."""
        return round(float(self.weights @ counts)) + self.fixed

    @cached_property
    def step(self) -> int:
        """What any two of its values differ by a multiple of."""
        weights = self.weights[self.weights != 0.0]
        if not len(weights) or np.any(weights != np.round(weights)):
            return 1
        return int(np.gcd.reduce(weights.astype(np.int64)))

    def at_least(self, value: float) -> float:
        """The least that it can be where it is no lower than that."""
        steps = (value - self.fixed - 1e-6) / self.step
        return math.ceil(steps) * self.step + self.fixed if math.isfinite(steps) else value

    def at_most(self, value: float) -> float:
        """The most that it can be where it is no higher than that."""
        steps = (value - self.fixed + 1e-6) / self.step
        return math.floor(steps) * self.step + self.fixed if math.isfinite(steps) else value

    def most(self, value: float) -> Row | None:
        """The row that keeps it at a value or below; None for infinity."""
        if not math.isfinite(value):
            return None
        terms = tuple((int(i), float(self.weights[i])) for i in np.flatnonzero(self.weights))
        return Row(terms, upper=value - self.fixed + 1e-6, rule="cutoff", text=f"{self.name} at most {value:g}")


@dataclass(frozen=True, eq=False)
class _Rules:
    """All rows at once: their terms, and one bound and slack a row."""

    terms: Matrix
    lower: Floats
    upper: Floats
    slack: Floats


@dataclass(frozen=True, eq=False)
class Plan:
    """Columns with bounds, rules, cases, and objectives in order of importance.

    Attributes
    ----------
    lower, upper : ndarray, shape (n_columns,)
    objectives : tuple of Objective
        The first is minimised, each next among the best of those before.
    tie_break : tuple of ndarray, each (n_columns,)
        Counts that are made large in turn when all objectives tie, so that equal kits
        are never chosen by luck.
    """

    lower: Floats
    upper: Floats
    rows: tuple[Row, ...]
    cases: tuple[Case, ...]
    objectives: tuple[Objective, ...]
    tie_break: tuple[Floats, ...] = ()
    is_integer: NDArray[np.bool_] | None = None
    """Which columns are counts; all when None. The others are helpers of rules."""
    trials: tuple[Trial, ...] = ()
    """What counts that pass every case must pass besides."""
    known: tuple[Row, ...] = ()
    """What counts that pass every case are known to obey besides, each about one kit: it tightens relaxations."""
    either: tuple[Row, ...] = ()
    """Rows with an upper bound alone of which counts must keep one at least, where there are any."""
    widest: Floats | None = None
    """Of a part of a larger plan the upper bounds of that: what panels need is then reckoned once for all its parts."""

    @property
    def limits(self) -> tuple[Row, ...]:
        """The rules that keep a quantity to which most counts add within a limit."""
        return tuple(row for row in self.rows if row.rule in _LIMITS)

    @property
    def forbids_all(self) -> bool:
        """Whether some rule alone tells that there are no counts at all."""
        return any(row.is_out_of_reach(self.lower, self.upper) for row in self.rows)

    def with_cases(self, cases: tuple[Case, ...]) -> Plan:
        """The same plan with other cases."""
        return replace(self, cases=cases)

    def least(self, objective: Objective) -> float:
        """What an objective is at least by the bounds of the columns alone: known before any work."""
        ends = np.minimum(objective.weights * self.lower, objective.weights * self.upper)
        return float(math.ceil(float(np.sum(ends)) - 1e-6) + objective.fixed)

    def most(self, objective: Objective) -> float:
        """What an objective is at most by the bounds of the columns and by each row alone."""

        def at_most(weights: Floats) -> float:
            return float(np.sum(np.maximum(weights * self.lower, weights * self.upper)))

        most = at_most(objective.weights)
        for row in self.rows:
            if math.isfinite(row.upper) and 2 * len(row.terms) > np.count_nonzero(objective.weights):
                left = objective.weights.copy()
                for j, c in row.terms:
                    left[j] -= c
                most = min(most, row.upper + at_most(left))
        return most + objective.fixed

    def whole(self, values: Floats) -> Floats:
        """Counts rounded to whole numbers, helpers left as they are."""
        return np.where(self.is_count, np.round(values), values)

    @cached_property
    def is_count(self) -> list[bool]:
        """Which columns are counts."""
        return [True] * self.n_columns if self.is_integer is None else self.is_integer.tolist()

    @property
    def n_columns(self) -> int:
        """Number of columns."""
        return len(self.upper)

    def program(self, weights: Floats, more: Sequence[Row] = ()) -> Program:
        """The counts under the rules, and some rows more, with what each column costs; no case is in it."""
        program = Program(self.lower.tolist(), self.upper.tolist(), list(self.is_count), weights.tolist())
        program.rows += ((row.terms, row.lower, row.upper) for row in (*self.rows, *more))
        kept: list[tuple[int, float]] = []
        for row in self.either:
            most = row.most(self.lower, self.upper)
            is_kept = program.add_column(0, 1, integer=True)
            program.add_row([*row.terms, (is_kept, most - row.upper)], upper=most)
            kept.append((is_kept, 1.0))
        if kept:
            program.add_row(kept, lower=1.0)
        return program

    def allows(self, counts: Floats) -> bool:
        """Whether counts keep to their bounds and to every rule; no case is asked."""
        return bool(np.all((self.lower <= counts) & (counts <= self.upper))) and not self.broken_rows(counts)

    def broken_rows(self, counts: Floats) -> list[Row]:
        """The rules that whole counts break, re-checked outside the solver; all of `either` where none is kept."""
        either = self.either if not any(row.holds(counts) for row in self.either) else ()
        rules = self._rules
        value = rules.terms @ counts
        is_kept = (rules.lower - rules.slack <= value) & (value <= rules.upper + rules.slack)
        return [*(self.rows[i] for i in np.flatnonzero(~is_kept)), *either]

    @cached_property
    def _rules(self) -> _Rules:
        terms = Matrix.of_rows([row.terms for row in self.rows], self.n_columns)
        largest = np.ones(terms.shape[0])
        np.maximum.at(largest, terms.rows, np.abs(terms.values))
        lower = np.array([row.lower for row in self.rows], dtype=np.float64)
        upper = np.array([row.upper for row in self.rows], dtype=np.float64)
        return _Rules(terms, lower, upper, 2 * FEASIBILITY * largest)
