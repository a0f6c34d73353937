"""Batteries of 10 Wh and things that draw 1 W, without sun: a case small enough to be worked out by hand."""

from __future__ import annotations

from dataclasses import replace
from fractions import Fraction

import numpy as np

from kitopt.engine.case import Case
from kitopt.engine.learned import CaseMemory
from kitopt.engine.matrix import Matrix
from kitopt.engine.plant import Conditions, Layout

LAYOUT = Layout(0, 0, 1)
"""Capacity, missing charge, charge limit, one demand, 20-hour power."""


def conditions(n_windows: int = 1, n_steps: int = 1) -> Conditions:
    """Steps of an hour in which nothing is drawn but one demand, in the dark and in the warm, and all may be done."""
    return Conditions(
        layout=LAYOUT,
        shapes=(),
        demand_shapes=np.ones((1, n_steps)),
        load_w=np.zeros(n_steps),
        step_h=np.ones(n_steps),
        capacity_share=np.ones((n_windows, n_steps)),
        may_charge=np.ones((1, n_steps), dtype=bool),
        charge_efficiency=1.0,
        discharge_efficiency=1.0,
        reserve_share=0.0,
        reserve_wh=0.0,
        has_charge_limit=False,
        n_windows=n_windows,
        first_of_cell=np.arange(n_steps),
        may_discharge=np.ones((1, n_steps), dtype=bool),
    )


def memory(n_windows: int, n_allowed: int, hours: float = 20.0, load_w: float = 0.0) -> CaseMemory:
    """Batteries of 10 Wh and things that draw 1 W in the dark; the colder a window, the less of a battery it leaves."""
    left = 1.0 - 0.25 * np.arange(n_windows)[:, None] / n_windows
    met = replace(conditions(n_windows), load_w=np.array([load_w]), step_h=np.array([hours]), capacity_share=left)
    matrix = Matrix.of((LAYOUT.size, 2), {(LAYOUT.capacity, 0): 10.0, (LAYOUT.demand(0), 1): 1.0})
    return CaseMemory(Case("by hand", met, 1 - Fraction(n_allowed, n_windows), matrix))
