"""A mixed-integer program as plain data, and the one adapter that solves it.

The only importer of PuLP. Solver status is read from the solver itself: PuLP reports a time
limit as optimal, and an unbounded program as infeasible.
"""

from __future__ import annotations

import math
import time
import warnings
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field
from functools import partial
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import ANY_NODES, Budget
from kitopt.engine.matrix import Matrix
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
        """Add ``lower <= Σ coefficient·column <= upper``, each column once, and return its index."""
        self.rows.append((terms, lower, upper))
        return len(self.rows) - 1

    def terms(self) -> Matrix:
        """The terms of its rows."""
        return Matrix.of_rows([terms for terms, _, _ in self.rows], len(self.lower))

    def copy(self) -> Program:
        """A program that can be changed without changing this one."""
        return Program(list(self.lower), list(self.upper), list(self.is_integer), list(self.objective), list(self.rows))


@dataclass(frozen=True, eq=False)
class Answer:
    """What the solver found.

    Attributes
    ----------
    status : {"optimal", "infeasible", "stopped"}
        "stopped" is a limit of time or nodes; `values` is then the best found, or None.
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
_NOTHING = Answer("infeasible", None, math.inf, math.inf)

_CUTOFF_SLACK = 0.5
"""Objectives are whole numbers: half of one above the cutoff is above it."""
_OPTIONS: Mapping[str, Any] = {
    "output_flag": False,
    "threads": 1,
    "random_seed": 0,
    "mip_rel_gap": 0.0,
    "primal_feasibility_tolerance": FEASIBILITY,
    "mip_feasibility_tolerance": FEASIBILITY,
    # measured: what the solver does before it branches costs more than branching
    "mip_heuristic_effort": 0.0,
    "mip_heuristic_run_feasibility_jump": False,
    "mip_heuristic_run_rens": False,
    "mip_heuristic_run_rins": False,
    "mip_heuristic_run_root_reduced_cost": False,
    "mip_heuristic_run_shifting": False,
    "mip_heuristic_run_zi_round": False,
    "mip_pscost_minreliable": 1,
    "mip_allow_cut_separation_at_nodes": False,
    "mip_allow_restart": False,
}


def solve(
    program: Program,
    *,
    relaxed: bool = False,
    start: Mapping[int, float] | None = None,
    seconds: float = math.inf,
    absolute_gap: float = 0.0,
    cutoff: float = math.inf,
    most_nodes: int = ANY_NODES,
    confirm: bool = True,
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
    most_nodes : int
        Where branching takes more, nothing is known: "stopped".
    confirm : bool
        Whether an infeasible verdict is checked a second time.

    Raises
    ------
    SolverFailed
        If the solver stops for a reason that is neither optimum, infeasibility nor time.
    """
    stated = Stated(program, is_relaxed=relaxed)
    ends = time.monotonic() + seconds
    answer = stated.solve(start=start, seconds=seconds, absolute_gap=absolute_gap, cutoff=cutoff, most_nodes=most_nodes)
    if answer.status != "infeasible" or not confirm:
        return answer
    left = ends - time.monotonic()
    if left <= 0.0:
        return _UNKNOWN
    # any point within the cutoff would do, which is sooner told than the best
    again = stated.has_any_within(cutoff, seconds=left, most_nodes=most_nodes)
    if again.status == "optimal":
        stated = Stated(program, is_relaxed=relaxed)
        left = ends - time.monotonic()
        return stated.solve(
            start=start,
            seconds=left,
            absolute_gap=absolute_gap,
            cutoff=cutoff,
            most_nodes=most_nodes,
            presolve=False,
        )
    return again if again.status == "infeasible" else _UNKNOWN


def solve_within(budget: Budget, program: Program, *, most_nodes: int = ANY_NODES, **how: Any) -> Answer:
    """Solve a program within a budget, of which its nodes are counted; see ``solve``."""
    return counted(budget, partial(solve, program), most_nodes=most_nodes, **how)


