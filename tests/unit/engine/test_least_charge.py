"""The charge that each window asks for, against the judge walked forwards from it and from a little less."""

from __future__ import annotations

import random

import numpy as np
import pytest

from kitopt.engine.judge import least_charge_wh, simulate
from kitopt.engine.plant import Conditions, Layout

CAPACITY_WH = 60.0


def some_conditions(rng: random.Random) -> Conditions:
    n = 24

    def rows(draw: object) -> list[list[float]]:
        return [[draw() for _ in range(n)] for _ in range(3)]  # type: ignore[operator]

    return Conditions(
        layout=Layout(1, 1, 1),
        shapes=(np.array(rows(lambda: max(0.0, rng.uniform(-0.5, 1.0)))),),
        demand_shapes=np.ones((1, n)),
        load_w=np.array([rng.uniform(0, 14) for _ in range(n)]),
        step_h=np.array([rng.choice([0.25, 0.5]) for _ in range(n)]),
        capacity_share=np.array(rows(lambda: rng.uniform(0.8, 1.0))),
        may_charge=np.array(rows(lambda: rng.random() < 0.8)),
        charge_efficiency=rng.choice([1.0, 0.9]),
        discharge_efficiency=rng.choice([1.0, 0.95]),
        reserve_share=rng.choice([0.0, 0.1]),
        reserve_wh=rng.choice([0.0, 4.0]),
        has_charge_limit=rng.random() < 0.5,
        n_windows=3,
        # three intervals of weather in four are split in two
        first_of_cell=np.array([t - t % 2 if t % 8 < 6 else t for t in range(n)]),
        may_discharge=np.array(rows(lambda: rng.random() < 0.98)),
        taper_h=rng.choice([None, 2.0]),
        peukert=rng.choice([1.0, 1.2]),
        rated_w=5.0,
    )


@pytest.mark.parametrize("seed", range(20))
def test_as_much_is_survived_and_a_little_less_is_not(seed: int) -> None:
    where = some_conditions(random.Random(seed))
    layout = where.layout
    plant = np.zeros(layout.size)
    plant[layout.capacity], plant[layout.charge_limit], plant[layout.limit(0)] = CAPACITY_WH, 12.0, 25.0
    plant[layout.panel(0, 0)], plant[layout.demand(0)] = 40.0, 0.3
    least_wh = least_charge_wh(where, plant)
    for step in range(where.n_steps):
        for k in range(3):
            rest = where.since(step).window(k)

            def margin_wh(charge_wh: float, rest: Conditions = rest) -> float:
                at = plant.copy()
                at[layout.missing] = CAPACITY_WH - charge_wh
                return float(simulate(rest, at).margin_wh[0])

            asked_wh = float(least_wh[k, step])
            if np.isinf(asked_wh):
                assert margin_wh(CAPACITY_WH) < 0.0
            else:
                assert margin_wh(asked_wh) >= -2e-5
                assert margin_wh(asked_wh - 0.01) < 0.0
