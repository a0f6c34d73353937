"""The judge against a loop of five lines and against sums done by hand."""

from __future__ import annotations

import math
import random

import numpy as np
import pytest

from kitopt.engine.judge import cuts, simulate
from kitopt.engine.plant import Conditions, Layout
from kitopt.errors import ShapeMismatch


def conditions(n_steps: int, sun: list[list[float]], load_w: list[float], **changes: object) -> Conditions:
    """One controller under one shape of sun."""
    values: dict[str, object] = {
        "layout": Layout(1, 1, 1),
        "shapes": (np.array(sun),),
        "demand_shapes": np.ones((1, n_steps)),
        "load_w": np.array(load_w),
        "step_h": np.full(n_steps, 0.5),
        "capacity_share": np.ones((1, n_steps)),
        "may_charge": np.ones((1, n_steps), dtype=bool),
        "charge_efficiency": 1.0,
        "discharge_efficiency": 1.0,
        "reserve_share": 0.0,
        "reserve_wh": 0.0,
        "has_charge_limit": False,
        "n_windows": len(sun),
        "first_of_cell": np.arange(n_steps),
        "may_discharge": np.ones((1, n_steps), dtype=bool),
    }
    return Conditions(**(values | changes))  # type: ignore[arg-type]


def plant(capacity: float, *, missing: float = 0.0, charge: float = 0.0, limit: float, panel: float, idle: float = 0.0):
    return np.array([capacity, missing, charge, limit, panel, idle, 0.0])


@pytest.mark.parametrize("seed", range(40))
def test_against_a_loop_of_five_lines(seed: int) -> None:
    rng = random.Random(seed)
    n = 30
    sun = [[max(0.0, rng.uniform(-0.5, 1.0)) for _ in range(n)] for _ in range(3)]
    load = [rng.uniform(0, 20) for _ in range(n)]
    share = [[rng.uniform(0.7, 1.0) for _ in range(n)] for _ in range(3)]
    warm = [[rng.random() < 0.7 for _ in range(n)] for _ in range(3)]
    ec, ed, held, extra = rng.choice([1, 0.9]), rng.choice([1, 0.95]), rng.choice([0, 0.1]), rng.choice([0, 4])
    limited = rng.random() < 0.5
    kit = plant(60.0, missing=rng.choice([0.0, 20.0]), charge=12.0, limit=25.0, panel=40.0, idle=0.3)
    where = conditions(
        n,
        sun,
        load,
        capacity_share=np.array(share),
        may_charge=np.array(warm),
        charge_efficiency=ec,
        discharge_efficiency=ed,
        reserve_share=held,
        reserve_wh=extra,
        has_charge_limit=limited,
    )
    verdict = simulate(where, kit)
    for k in range(3):
        s, margins = 60.0 - kit[1], []
        for t in range(n):
            net = min(40 * sun[k][t], 25) - 0.3 - load[t]
            gain = net / ed if net < 0 else ec * (min(net, 12) if limited else net) * warm[k][t]
            low = s - (0.3 + load[t]) / ed * 0.5
            s = min(60.0, s + gain * 0.5)
            margins.append(low - held * 60 - extra - (1 - share[k][t]) * 60)
        assert verdict.margin_wh[k] == pytest.approx(min(margins), abs=1e-9)
        assert margins[verdict.lowest_step[k]] == pytest.approx(min(margins), abs=1e-9)
        assert verdict.charge_wh[k, -1] == pytest.approx(s, abs=1e-9)


def test_charge_goes_below_empty_and_comes_back() -> None:
    # by hand: 10 Wh, minus 15 is -5, plus 20 is 15 held at 10
    where = conditions(2, [[0.0, 1.0]], [30.0, 0.0])
    verdict = simulate(where, plant(10.0, limit=100.0, panel=40.0))
    assert verdict.charge_wh.tolist() == [[-5.0, 10.0]]
    assert verdict.margin_wh.tolist() == [-5.0]
    assert not verdict.survives[0]


def test_cold_raises_the_floor_and_throws_no_charge_away() -> None:
    # by hand: 100 Wh full, half locked away in the first step, none in the second
    where = conditions(2, [[0.0, 0.0]], [20.0, 60.0], capacity_share=np.array([[0.5, 1.0]]))
    verdict = simulate(where, plant(100.0, limit=1.0, panel=0.0))
    assert verdict.charge_wh.tolist() == [[90.0, 60.0]]
    assert verdict.margin_wh.tolist() == [40.0]


def test_pooling_equal_controllers_would_be_wrong() -> None:
    # two units of 65 W with 100 W and 20 W of panel at 0.8 sun: 65 + 16 = 81 W, not min(96, 130)
    layout = Layout(2, 1, 0)
    where = conditions(1, [[0.8]], [0.0], layout=layout, demand_shapes=np.zeros((0, 1)), step_h=np.array([1.0]))
    verdict = simulate(where, np.array([200.0, 200.0, 0.0, 65.0, 65.0, 100.0, 20.0, 0.0]))
    assert verdict.charge_wh.tolist() == [[81.0]]


@pytest.mark.parametrize(("taper_h", "lowest_wh"), [(None, [2.0, -1.0]), (1.0 / math.log(2.0), [0.0, -1.0])])
def test_energy_is_counted_from_the_last_full_step_or_from_the_start(
    taper_h: float | None, lowest_wh: list[float]
) -> None:
    # by hand, 10 Wh and full: -4 is 6, +6 is full again, -3 is 7, -5 is 2; with 5 Wh less sun it is never full again:
    # 6, 7, 4, -1. What takes half of what is missing in an hour is at 8 of 10 instead, and ends at 0
    where = conditions(
        4, [[0.0, 0.8, 0.0, 0.0], [0.0, 0.3, 0.0, 0.0]], [4.0, 2.0, 3.0, 5.0], step_h=np.ones(4), taper_h=taper_h
    )
    kit = plant(10.0, limit=100.0, panel=10.0)
    verdict = simulate(where, kit)
    assert verdict.margin_wh == pytest.approx(lowest_wh)
    found = cuts(where, kit, verdict.lowest_step, np.arange(2))
    assert found.first_step.tolist() == [1, -1]
    assert found.last_step.tolist() == [3, 3]


def test_a_plant_of_another_layout_is_refused() -> None:
    where = conditions(2, [[0.0, 1.0]], [30.0, 0.0])
    with pytest.raises(ShapeMismatch, match="layout of 7 coordinates"):
        simulate(where, np.zeros(8))


def test_conditions_that_disagree_on_their_shapes_are_refused() -> None:
    with pytest.raises(ShapeMismatch, match="step_h"):
        conditions(2, [[0.0, 1.0]], [30.0, 0.0], step_h=np.ones(3))