def counted(budget: Budget, ask: Callable[..., Answer], *, most_nodes: int = ANY_NODES, **how: Any) -> Answer:
    """What something that is solved within a budget comes to; its nodes are counted."""
    answer = ask(seconds=budget.left_s, most_nodes=min(most_nodes, budget.most_nodes), **how)
    budget.count_nodes(answer.n_nodes)
    return answer


class Stated:
    """A program as PuLP states it to the solver, which keeps it: what changes is told to the solver alone.

    Columns that their bounds fix are left out.

    Parameters
    ----------
    is_relaxed : bool
        Drop integrality.
    as_it_stands : Matrix, optional
        The terms of its rows. It is then told to the solver row by row, as each relaxation is: for PuLP to state it may
        take longer than to solve it.
    """

    def __init__(self, program: Program, *, is_relaxed: bool, as_it_stands: Matrix | None = None) -> None:
        import highspy

        self._is_mip = any(program.is_integer) and not is_relaxed
        self._lower = np.array(program.lower, dtype=np.float64)
        self._values = self._lower.copy()
        free = self._values != np.array(program.upper, dtype=np.float64)
        # a program without columns is none to the solver
        self._free = np.flatnonzero(free if np.any(free) else np.ones_like(free))
        fixed = self._values.copy()
        fixed[self._free] = 0.0
        self._at_fixed, self._costs = fixed, np.array(program.objective, dtype=np.float64)
        self._fixed_cost = float(self._costs @ fixed)
        terms = program.terms() if as_it_stands is None else as_it_stands
        self._moved = terms @ fixed
        moved: list[float] = self._moved.tolist()
        self._highs: Any
        whole = np.flatnonzero(np.array(program.is_integer, dtype=bool)[self._free] & self._is_mip).astype(np.int32)
        by_pulp = self._is_mip and as_it_stands is None
        # where PuLP states it, a row of two bounds is two rows
        n_stated = [len(_ends(low, high)) if by_pulp else 1 for _, low, high in program.rows]
        self._row = np.cumsum([0, *n_stated])[:-1]
        if not by_pulp:
            self._highs = highspy.Highs()  # type: ignore[no-untyped-call]
            self._set(_OPTIONS)
            model = _as_it_stands(program, terms, self._free, moved)
            if self._highs.passModel(model) == highspy.HighsStatus.kError:
                raise SolverFailed("the solver refuses the program")
            self._make_whole(whole)
            self._run = self._highs.run
            return
        import pulp

        problem = _write(program, self._free, moved)
        # whole numbers are told in one call: a call for each takes longer than all else
        solver = pulp.HiGHS(msg=False, mip=False)
        solver.createAndConfigureSolver(problem)
        self._highs = problem.solverModel
        self._set(_OPTIONS)
        solver.buildSolverModel(problem)
        self._make_whole(whole)
        self._run = lambda: solver.callSolver(problem)

    def _make_whole(self, columns: NDArray[np.int32]) -> None:
        import highspy

        self._highs.changeColsIntegrality(len(columns), columns, [highspy.HighsVarType.kInteger] * len(columns))

    def __del__(self) -> None:
        # the solver holds on to itself, and until that is found to all that it was told
        highs = getattr(self, "_highs", None)
        if highs is not None:
            highs.clear()

    def set_rows(self, rows: NDArray[np.intp], lower: Floats, upper: Floats) -> None:
        """Give rows other bounds; where PuLP stated them those that had one bound, or two that are equal."""
        moved = self._moved[rows]
        for row, low, high in zip(
            self._row[rows].tolist(), (lower - moved).tolist(), (upper - moved).tolist(), strict=True
        ):
            self._highs.changeRowBounds(row, low, high)

    def set_costs(self, costs: Floats) -> None:
        """Make another sum over the columns small."""
        self._costs, self._fixed_cost = costs, float(costs @ self._at_fixed)
        n = len(self._free)
        self._highs.changeColsCost(n, np.arange(n, dtype=np.int32), costs[self._free])

    def has_any_within(self, cutoff: float, *, seconds: float, most_nodes: int = ANY_NODES) -> Answer:
        """Whether there is a point whose objective is at most that, asked without presolve; the last that is asked."""
        highs, n = self._highs, len(self._free)
        highs.clearSolver()
        ends = time.monotonic() + seconds
        # where linear terms alone tell, to search for any point may take a hundred times as long
        if self._is_mip:
            answer = self.solve(seconds=seconds, cutoff=cutoff, presolve=False, relaxed=True)
            if answer.status == "infeasible":
                return answer
        if math.isfinite(cutoff):
            costs = [(i, float(self._costs[j])) for i, j in enumerate(self._free) if self._costs[j]]
            upper = cutoff + _CUTOFF_SLACK - self._fixed_cost
            highs.addRow(-math.inf, upper, len(costs), [i for i, _ in costs], [c for _, c in costs])
        highs.changeColsCost(n, np.arange(n, dtype=np.int32), np.zeros(n))
        self._fixed_cost = 0.0
        return self.solve(seconds=ends - time.monotonic(), most_nodes=most_nodes, presolve=False)

    def solve(
        self,
        *,
        start: Mapping[int, float] | None = None,
        seconds: float = math.inf,
        absolute_gap: float = 0.0,
        cutoff: float = math.inf,
        most_nodes: int = ANY_NODES,
        presolve: bool = True,
        relaxed: bool = False,
    ) -> Answer:
        """Solve it once; see ``solve``."""
        import highspy

        highs, is_mip = self._highs, self._is_mip and not relaxed
        bound = cutoff + _CUTOFF_SLACK - self._fixed_cost if is_mip else math.inf
        self._set(
            {
                "solve_relaxation": relaxed,
                "presolve": "on" if presolve else "off",
                "mip_abs_gap": absolute_gap,
                "objective_bound": bound,
                "mip_max_nodes": most_nodes,
                # the solver's clock goes on from one solve to the next
                "time_limit": highs.getRunTime() + max(seconds, 0.01),
            }
        )
        if start and is_mip:
            given = [(i, start[j]) for i, j in enumerate(self._free.tolist()) if j in start]
            indices, counts = zip(*given, strict=True)
            highs.setSolution(len(given), np.array(indices, dtype=np.int32), np.array(counts, dtype=np.float64))
        self._run()

        known = highspy.HighsModelStatus
        if highs.getModelStatus() in (known.kUnknown, known.kSolveError):
            # from where it stood, or after its presolve, it came to nothing; from the beginning it most often does
            highs.clearSolver()
            self._set({"presolve": "off"})
            self._run()
        status = highs.getModelStatus()
        if status in (known.kInfeasible, known.kUnboundedOrInfeasible):
            return _NOTHING
        is_cut_short = status in (known.kTimeLimit, known.kSolutionLimit)
        if not is_cut_short and status not in (known.kOptimal, known.kModelEmpty):
            raise SolverFailed(f"the solver stopped with {highs.modelStatusToString(status)}")
        info, solution = highs.getInfo(), highs.getSolution()
        has_values = info.primal_solution_status == 2
        values: Floats | None = self._whole(solution.col_value) if has_values else None
        objective = float(info.objective_function_value) + self._fixed_cost if has_values else math.inf
        if objective > cutoff + _CUTOFF_SLACK and status == known.kOptimal:
            return _NOTHING
        bound = float(info.mip_dual_bound) + self._fixed_cost if is_mip else objective
        n_nodes = max(0, int(info.mip_node_count)) if is_mip else 0
        if is_cut_short:
            return Answer("stopped", values, objective, bound if is_mip else -math.inf, n_nodes=n_nodes)
        if values is None:
            raise SolverFailed("the solver calls a program optimal without giving a point")
        if is_mip:
            return Answer("optimal", values, objective, bound, n_nodes=n_nodes)
        return Answer("optimal", values, objective, bound, np.array(solution.row_dual))

    def _whole(self, values: Sequence[float]) -> Floats:
        """A point with the fixed columns put back."""
        whole = self._values.copy()
        whole[self._free] = values
        return whole

    def _set(self, options: Mapping[str, Any]) -> None:
        import highspy

        for name, value in options.items():
            # a misspelt option would otherwise be accepted in silence
            if self._highs.setOptionValue(name, value) != highspy.HighsStatus.kOk:
                raise SolverFailed(f"the solver refuses the option {name} = {value!r}")


