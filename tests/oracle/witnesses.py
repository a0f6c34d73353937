"""Other solvers for the programs that the search solves: each states the program anew and finds its least objective.

HiGHS with other seeds and without presolve, CBC and SCIP. They share with the program its columns and rows, no code.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable

import highspy
import numpy as np
import pyscipopt

from kitopt.engine.solver import Program, least_otherwise

SEEDS = (7, 1234)


def by_highs(program: Program, seed: int) -> float | None:
    """Without presolve and with a seed of its own; None where there is no point."""
    model = highspy.HighsLp()
    n = len(program.lower)
    model.num_col_, model.num_row_ = n, len(program.rows)
    model.col_cost_ = np.array(program.objective, dtype=float)
    model.col_lower_, model.col_upper_ = np.array(program.lower, dtype=float), np.array(program.upper, dtype=float)
    model.row_lower_ = np.array([low for _, low, _ in program.rows], dtype=float)
    model.row_upper_ = np.array([high for _, _, high in program.rows], dtype=float)
    merged = [_merged(terms) for terms, _, _ in program.rows]
    model.a_matrix_.format_ = highspy.MatrixFormat.kRowwise
    model.a_matrix_.start_ = np.cumsum([0, *map(len, merged)])
    model.a_matrix_.index_ = np.array([j for terms in merged for j in terms], dtype=np.int32)
    model.a_matrix_.value_ = np.array([c for terms in merged for c in terms.values()], dtype=float)
    whole, part = highspy.HighsVarType.kInteger, highspy.HighsVarType.kContinuous
    model.integrality_ = [whole if is_whole else part for is_whole in program.is_integer]
    highs = highspy.Highs()
    for name, value in {
        "output_flag": False,
        "threads": 1,
        "random_seed": seed,
        "presolve": "off",
        "mip_rel_gap": 0.0,
        "mip_abs_gap": 0.0,
        "mip_feasibility_tolerance": 1e-7,
        "primal_feasibility_tolerance": 1e-7,
    }.items():
        highs.setOptionValue(name, value)
    highs.passModel(model)
    highs.run()
    status, known = highs.getModelStatus(), highspy.HighsModelStatus
    if status in (known.kInfeasible, known.kUnboundedOrInfeasible):
        return None
    assert status in (known.kOptimal, known.kModelEmpty), status
    return float(highs.getInfo().objective_function_value)


def by_scip(program: Program) -> float | None:
    """The same by SCIP."""
    model = pyscipopt.Model()
    model.hideOutput()
    model.setParam("randomization/randomseedshift", 3)
    model.setParam("numerics/feastol", 1e-7)
    model.setParam("limits/gap", 0.0)
    columns = [
        model.addVar(
            f"x{j}",
            "I" if program.is_integer[j] else "C",
            lb=None if math.isinf(program.lower[j]) else program.lower[j],
            ub=None if math.isinf(program.upper[j]) else program.upper[j],
            obj=program.objective[j],
        )
        for j in range(len(program.lower))
    ]
    for terms, low, high in program.rows:
        merged = _merged(terms)
        total = pyscipopt.quicksum(c * columns[j] for j, c in merged.items())
        if not merged:
            if low > 1e-7 or high < -1e-7:
                return None
            continue
        if low == high:
            model.addCons(total == low)
            continue
        if low > -math.inf:
            model.addCons(total >= low)
        if high < math.inf:
            model.addCons(total <= high)
    model.optimize()
    if model.getStatus() == "infeasible":
        return None
    assert model.getStatus() == "optimal", model.getStatus()
    return float(model.getObjVal())


def _merged(terms: Iterable[tuple[int, float]]) -> dict[int, float]:
    total: dict[int, float] = {}
    for j, c in terms:
        total[j] = total.get(j, 0.0) + c
    return total


WITNESSES: dict[str, Callable[[Program], float | None]] = {
    **{f"HiGHS, seed {seed}, no presolve": (lambda program, seed=seed: by_highs(program, seed)) for seed in SEEDS},
    "CBC": least_otherwise,
    "SCIP": by_scip,
}


def assert_all_say(program: Program, least: float | None, cutoff: float = math.inf) -> None:
    """Each finds just that, whole numbers being meant; where it is None, nothing up to the cutoff."""
    for name, solve in WITNESSES.items():
        found = solve(program)
        if least is None:
            assert found is None or found > cutoff + 0.4, f"{name} finds {found}, and nothing was to be within {cutoff}"
        else:
            assert found is not None, f"{name} finds nothing, and {least} was found"
            assert abs(found - least) < 0.4, f"{name} finds {found}, and {least} was found"
