"""The capacity that a window needs, against a loop that is asked again and again with a smaller battery."""

from __future__ import annotations

import math
import random
from dataclasses import replace

import numpy as np
import pytest
from dark_batteries import conditions

from kitopt.engine.judge import needed_wh
from kitopt.engine.plant import Layout

N, STEP_H = 24, 0.5


def survives(
    capacity: float, sun: list[float], load: list[float], first: list[int], share: list[float], odd: dict[str, float]
) -> bool:
    """Walk one window in plain loops: the load of an interval of weather may come first and its sun last."""
    charge = [capacity * (1 - odd["missing"])]
    for t in range(N):
        net = min(40 * sun[t], 25) - load[t]
        charge.append(min(capacity, charge[-1] + STEP_H * (net * 0.9 if net > 0 else net / 0.95)))
    for t in range(N):
        drawn = sum(load[i] / 0.95 * STEP_H for i in range(first[t], t + 1))
        held = odd["held"] * capacity + odd["extra"] + (1 - share[t]) * capacity
        if charge[first[t]] - drawn - held < -1e-5:
            return False
    return True


@pytest.mark.parametrize("seed", range(60))
def test_a_window_is_survived_from_the_needed_capacity_on(seed: int) -> None:
    rng = random.Random(seed)
    sun = [max(0.0, rng.uniform(-0.5, 1.0)) for _ in range(N)]
    load = [rng.uniform(0, 20) for _ in range(N)]
    share = [rng.uniform(0.7, 1.0) for _ in range(N)]
    first = [t - t % rng.choice([1, 2]) for t in range(N)]
    odd = {
        "missing": rng.choice([0.0, 0.3, 0.8]),
        "held": rng.choice([0.0, 0.1]),
        "extra": rng.choice([0.0, 4.0]),
    }
    where = replace(
        conditions(1, N),
        layout=Layout(1, 1, 1),
        shapes=(np.array([sun]),),
        load_w=np.array(load),
        step_h=np.full(N, STEP_H),
        capacity_share=np.array([share]),
        charge_efficiency=0.9,
        discharge_efficiency=0.95,
        reserve_share=odd["held"],
        reserve_wh=odd["extra"],
        first_of_cell=np.array(first),
    )
    plant = np.array([0.0, 0.0, 0.0, 25.0, 40.0, 0.0, 0.0])
    need = float(needed_wh(where, plant, odd["missing"])[0])
    if math.isinf(need):
        # more is missing at the start than the cold and the reserve leave
        assert min(share) - odd["held"] - odd["missing"] <= 0
        assert not any(survives(c, sun, load, first, share, odd) for c in (10.0, 100.0, 1e4, 1e6))
        return
    assert not survives(need - 1e-3, sun, load, first, share, odd)
    if min(share) - odd["held"] > odd["missing"]:
        assert all(survives(need + more + 1e-6, sun, load, first, share, odd) for more in (0.0, 1.0, 100.0))


def test_frozen_cells_leave_the_load_to_the_sun() -> None:
    # by hand: 5 W for half an hour from cells that give nothing, once with 6 W of sun and once with 4
    where = replace(
        conditions(2),
        layout=Layout(1, 1, 1),
        shapes=(np.array([[0.6], [0.4]]),),
        load_w=np.array([5.0]),
        step_h=np.array([0.5]),
        capacity_share=np.array([[0.5]]),
        may_discharge=np.zeros((1, 1), dtype=bool),
    )
    needs = needed_wh(where, np.array([0.0, 0.0, 0.0, 100.0, 10.0, 0.0, 0.0]), 0.0)
    # the load may come before the sun within the step: 2.5 Wh, of a battery of which the cold leaves half
    assert needs[0] == pytest.approx(5.0, abs=1e-4)
    assert math.isinf(needs[1])


def test_a_step_that_no_capacity_serves_is_not_made_good_by_another() -> None:
    # by hand: a battery starts half full, and in the first hour the cold locks four fifths of it away: nothing is left
    # for 5 Wh, whatever its size; in the second hour, when all is warm, half of it would be there for 10 Wh
    cold = np.array([[0.2, 1.0]])
    where = replace(conditions(1, 2), load_w=np.array([5.0, 5.0]), capacity_share=cold)
    plant = np.zeros(where.layout.size)
    assert math.isinf(float(needed_wh(where, plant, 0.5)[0]))
    # as soon as the first hour is warm too, 20 Wh of which half are there serve both
    warm = replace(where, capacity_share=np.ones((1, 2)))
    assert float(needed_wh(warm, plant, 0.5)[0]) == pytest.approx(20.0, abs=1e-4)