def _ends(low: float, high: float) -> list[tuple[int, float]]:
    """The rows that PuLP has for one with these bounds: each by its sense and its side."""
    import pulp

    if low == high:
        return [(pulp.LpConstraintEQ, low)]
    return [
        (sense, end) for sense, end in ((pulp.LpConstraintGE, low), (pulp.LpConstraintLE, high)) if math.isfinite(end)
    ]


def _as_it_stands(program: Program, terms: Matrix, free: NDArray[np.intp], moved: Sequence[float]) -> Any:
    """The free columns of a program, as if relaxed, in the solver's own arrays; see ``_write``."""
    import highspy

    place = np.full(len(program.lower), -1)
    place[free] = np.arange(len(free))
    is_free = place[terms.columns] >= 0
    model = highspy.HighsLp()
    model.num_col_, model.num_row_ = len(free), terms.shape[0]
    model.col_cost_ = np.array(program.objective, dtype=np.float64)[free]
    model.col_lower_ = np.array(program.lower, dtype=np.float64)[free]
    model.col_upper_ = np.array(program.upper, dtype=np.float64)[free]
    model.row_lower_ = np.array([low for _, low, _ in program.rows]) - moved
    model.row_upper_ = np.array([high for _, _, high in program.rows]) - moved
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    lengths = np.bincount(terms.rows[is_free], minlength=terms.shape[0])
    model.a_matrix_.start_ = np.concatenate([[0], np.cumsum(lengths)]).astype(np.int32)
    model.a_matrix_.index_ = place[terms.columns[is_free]].astype(np.int32)
    model.a_matrix_.value_ = terms.values[is_free]
    return model


