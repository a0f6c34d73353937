"""What the page computes, against the planner's own judge and, byte for byte, against plain loops."""

from __future__ import annotations

import random
from base64 import b64encode
from datetime import timedelta
from typing import Any

import numpy as np
import pytest
from oracle.page_judge import PageJudge
from pages import KITS, Open, carried_of, kit_in_hand, page_of

from kitopt.engine.judge import TOLERANCE_WH, least_charge_wh
from kitopt.facts.amperes import amperes_by_hour
from kitopt.field.now import Hand, State, now_with, rest_of
from kitopt.field.outlook import WAYS, outlook
from kitopt.field.site import site_of
from kitopt.operation.clock import steps_of
from kitopt.report.page.field import page_data
from kitopt.sky import windows_for
from kitopt.sky.overhead import SKIES

OUTLOOK = "document.querySelector('[data-circuit]').outlook"


SURVIVED = (
    f"([hour, charges]) => charges.map((one) => {OUTLOOK}.judge.fares("
    f"{OUTLOOK}.demand([]), {OUTLOOK}.stepAt(hour), one).survived)"
)


POINT = 0.01
"""Of a chance. The page rounds sun and cold, so where spells lie close together some of 500 may be turned."""


def survived(needed_wh: Any, charges: list[float]) -> list[int]:
    return [int(np.count_nonzero(needed_wh <= one + TOLERANCE_WH)) for one in charges]


@pytest.mark.parametrize("name", KITS)
def test_its_chance_is_that_of_the_judge_within_a_point(name: str, opened: Open) -> None:
    # 3 outings, 5 moments, 14 charges: 210 cases
    choice = kit_in_hand(name)
    operation, made = choice.operation, choice.made
    assert made is not None
    page = opened(page_of(name)).page
    case = made.cases[0]
    plant = case.plant(made.counts)
    full_wh, least_wh = float(plant[case.conditions.layout.capacity]), least_charge_wh(case.conditions, plant)
    edges_h = steps_of(operation).edges_s / 3600
    charges = [full_wh * (n + 1) / 14 for n in range(14)]
    differences, volts = [], made.model.bus.nominal_v
    for part in (0.0, 0.21, 0.4, 0.62, 0.83):
        hour = round(2 * part * operation.hours) / 2
        step = int(case.conditions.first_of_cell[np.searchsorted(edges_h, hour + 1e-9, side="right") - 1])
        wanted = survived(least_wh[:, step], charges)
        differences += [a - b for a, b in zip(page.evaluate(SURVIVED, [hour, charges]), wanted, strict=True)]
        asked = page.evaluate(
            f"(hour) => Array.from({OUTLOOK}.judge.needs({OUTLOOK}.demand([]), {OUTLOOK}.stepAt(hour)))", hour
        )
        needs_wh = np.array([np.inf if one is None else one for one in asked])
        both = np.isfinite(needs_wh) & np.isfinite(least_wh[:, step])
        assert np.max(np.abs(needs_wh[both] - least_wh[both, step]), initial=0.0) / volts < 0.2
        # infinite is what a full battery does not survive; a spell that needs all but all of it may be either
        assert np.count_nonzero(np.isfinite(needs_wh) != np.isfinite(least_wh[:, step])) <= POINT * found_n(name)
    assert max(map(abs, differences)) <= POINT * found_n(name)


@pytest.mark.parametrize("name", KITS)
def test_its_chance_is_that_of_now_within_a_point(name: str, opened: Open) -> None:
    # `now` cuts the weather anew from the moment on: 3 outings, 5 moments, 14 charges
    choice = kit_in_hand(name)
    operation, made = choice.operation, choice.made
    assert made is not None
    page = opened(page_of(name)).page
    differences = []
    for part in (0.0, 0.1, 0.4, 0.62, 0.83):
        hour = round(2 * part * operation.hours) / 2
        rest = rest_of(operation, operation.start + timedelta(hours=hour))
        case = Hand(made.model, made.counts, windows_for).case(rest)
        plant = case.plant(made.counts)
        charges = [float(plant[case.conditions.layout.capacity]) * (n + 1) / 14 for n in range(14)]
        wanted = survived(least_charge_wh(case.conditions, plant)[:, 0], charges)
        differences += [a - b for a, b in zip(page.evaluate(SURVIVED, [hour, charges]), wanted, strict=True)]
    assert max(map(abs, differences)) <= POINT * found_n(name)


def test_its_trip_wires_are_those_of_the_planner_within_a_fifth_of_an_ampere_hour(opened: Open) -> None:
    name = "plans/meadow-day"
    choice = kit_in_hand(name)
    operation, made = choice.operation, choice.made
    assert made is not None
    page = opened(page_of(name)).page
    volts, start_wh = made.model.bus.nominal_v, carried_of(name).spells.start_wh
    for hour, used_ah in ((0.0, 0.0), (3.5, 6.0)):
        rest = rest_of(operation, operation.start + timedelta(hours=hour))
        wanted = now_with(made.model, made.counts, operation, rest, State("used", used_ah), windows_for)
        found = page.evaluate(
            f"([left, hour]) => {OUTLOOK}.now(left, hour)", [max(start_wh - used_ah * volts, 0.0), hour]
        )
        limits = [one["limit"] / volts for one in found["wires"]]
        assert len(limits) == len(wanted.wires)
        # how sure a wire is has eleven levels; where two are all but as good, one spell may turn the choice
        off_ah = np.abs(np.array(limits) - [wire.charge_at_least_ah for wire in wanted.wires])
        assert np.mean(off_ah <= 0.2) >= 0.75
        assert np.median(off_ah) < 0.1
        assert abs(found["survived"] / found_n(name) - wanted.chance) <= 1 / found_n(name) + 1e-9


