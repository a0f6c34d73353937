"""What the step must not decide, and what another load must not improve.

The reference is arithmetic, and the laws of the recursion: a split of a steady step changes nothing, and more drawn
is never more left.
"""

from __future__ import annotations

import random
from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle.instances import battery, controller, load, numbered, operation, panel, sky

from kitopt.choice import build_model, pack
from kitopt.engine.judge import simulate
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.model.case import case_under
from kitopt.operation.terms import LoadUse, Operation, Span
from kitopt.sky.windows import Sky


def steady(step_min: int, hours: float, wm2: float) -> Sky:
    """The same sun throughout, on a grid of that step."""
    return sky([[wm2] * round(hours * 60 / step_min)], step_h=step_min / 60)


def minutes_of_21_a(minutes: int, step_min: int, capacity_ah: float) -> str:
    """Whether a battery carries 21 A for some minutes, and nothing else, under a sun of 3 A."""
    use = LoadUse("radio", spans=(Span(9 * 60 + 7, 9 * 60 + 7 + minutes),), quiet="off")
    outing = replace(operation((use,), 2.0, step_h=step_min / 60, reserve_share=0.0), batteries="in turn")
    inventory = Inventory(
        "invented",
        (panel("p", 54.0, imp_a=3.0, output_factor=1.0),),
        (battery("b", capacity_ah, depth_share=1.0, max_discharge_a=30.0),),
        (controller("c", "pwm", 5.0),),
        loads=(load("radio", full_a=21.0),),
    )
    return pack(outing, inventory, steady(step_min, 2.0, 1000.0)).status


@pytest.mark.parametrize("step_min", [5, 10, 15, 30, 60])
def test_a_load_of_eight_minutes_is_treated_alike_at_every_step(step_min: int) -> None:
    # 21 A for 8 minutes are 2.8 Ah from a full battery, and 2.4 Ah with 3 A of sun beside them: below that no step
    # may let it pass, and above 2.8 Ah none may refuse it, since the sun may come late. Averaged over half an hour,
    # 21 · 8 / 30 = 5.6 A less 3 A of sun would have asked for 1.3 Ah
    assert minutes_of_21_a(8, step_min, 2.35) == "no-kit"
    assert minutes_of_21_a(8, step_min, 2.81) == "found"


def margins(outing: Operation, inventory: Inventory, weather: Sky, seed: int) -> np.ndarray:
    """Margins of one kit, the same for the same seed whatever the loads."""
    bus = bus_classes(inventory.batteries)[0]
    model = build_model(outing, inventory, bus, weather)
    rng = random.Random(seed)
    counts = np.zeros(len(model.columns))
    for j in (*model.battery_columns, *model.unit_columns, *model.join_columns):
        counts[j] = rng.randint(0, 2)
    case = case_under(model, weather)
    return simulate(case.conditions, case.matrix @ counts).margin_wh


some_watts = st.sampled_from([0.0, 0.5, 5.0, 40.0])
spans = st.tuples(st.integers(0, 1439), st.integers(0, 1439)).filter(lambda pair: pair[0] != pair[1])


@settings(max_examples=60, deadline=None)
@given(number=st.integers(0, 10**6), seed=st.integers(0, 1000), span=spans, watts=some_watts)
def test_adding_a_load_never_raises_a_margin(number: int, seed: int, span: tuple[int, int], watts: float) -> None:
    made = numbered(number)
    with_fan = replace(made.inventory, loads=(*made.inventory.loads, load("fan", full_w=watts)))
    fan = LoadUse("fan", spans=(Span(*span),), quiet="off")
    more = replace(made.operation, loads=(*made.operation.loads, fan))
    before = margins(made.operation, made.inventory, made.sky, seed)
    assert np.all(margins(more, with_fan, made.sky, seed) <= before + 1e-9)


@settings(max_examples=40, deadline=None)
@given(number=st.integers(0, 10**6), seed=st.integers(0, 1000), span=spans)
def test_where_a_load_that_draws_nothing_begins_does_not_matter(number: int, seed: int, span: tuple[int, int]) -> None:
    # but for lead-acid, whose last part of charging is reckoned from the start of each step
    made = numbered(number)
    if bus_classes(made.inventory.batteries)[0].taper_h is not None:
        return
    with_fan = replace(made.inventory, loads=(*made.inventory.loads, load("fan", full_w=0.0)))
    fan = LoadUse("fan", spans=(Span(*span),), quiet="off")
    more = replace(made.operation, loads=(*made.operation.loads, fan))
    before = margins(made.operation, made.inventory, made.sky, seed)
    assert margins(more, with_fan, made.sky, seed) == pytest.approx(before, abs=1e-8)