def _write(program: Program, free: NDArray[np.intp], moved: Sequence[float]) -> Any:
    """The free columns of a program in PuLP's words.

    Parameters
    ----------
    moved : sequence of float
        What the other columns add to each row.
    """
    import pulp

    problem = pulp.LpProblem("kit", pulp.LpMinimize)
    # zero-padded names: PuLP sorts columns by name, and the order must stay ours
    columns = {
        j: problem.add_variable(
            f"x{j:06d}",
            None if program.lower[j] == -math.inf else program.lower[j],
            None if program.upper[j] == math.inf else program.upper[j],
            pulp.LpInteger if program.is_integer[j] else pulp.LpContinuous,
        )
        for j in free.tolist()
    }
    problem.setObjective(pulp.LpAffineExpression([(column, program.objective[j]) for j, column in columns.items()]))
    n_written = 0
    for (terms, low, high), fixed in zip(program.rows, moved, strict=True):
        expression = pulp.LpAffineExpression([(columns[j], c) for j, c in terms if j in columns])
        for sense, side in _ends(low, high):
            problem.addConstraint(pulp.LpConstraint(expression, sense, rhs=side - fixed), f"r{n_written:06d}")
            n_written += 1
    return problem


def least_otherwise(program: Program) -> float | None:
    """The least objective of a program by another solver, CBC, as a witness; None where there is no point at all.

    Raises
    ------
    SolverFailed
        If it comes to neither, or is not to be had here.
    """
    import pulp

    problem = _write(program, np.arange(len(program.lower)), [0.0] * len(program.rows))
    with warnings.catch_warnings():
        # it goes with PuLP 4, which is not allowed yet
        warnings.simplefilter("ignore", DeprecationWarning)
        solver = pulp.PULP_CBC_CMD(msg=False, threads=1, gapRel=0.0, gapAbs=0.0)
    if not solver.available():
        raise SolverFailed("the solver CBC, which comes with PuLP, is not there to be a witness")
    problem.solve(solver)
    if problem.sol_status == pulp.LpSolutionInfeasible or problem.status == pulp.LpStatusInfeasible:
        return None
    if problem.sol_status != pulp.LpSolutionOptimal:
        raise SolverFailed(f"the solver CBC stopped with {pulp.LpStatus[problem.status]}")
    return float(pulp.value(problem.objective) or 0.0)
