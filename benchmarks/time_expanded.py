"""One small case solved twice: as a single program over all windows and steps, and by cuts.

Both must give the same optimum. The single program has charge, stored power and passed power as
columns for every window and step; it is what one would write down first.

    python benchmarks/time_expanded.py [--smoke] [--windows 50] [--steps 96] [--seed 0]
"""

from __future__ import annotations

import argparse
import math
import statistics
import time
from dataclasses import replace

import pulp
from synthetic import synthetic_plan

from kitopt.engine import Plan, choose


def time_expanded(plan: Plan, seconds: float) -> tuple[str, float, int]:
    """Solve a plan of confidence 1 as one program with HiGHS.

    Returns
    -------
    tuple
        Status, objective, and number of columns.
    """
    case = plan.cases[0]
    where, layout, matrix = case.conditions, case.conditions.layout, case.matrix
    problem = pulp.LpProblem("expanded", pulp.LpMinimize)
    counts = [problem.add_variable(f"x{j:05d}", 0, float(plan.upper[j]), pulp.LpInteger) for j in range(plan.n_columns)]
    objective = plan.objectives[0]
    problem.setObjective(pulp.lpSum(float(w) * x for w, x in zip(objective.weights, counts, strict=True)))
    for row in plan.rows:
        body = pulp.lpSum(c * counts[j] for j, c in row.terms)
        if row.upper < math.inf:
            problem.addConstraint(body <= row.upper)
        if row.lower > -math.inf:
            problem.addConstraint(body >= row.lower)

    # the plant's coordinates as columns keep the rows short
    plant = {}
    for i in range(layout.size):
        brought = matrix.row(i)
        terms = [(counts[j], float(c)) for j, c in enumerate(brought) if c]
        if terms:
            plant[i] = problem.add_variable(f"p{i:04d}", 0)
            problem.addConstraint(plant[i] == pulp.LpAffineExpression(terms))
    capacity = plant[layout.capacity]
    demand = plant.get(layout.demand(0), 0)
    watts = [where.watts(s) for s in range(layout.n_sources)]
    for k in range(where.n_windows):
        before = capacity - plant.get(layout.missing, 0)
        for t in range(where.n_steps):
            name = f"{k:04d}_{t:04d}"
            passed = []
            for u in range(layout.n_units):
                h = problem.add_variable(f"h{u:02d}_{name}", 0)
                shapes = [
                    (plant[layout.panel(u, s)], float(shape[k, t]))
                    for s, shape in enumerate(watts)
                    if layout.panel(u, s) in plant
                ]
                problem.addConstraint(h <= pulp.LpAffineExpression(shapes))
                problem.addConstraint(h <= plant[layout.limit(u)])
                passed.append(h)
            net = pulp.lpSum(passed) - demand - float(where.load_w[t])
            stored = problem.add_variable(f"f_{name}")
            problem.addConstraint(stored <= where.charge_efficiency * net)
            problem.addConstraint(stored <= net * (1 / where.discharge_efficiency))
            charge = problem.add_variable(f"s_{name}")
            problem.addConstraint(charge <= capacity)
            problem.addConstraint(charge <= before + stored * float(where.step_h[t]))
            locked = 1.0 - float(where.capacity_share[0, t])
            problem.addConstraint(charge - (where.reserve_share + locked) * capacity >= where.reserve_wh)
            before = charge
    solver = pulp.HiGHS(msg=False, threads=1, gapRel=0.0, timeLimit=seconds)
    problem.solve(solver)
    highs = problem.solverModel
    status = str(highs.modelStatusToString(highs.getModelStatus()))
    return status, float(highs.getInfo().objective_function_value), len(problem.variables())


def main() -> None:
    """Compare the two on one case."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="a tiny case of a few seconds")
    parser.add_argument("--windows", type=int, default=50)
    parser.add_argument("--steps", type=int, default=96)
    parser.add_argument("--types", type=int, default=8, help="panel types and battery types")
    parser.add_argument("--controllers", type=int, default=4)
    parser.add_argument("--seed", type=int, default=0)
    parser.add_argument("--seconds", type=float, default=900.0)
    asked = parser.parse_args()
    if asked.smoke:
        asked.windows, asked.steps, asked.types, asked.controllers = 6, 48, 4, 2
    plan = synthetic_plan(
        asked.seed,
        n_windows=asked.windows,
        n_steps=asked.steps,
        n_panels=asked.types,
        n_batteries=asked.types,
        n_controllers=asked.controllers,
        confidence="1",
    )
    choose(synthetic_plan(1, n_windows=2, n_steps=8, n_panels=1, n_batteries=1, n_controllers=1))  # imports
    # the same question for both: the least mass, without the passes that break ties
    plan = replace(plan, objectives=plan.objectives[:1], tie_break=())
    took = []
    for _ in range(3):
        began = time.perf_counter()
        outcome = choose(plan)
        took.append(time.perf_counter() - began)
    by_cuts_s = statistics.median(took)
    print(f"{asked.windows} windows × {asked.steps} steps, all windows, seed {asked.seed}", flush=True)
    print(f"by cuts        {by_cuts_s:9.3f} s  {outcome.status:10} {outcome.objective:.0f} g, median of three")
    began = time.perf_counter()
    status, objective, n_columns = time_expanded(plan, asked.seconds)
    expanded_s = time.perf_counter() - began
    print(f"one program    {expanded_s:9.3f} s  {status:10} {objective:.0f} g, {n_columns:,} columns")
    print(f"ratio of times {expanded_s / by_cuts_s:9.1f}")
    if status == "Optimal" and abs(objective - outcome.objective) > 0.5:
        raise SystemExit("the two optima differ")


if __name__ == "__main__":
    main()
