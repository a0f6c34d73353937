"""How long counts last: the first step by which more windows have failed than may."""

from __future__ import annotations

import math

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import Case
from kitopt.engine.joint import simulate
from kitopt.engine.judge import TOLERANCE_WH


def lasts_h(case: Case, counts: NDArray[np.float64]) -> float:
    """Hours until the step in which counts fail a case, in whole steps; infinite where they pass it. [h]"""
    verdict = simulate(case.conditions, case.plant(counts))
    failed = np.maximum.accumulate(verdict.free_wh < -TOLERANCE_WH, axis=1)
    lost = np.flatnonzero(np.count_nonzero(failed, axis=0) > case.n_allowed)
    ends_h = np.concatenate([[0.0], np.cumsum(case.conditions.step_h)])
    return float(ends_h[lost[0]]) if len(lost) else math.inf
