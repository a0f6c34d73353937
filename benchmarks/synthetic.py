"""Plans of any size, made directly: batteries, controllers and panels with invented numbers.

Windows follow each other day by day with a persistence of 0.29, the day-to-day correlation of
Gaussianised daily clearness (Graham, Hollands and Unny 1988; from memory).
"""

from __future__ import annotations

import math
from fractions import Fraction

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import Case, Objective, Plan, Row
from kitopt.engine.matrix import Matrix
from kitopt.engine.plant import Conditions, Layout

PERSISTENCE = 0.29
STEPS_A_DAY = 48
NOMINAL_V = 12.8
CHARGING_V = 13.4


def synthetic_plan(
    seed: int,
    *,
    n_windows: int,
    n_steps: int,
    n_panels: int = 20,
    n_batteries: int = 20,
    n_controllers: int = 8,
    confidence: str = "0.95",
    each: int = 2,
) -> Plan:
    """A plan with `each` pieces of every panel and battery type, and controllers that draw when idle."""
    rng = np.random.default_rng(seed)
    shapes = _shapes(rng, n_windows, n_steps)
    layout = Layout(n_controllers, len(shapes), 1)
    first_unit, first_join = n_batteries, n_batteries + n_controllers
    n_columns = first_join + n_controllers * n_panels
    brought: dict[tuple[int, int], float] = {}
    mass_g, upper = np.zeros(n_columns), np.ones(n_columns)

    battery_ah = np.sort(rng.choice([3, 4.5, 6, 7, 10, 12, 15, 20, 30, 50], n_batteries))
    for b, ah in enumerate(battery_ah.tolist()):
        brought[layout.capacity, b] = ah * NOMINAL_V * 0.9 * 0.9
    mass_g[:n_batteries] = np.round(battery_ah * rng.uniform(105, 140, n_batteries) + 50)
    upper[:n_batteries] = each

    panel_w = np.sort(rng.choice([10, 20, 28, 40, 50, 60, 80, 100, 120, 150, 200], n_panels)).astype(float)
    panel_g = np.round(panel_w * rng.uniform(22, 45, n_panels) + 350)
    is_mppt = rng.integers(0, 2, n_controllers).astype(bool)
    limit_a = rng.choice([5, 10, 15, 20], n_controllers)
    unit_g = np.where(is_mppt, rng.integers(150, 600, n_controllers), rng.integers(60, 250, n_controllers))
    for c in range(n_controllers):
        mass_g[first_unit + c] = float(unit_g[c])
        brought[layout.limit(c), first_unit + c] = limit_a[c] * NOMINAL_V
        brought[layout.demand(0), first_unit + c] = 0.25
        for p in range(n_panels):
            j = first_join + c * n_panels + p
            mass_g[j], upper[j] = panel_g[p], each
            if is_mppt[c]:
                brought[layout.panel(c, 2), j] = panel_w[p] * 0.75 * 0.95 * NOMINAL_V / CHARGING_V
            else:
                brought[layout.panel(c, 0 if p % 3 else 1), j] = panel_w[p] / 18 * NOMINAL_V * 0.75

    def join(c: int, p: int) -> int:
        return first_join + c * n_panels + p

    rows = [
        Row(tuple((join(c, p), 1.0) for c in range(n_controllers)), upper=each, rule="stock") for p in range(n_panels)
    ]
    rows += [
        Row(((join(c, p), 1.0), (first_unit + c, -float(each))), upper=0.0, rule="needs")
        for p in range(n_panels)
        for c in range(n_controllers)
    ]
    hour = (np.arange(n_steps) * 0.5 + 9) % 24
    conditions = Conditions(
        layout=layout,
        shapes=shapes,
        demand_shapes=np.ones((1, n_steps)),
        load_w=np.where((hour > 9) & (hour < 23), 14.0, 5.0) + rng.uniform(0, 2),
        step_h=np.full(n_steps, 0.5),
        capacity_share=np.full((1, n_steps), 0.9),
        may_charge=np.ones((1, n_steps), dtype=bool),
        charge_efficiency=0.95,
        discharge_efficiency=1.0,
        reserve_share=0.1,
        reserve_wh=0.0,
        has_charge_limit=False,
        first_of_cell=np.arange(n_steps),
        may_discharge=np.ones((1, n_steps), dtype=bool),
        n_windows=n_windows,
    )
    price = np.round(mass_g * rng.uniform(0.5, 1.5, n_columns)) * 5
    identity = np.eye(n_columns)
    items = [identity[j] for j in range(first_join)]
    items += [np.sum([identity[join(c, p)] for c in range(n_controllers)], axis=0) for p in range(n_panels)]
    matrix = Matrix.of((layout.size, n_columns), brought)
    joined = {(p, join(c, p)): 1.0 for p in range(n_panels) for c in range(n_controllers)}
    pieces = Matrix.of((n_panels, n_columns), joined)
    return Plan(
        np.zeros(n_columns),
        upper,
        tuple(rows),
        (Case("base", conditions, Fraction(confidence), matrix, pieces=pieces),),
        (Objective("mass", mass_g), Objective("price", price), Objective("items", np.ones(n_columns))),
        tuple(items),
    )


def _shapes(rng: np.random.Generator, n_windows: int, n_steps: int) -> tuple[NDArray[np.float64], ...]:
    """Sun on tilted panels, on flat ones, and tilted with the loss of heat; watts per watt."""
    n_days = n_steps // STEPS_A_DAY + 1
    gauss = rng.standard_normal((n_windows, n_days))
    for day in range(1, n_days):
        gauss[:, day] = PERSISTENCE * gauss[:, day - 1] + math.sqrt(1 - PERSISTENCE**2) * gauss[:, day]
    uniform = 0.5 * (1 + np.vectorize(math.erf)(gauss / math.sqrt(2)))
    clearness = 0.08 + 0.85 * uniform**1.1
    elapsed = np.arange(n_steps) * 0.5 + 9
    hour, day_of = elapsed % 24, (elapsed // 24).astype(int)
    height = np.where((hour > 7) & (hour < 18), np.sin((hour - 7) / 11 * np.pi), 0.0)
    tilted = clearness[:, np.minimum(day_of, n_days - 1)] * np.maximum(height, 0.0) * 0.75
    flat = tilted * (0.6 + 0.1 * np.sin(hour))
    warm = tilted * (1 - 0.0045 * (10 + 25 * tilted - 25))
    return tilted, flat, warm
