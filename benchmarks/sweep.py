"""Sweep inventory size and windows over the judge, one integer program and the whole choice.

Each line gives seconds and the ratio to the smallest case. ``--large`` runs ten seeds of 1,000
windows × 336 steps at 95 % with 20 + 20 types and 8 controllers instead.

    python benchmarks/sweep.py [--smoke] [--large] [--seeds 10] [--seconds 120]
"""

from __future__ import annotations

import argparse
import resource
import statistics
import time

import numpy as np
from synthetic import synthetic_plan

from kitopt.budget import Budget
from kitopt.engine import Outcome, Plan, choose
from kitopt.engine.judge import cuts, simulate
from kitopt.engine.solver import Program, solve
from kitopt.engine.write import add_learned

SIZES = [(5, 5, 2), (10, 10, 4), (20, 20, 8)]
WINDOWS = [50, 200, 1000]


def judge_s(plan: Plan) -> float:
    """Time of judging one kit and cutting every window. [s]"""
    case = plan.cases[0]
    plant = case.matrix @ (plan.upper / 2)
    began = time.perf_counter()
    for _ in range(3):
        verdict = simulate(case.conditions, plant)
        cuts(case.conditions, plant, verdict.lowest_step, np.arange(case.conditions.n_windows))
    return (time.perf_counter() - began) / 3


def whole_and_master_s(plan: Plan, seconds: float) -> tuple[float, float, str]:
    """Times of the whole choice, and of one integer program with all that it learned. [s]"""
    began = time.perf_counter()
    outcome = choose(plan, budget=Budget.of(seconds))
    whole = time.perf_counter() - began
    program = Program()
    for low, high, weight in zip(plan.lower, plan.upper, plan.objectives[0].weights, strict=True):
        program.add_column(float(low), float(high), integer=True, cost=float(weight))
    for row in plan.rows:
        program.add_row(row.terms, row.lower, row.upper)
    for memory in outcome.memories:
        add_learned(program, memory, memory.upper_of_coordinates(plan.upper))
    began = time.perf_counter()
    solve(program, absolute_gap=0.999, seconds=seconds)
    return whole, time.perf_counter() - began, outcome.status


def peak_mb() -> float:
    """Most memory that this process ever held. [MB]"""
    return resource.getrusage(resource.RUSAGE_SELF).ru_maxrss / 1024


def sweep(sizes: list[tuple[int, int, int]], windows: list[int], n_steps: int, seconds: float) -> None:
    """Print one line a case."""
    print(f"{'panels+batteries, controllers':30} {'windows':>7}  {'judge':>16} {'master':>16} {'whole':>16}  status")
    first: tuple[float, float, float] | None = None
    for n_panels, n_batteries, n_controllers in sizes:
        for n_windows in windows:
            plan = synthetic_plan(
                0,
                n_windows=n_windows,
                n_steps=n_steps,
                n_panels=n_panels,
                n_batteries=n_batteries,
                n_controllers=n_controllers,
            )
            judge = judge_s(plan)
            whole, master, status = whole_and_master_s(plan, seconds)
            times = (judge, master, whole)
            first = first or times
            cells = " ".join(f"{t:8.3f} s ×{t / f:4.0f}" for t, f in zip(times, first, strict=True))
            name = f"{n_panels}+{n_batteries}, {n_controllers}"
            print(f"{name:30} {n_windows:7d}  {cells}  {status}", flush=True)
    print(f"peak memory {peak_mb():.0f} MB")


def large(n_seeds: int, seconds: float, n_windows: int, n_steps: int) -> None:
    """Print one line a seed, then the median."""
    times = []
    for seed in range(n_seeds):
        plan = synthetic_plan(seed, n_windows=n_windows, n_steps=n_steps)
        began = time.perf_counter()
        outcome = choose(plan, budget=Budget.of(seconds))
        times.append(time.perf_counter() - began)
        print(
            f"seed {seed}: {times[-1]:7.1f} s  {outcome.status:10} {_found(outcome)}, rounds {outcome.rounds}",
            flush=True,
        )
    print(
        f"{n_windows} windows × {n_steps} steps at 95 %: median {statistics.median(times):.1f} s, "
        f"max {max(times):.1f} s over {n_seeds} seeds; peak memory {peak_mb():.0f} MB"
    )


def _found(outcome: Outcome) -> str:
    if outcome.counts is None:
        return f"no kit in hand, bound {outcome.bound:.0f} g"
    gap = 0.0 if outcome.proved else (outcome.objective - outcome.bound) / max(1.0, outcome.objective)
    return f"{outcome.objective:.0f} g, gap {gap:.2%}"


def main() -> None:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="tiny cases of a few seconds")
    parser.add_argument("--large", action="store_true", help="the large case over several seeds")
    parser.add_argument("--seeds", type=int, default=10)
    parser.add_argument("--seconds", type=float, default=120.0, help="time limit of one choice")
    asked = parser.parse_args()
    if asked.smoke:
        sweep([(3, 3, 1), (5, 5, 2)], [10, 20], 48, 10.0)
        large(1, 10.0, 20, 48)
    elif asked.large:
        large(asked.seeds, asked.seconds, 1000, 336)
    else:
        sweep(SIZES, WINDOWS, 336, asked.seconds)


if __name__ == "__main__":
    main()