def found_n(name: str) -> int:
    return carried_of(name).spells.n


def test_its_amperes_are_those_of_sun(opened: Open) -> None:
    name = "operations/coastal-checkpoint"
    choice = kit_in_hand(name)
    page = opened(page_of(name)).page
    pairs = [one.reach for one in amperes_by_hour(choice).outlooks]
    for hour in (0.0, 2.25, 4.5, 7.75):
        now = outlook(site_of(choice.operation, choice.operation.start + timedelta(hours=hour)), pairs)
        for sky in SKIES:
            for way in WAYS:
                found = page.evaluate(f"{OUTLOOK}.expected(0, '{sky}', '{way}', {hour})")
                assert found == pytest.approx(float(now.by_hour.outlooks[0].amps[sky, way][0]), abs=0.05)


def made_up(seed: int) -> dict[str, Any]:
    """Bytes that no planner made: every part of the judge has something to do."""
    rng = random.Random(seed)
    n, n_intervals = 8, 20
    interval = [i for i in range(n_intervals) for _ in range(rng.choice([1, 1, 2]))]
    lit = sorted(rng.sample(range(n_intervals), 11))
    n_steps, every = len(interval), rng.choice([1, 3, 4])
    knots, rows = len({*range(0, n_intervals, every), n_intervals - 1}), rng.choice([1, n])
    marks = [one for _ in range(rng.choice([1, n]) * n_intervals) for one in (rng.choice([3, 3, 3, 3, 2, 3, 3, 1]), 1)]
    return {
        **{"n": n, "unit_wh": 0.11, "lit": lit, "interval": interval, "step_h": [0.5] * n_steps, "marks": marks},
        "gains": b64encode(bytes(rng.randrange(255) for _ in range(n * len(lit)))).decode(),
        "demand_w": [round(rng.uniform(0.0, 14.0), 3) for _ in range(n_steps)],
        "cold": b64encode(bytes(rng.randrange(255) for _ in range(rows * knots))).decode(),
        **{"cold_low": 0.8, "cold_step": 0.0007, "cold_every": every, "full_wh": 70.0, "held_wh": 7.0},
        **{"charge_efficiency": 0.97, "discharge_efficiency": rng.choice([1.0, 0.95])},
        **{"limit_w": rng.choice([None, 12.0]), "taper_h": rng.choice([None, 2.0])},
        **{"peukert": rng.choice([1.0, 1.2]), "rated_w": 4.0, "needed": 7, "clock_h": 0.0},
        "ways": [{"more_w": [-rng.uniform(0.0, 3.0) for _ in range(n_steps)]} for _ in range(2)],
    }


def test_its_counts_are_those_of_plain_loops_over_the_same_bytes(opened: Open) -> None:
    page = opened(page_of("plans/meadow-day")).page
    for seed in range(12):
        data, rng = made_up(seed), random.Random(-seed)
        judge = PageJudge(data)
        for chosen in ([], [0], [0, 1]):
            step, charge_wh = rng.randrange(judge.n_steps), rng.uniform(10.0, 70.0)
            demand_w = judge.demand_w(chosen)
            survived, needs = page.evaluate(
                "([data, chosen, step, charge]) => { const one = new Outlook(data), demand = one.demand(chosen);"
                "return [one.judge.fares(demand, step, charge).survived, Array.from(one.judge.needs(demand, step))]; }",
                [data, chosen, step, charge_wh],
            )
            assert survived == judge.survived(demand_w, step, charge_wh)
            wanted = [judge.needed_wh(k, demand_w, step) for k in range(data["n"])]
            np.testing.assert_allclose([np.inf if one is None else one for one in needs], wanted, atol=2e-3)


def test_the_bytes_are_the_same_twice_and_the_page_is_small() -> None:
    name = "operations/canoe-lakes"
    markup = page_of(name)
    page_of.cache_clear()
    carried_of.cache_clear()
    assert page_of(name) == markup
    assert len(markup) < 300_000


def test_loads_switched_on_the_page_are_those_that_the_planner_switches(opened: Open) -> None:
    # each way adds to the demand what the planner's own demand has more
    data = page_data(carried_of("operations/coastal-checkpoint"))
    judge = PageJudge(data)
    for n, way in enumerate(data["ways"]):  # type: ignore[arg-type, var-annotated]
        saved_wh = sum(
            (a - b) * h
            for a, b, h in zip(judge.demand_w([]), judge.demand_w([n]), data["step_h"], strict=True)  # type: ignore[arg-type]
        )
        assert saved_wh > 0.0, way["text"]
    page = opened(page_of("operations/coastal-checkpoint")).page
    found = page.evaluate(f"{OUTLOOK}.demand([0])")
    np.testing.assert_allclose(found, judge.demand_w([0]))
