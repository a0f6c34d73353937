"""A mixed-integer program as plain data, and the one adapter that solves it.

The only importer of PuLP. Solver status is read from the solver itself: PuLP reports a time
limit as optimal, and an unbounded program as infeasible.
"""

from __future__ import annotations

import math
import time
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import SolverFailed

Floats = NDArray[np.float64]

FEASIBILITY = 1e-7
"""Absolute tolerance of rows and integers. At 1e-9, below what the simplex method can keep, the solver was seen
to cut off the optimum and to call a kit 5 % heavier optimal."""


@dataclass
class Program:
    """Minimise ``objective @ x`` over columns within bounds, subject to rows.

    Rows are lists of ``(column, coefficient)`` with a lower and an upper bound.
    """

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    is_integer: list[bool] = field(default_factory=list)
    objective: list[float] = field(default_factory=list)
    rows: list[tuple[Sequence[tuple[int, float]], float, float]] = field(default_factory=list)

    def add_column(self, lower: float, upper: float, *, integer: bool, cost: float = 0.0) -> int:
        """Add a column and return its index."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.is_integer.append(integer)
        self.objective.append(cost)
        return len(self.lower) - 1

    def add_row(self, terms: Sequence[tuple[int, float]], lower: float = -math.inf, upper: float = math.inf) -> int:
        """Add ``lower <= Σ coefficient·column <= upper`` and return its index."""
        self.rows.append((terms, lower, upper))
        return len(self.rows) - 1

    def copy(self) -> Program:
        """A program that can be changed without changing this one."""
        return Program(list(self.lower), list(self.upper), list(self.is_integer), list(self.objective), list(self.rows))


@dataclass(frozen=True, eq=False)
class Answer:
    """What the solver found.

    Attributes
    ----------
    status : {"optimal", "infeasible", "stopped"}
        "stopped" is a time limit; `values` is then the best found, or None.
    bound : float
        No feasible point has a lower objective.
    duals : ndarray or None
        One a row, of a relaxation only.
    n_nodes : int
        Nodes of the branching.
    """

    status: Literal["optimal", "infeasible", "stopped"]
    values: Floats | None
    objective: float
    bound: float
    duals: Floats | None = None
    n_nodes: int = 0


_UNKNOWN = Answer("stopped", None, math.inf, -math.inf)

_CUTOFF_SLACK = 0.5
"""Objectives are whole numbers: half of one above the cutoff is above it."""


def solve(
    program: Program,
    *,
    relaxed: bool = False,
    start: Mapping[int, float] | None = None,
    seconds: float = math.inf,
    absolute_gap: float = 0.0,
    cutoff: float = math.inf,
    confirm: bool = True,
    is_hard: bool = False,
) -> Answer:
    """Solve a program with HiGHS on one thread with a fixed seed.

    An infeasible verdict is confirmed with presolve off before it is believed; where the time is
    up before that, nothing is known.

    Parameters
    ----------
    relaxed : bool
        Drop integrality.
    start : mapping of column to value, optional
        A known solution, in part or whole.
    seconds : float
        Time limit. [s]
    absolute_gap : float
        Stop when bound and best differ by no more; below 1 is exact for whole-number objectives.
    cutoff : float
        Only points whose objective is at most this are of interest: without one the answer is
        "infeasible". A bound prunes far better than a row that says the same.
    confirm : bool
        Whether an infeasible verdict is checked a second time.
    is_hard : bool
        Whether much branching is to be expected.

    Raises
    ------
    SolverFailed
        If the solver stops for a reason that is neither optimum, infeasibility nor time.
    """
    ends = time.monotonic() + seconds

    def once(some: Program, most: float, *, presolve: bool) -> Answer:
        left = ends - time.monotonic()
        if left <= 0.0 and not presolve:
            return _UNKNOWN
        return _solve_once(some, relaxed, start, left, absolute_gap, most, is_hard=is_hard, presolve=presolve)

    answer = once(program, cutoff, presolve=True)
    if answer.status != "infeasible" or not confirm:
        return answer
    # any point within the cutoff would do, which is sooner told than the best
    check = program.copy()
    check.objective = [0.0] * len(check.objective)
    if math.isfinite(cutoff):
        check.add_row([(j, c) for j, c in enumerate(program.objective) if c], upper=cutoff + _CUTOFF_SLACK)
    again = once(check, math.inf, presolve=False)
    if again.status == "optimal":
        return once(program, cutoff, presolve=False)
    return again if again.status == "infeasible" else _UNKNOWN


def _solve_once(
    program: Program,
    relaxed: bool,
    start: Mapping[int, float] | None,
    seconds: float,
    absolute_gap: float,
    cutoff: float,
    *,
    is_hard: bool,
    presolve: bool,
) -> Answer:
    import highspy
    import pulp

    problem, rows = _write(program, relaxed)
    options: dict[str, Any] = {
        "output_flag": False,
        "threads": 1,
        "random_seed": 0,
        "presolve": "on" if presolve else "off",
        "mip_rel_gap": 0.0,
        "mip_abs_gap": absolute_gap,
        "primal_feasibility_tolerance": FEASIBILITY,
        "mip_feasibility_tolerance": FEASIBILITY,
    }
    if math.isfinite(cutoff) and not relaxed:
        options["objective_bound"] = cutoff + _CUTOFF_SLACK
    if not is_hard:
        # measured on small programs: what the solver does before it branches costs more than branching
        options |= {
            "mip_heuristic_effort": 0.0,
            "mip_heuristic_run_feasibility_jump": False,
            "mip_heuristic_run_rens": False,
            "mip_heuristic_run_rins": False,
            "mip_heuristic_run_root_reduced_cost": False,
            "mip_heuristic_run_shifting": False,
            "mip_heuristic_run_zi_round": False,
            "mip_pscost_minreliable": 1,
            "mip_allow_restart": False,
            "mip_allow_cut_separation_at_nodes": False,
        }
    if math.isfinite(seconds):
        options["time_limit"] = max(seconds, 0.01)
    solver = pulp.HiGHS(msg=False)
    solver.createAndConfigureSolver(problem)
    highs = problem.solverModel
    _set_options(highs, options)
    solver.buildSolverModel(problem)
    if start and not relaxed:
        indices = np.fromiter(start.keys(), dtype=np.int32)
        highs.setSolution(len(indices), indices, np.fromiter(start.values(), dtype=np.float64))
    solver.callSolver(problem)

    status = highs.getModelStatus()
    known = highspy.HighsModelStatus
    if status in (known.kInfeasible, known.kUnboundedOrInfeasible):
        return Answer("infeasible", None, math.inf, math.inf)
    if status not in (known.kOptimal, known.kTimeLimit, known.kModelEmpty):
        raise SolverFailed(f"the solver stopped with {highs.modelStatusToString(status)}")
    info, solution = highs.getInfo(), highs.getSolution()
    is_mip = any(program.is_integer) and not relaxed
    has_values = info.primal_solution_status == 2
    values = np.array(solution.col_value) if has_values else None
    objective = float(info.objective_function_value) if has_values else math.inf
    if objective > cutoff + _CUTOFF_SLACK and status == known.kOptimal:
        return Answer("infeasible", None, math.inf, math.inf)
    if status == known.kTimeLimit:
        return Answer("stopped", values, objective, float(info.mip_dual_bound) if is_mip else -math.inf)
    if values is None:
        raise SolverFailed("the solver calls a program optimal without giving a point")
    bound = float(info.mip_dual_bound) if is_mip else objective
    duals = None if is_mip else np.array(solution.row_dual)[rows]
    return Answer("optimal", values, objective, bound, duals, int(info.mip_node_count) if is_mip else 0)


def _set_options(highs: Any, options: Mapping[str, Any]) -> None:
    import highspy

    for name, value in options.items():
        # a misspelt option would otherwise be accepted in silence
        if highs.setOptionValue(name, value) != highspy.HighsStatus.kOk:
            raise SolverFailed(f"the solver refuses the option {name} = {value!r}")


def _write(program: Program, relaxed: bool) -> tuple[Any, list[int]]:
    """The program in PuLP's words, and for each of its rows the solver's row that has its dual."""
    import pulp

    problem = pulp.LpProblem("kit", pulp.LpMinimize)
    # zero-padded names: PuLP sorts columns by name, and the order must stay ours
    columns = [
        problem.add_variable(
            f"x{i:06d}",
            None if low == -math.inf else low,
            None if high == math.inf else high,
            pulp.LpInteger if integer and not relaxed else pulp.LpContinuous,
        )
        for i, (low, high, integer) in enumerate(zip(program.lower, program.upper, program.is_integer, strict=True))
    ]
    problem.setObjective(pulp.LpAffineExpression([(columns[i], cost) for i, cost in enumerate(program.objective)]))
    rows: list[int] = []
    n_written = 0
    for terms, low, high in program.rows:
        rows.append(n_written)
        sides = [(pulp.LpConstraintEQ, low)] if low == high else []
        if not sides and low != -math.inf:
            sides.append((pulp.LpConstraintGE, low))
        if low != high and high != math.inf:
            sides.append((pulp.LpConstraintLE, high))
        expression = pulp.LpAffineExpression([(columns[i], coefficient) for i, coefficient in terms])
        for sense, side in sides:
            problem.addConstraint(pulp.LpConstraint(expression, sense, rhs=side), f"r{n_written:06d}")
            n_written += 1
    return problem, rows


class Relaxation:
    """A program without integrality, written once and re-optimised from its last basis.

    For asking the same program many questions that differ in the objective and a few rows.
    """

    def __init__(self, program: Program) -> None:
        import highspy
        import pulp

        problem, _ = _write(program, relaxed=True)
        solver = pulp.HiGHS(msg=False)
        solver.createAndConfigureSolver(problem)
        solver.buildSolverModel(problem)
        self._highs: Any = problem.solverModel
        _set_options(self._highs, {"output_flag": False, "threads": 1, "random_seed": 0})
        self._optimal = highspy.HighsModelStatus.kOptimal
        self._infeasible = highspy.HighsModelStatus.kInfeasible
        self._columns = np.arange(len(program.lower), dtype=np.int32)
        self._n_rows = int(self._highs.getNumRow())

    def aim(self, direction: Sequence[tuple[int, float]]) -> None:
        """Minimise another linear function from now on."""
        cost = np.zeros(len(self._columns))
        for j, coefficient in direction:
            cost[j] += coefficient
        self._highs.changeColsCost(len(cost), self._columns, cost)

    def add_row(self, terms: Sequence[tuple[int, float]], lower: float) -> None:
        """Add ``Σ coefficient·column >= lower`` until `forget_rows`."""
        indices = np.asarray([j for j, _ in terms], dtype=np.int32)
        values = np.asarray([c for _, c in terms], dtype=np.float64)
        self._highs.addRow(lower, math.inf, len(indices), indices, values)

    def forget_rows(self) -> None:
        """Drop the rows added since the program was written."""
        now = int(self._highs.getNumRow())
        if now > self._n_rows:
            self._highs.deleteRows(now - self._n_rows, np.arange(self._n_rows, now, dtype=np.int32))

    def least(self) -> tuple[float, Floats | None]:
        """The least value and a point that has it.

        Infinity without a point when no point exists; minus infinity when the solver could not say.
        """
        self._highs.run()
        status = self._highs.getModelStatus()
        if status == self._optimal:
            return float(self._highs.getInfo().objective_function_value), np.array(self._highs.getSolution().col_value)
        return (math.inf if status == self._infeasible else -math.inf), None
