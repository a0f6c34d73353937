"""Rows that need no binaries because enough windows agree on them.

Along any direction, window j forces ``direction @ plant`` up to some h_j: the least value over
all counts that respect every known row and survive j. At most ``a`` windows may be given up, so
the (a+1)-th largest h_j holds for every kit that passes. Each h_j is a linear program tightened
by the window's own cuts; stopping early only weakens the row.
"""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.judge import TOLERANCE_WH, cuts, simulate
from kitopt.engine.learned import CaseMemory
from kitopt.engine.plan import Case
from kitopt.engine.plant import Conditions
from kitopt.engine.solver import Relaxation

Floats = NDArray[np.float64]
Terms = list[tuple[int, float]]

_SPARE = 30
"""Candidate windows beyond a+1: a window outside could only raise the row."""
_MOST_PROGRAMS = 500
_CLOSE_SHARE = 0.002
"""A window whose shortfall is this small a share of its need is as good as survived."""
_SLACK = 1e-7


class WindowFloor:
    """The cuts of single windows, found on demand and kept."""

    def __init__(self, case: Case) -> None:
        self.case = case
        self._conditions: dict[int, Conditions] = {}
        self._rows: dict[int, list[Terms]] = {}

    def known(self, window: int) -> list[Terms]:
        """Rows ``terms >= 1`` in counts that hold wherever the window is survived."""
        return self._rows.setdefault(window, [])

    def cut(self, window: int, counts: Floats) -> Terms | None:
        """One more such row, broken by these counts; None when the window is as good as survived."""
        alone = self._conditions.get(window)
        if alone is None:
            alone = self._conditions[window] = self.case.conditions.window(window)
        plant = self.case.plant(counts)
        verdict = simulate(alone, plant)
        if verdict.survives[0]:
            return None
        found = cuts(alone, plant, verdict.lowest_step, np.array([0]))
        need = -float(found.constant[0]) - TOLERANCE_WH
        if need <= 1e-3 or -float(verdict.margin_wh[0]) < _CLOSE_SHARE * need:
            return None
        terms = self.case.terms(found.slope[0] / need)
        self.known(window).append(terms)
        return terms


def quantile_bound(
    relaxation: Relaxation, floors: WindowFloor, direction: Terms, candidates: list[int], allowed: int
) -> float:
    """The (allowed+1)-th largest h_j over some candidate windows, less a rounding.

    Parameters
    ----------
    relaxation : Relaxation
        Over the counts first; its rows must hold for every kit that passes.
    direction : list of (column, coefficient)
    candidates : list of int
        More than `allowed` windows; the neediest first.
    """
    relaxation.aim(direction)
    value = dict.fromkeys(candidates, -np.inf)
    is_open = set(candidates)
    programs = 0
    for window in candidates:
        value[window] = _refine(relaxation, floors, window, is_open, steps=1)
        programs += 1
    while programs < _MOST_PROGRAMS:
        ranked = sorted(candidates, key=lambda k: -value[k])
        # only windows at or below the row's place can lift it
        waiting = [k for k in ranked[allowed:] if k in is_open]
        if not waiting:
            break
        value[waiting[0]] = max(value[waiting[0]], _refine(relaxation, floors, waiting[0], is_open, steps=3))
        programs += 3
    return float(sorted(value.values(), reverse=True)[allowed]) - _SLACK


def _refine(relaxation: Relaxation, floors: WindowFloor, window: int, is_open: set[int], *, steps: int) -> float:
    relaxation.forget_rows()
    for terms in floors.known(window):
        relaxation.add_row(terms, 1.0)
    best = -np.inf
    for _ in range(steps):
        value, point = relaxation.least()
        best = max(best, value)
        new = floors.cut(window, point) if point is not None else None
        if new is None:
            is_open.discard(window)
            break
        relaxation.add_row(new, 1.0)
    relaxation.forget_rows()
    return best


def quantile_row(memory: CaseMemory, floors: WindowFloor, relaxation: Relaxation, counts: Floats) -> bool:
    """Look for a row that cuts off counts, along the mean cut of the windows that decide there.

    Returns
    -------
    bool
        Whether one was added to the memory.
    """
    found = memory.cuts_at(counts)
    allowed = memory.case.n_allowed
    if found is None or len(found.windows) <= allowed:
        return False
    reached = found.v @ found.plant
    order = np.argsort(reached, kind="stable")
    deciding = order[max(0, allowed - 8) : allowed + 8]
    v = np.mean(found.v[deciding], axis=0)
    direction = memory.case.terms(v)
    candidates = [int(found.windows[i]) for i in order[: allowed + 1 + _SPARE]]
    least = quantile_bound(relaxation, floors, direction, candidates, allowed)
    if not np.isfinite(least) or v @ found.plant > least - 1e-5:
        return False
    memory.add_free(v, least, tuple(candidates[: allowed + 1]), is_pure=False)
    return True
