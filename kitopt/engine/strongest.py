"""The strongest counts when none pass: those that meet the largest share λ of the need.

The margin of a plant is concave and, but for the need, proportional to the plant; so the learned
rows ``v @ plant >= 1`` become ``v @ plant >= λ`` unchanged, and λ is maximised. The judge then
measures the λ that the proposal really meets, and cuts there.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.engine.by_sides import BySides
from kitopt.engine.case import Case
from kitopt.engine.halving import last_that_holds
from kitopt.engine.joint import cuts, simulate
from kitopt.engine.learned import CaseMemory
from kitopt.engine.plan import Plan
from kitopt.engine.solver import solve_within
from kitopt.engine.write import add_learned

Floats = NDArray[np.float64]

_CLOSE = 1e-4
_CLOSE_WH = 1e-3
_PARTS = 2**16
"""A share that is met is told to one of these: 1.5e-5."""
_FAR_WH = 1e6
_MOST_ROUNDS = 200


@dataclass(frozen=True, eq=False)
class Strongest:
    """Counts that meet every rule and the largest share of the need.

    Attributes
    ----------
    counts : ndarray or None
        None when no counts obey the rules at all.
    share : float
        Share of the need that they meet with the confidence asked for. [0–1]
    most : float
        No counts meet more. [0–1]
    """

    counts: Floats | None
    share: float
    most: float = 1.0


def scaled(case: Case, share: float) -> Case:
    """A case with that share of its loads and fixed reserve."""
    parts = tuple(scaled(part, share) for part in case.parts)
    return replace(case, conditions=case.conditions.scaled(share), parts=parts)


def share_met(case: Case, counts: Floats) -> float:
    """Largest share of the need at which the counts pass a case; 1 at most, below 0 never. [0–1]"""
    plant = case.plant(counts)

    def passes(share: float) -> bool:
        verdict = simulate(scaled(case, share).conditions, plant)
        return int(np.count_nonzero(verdict.survives)) >= case.n_needed

    if passes(1.0):
        return 1.0
    return last_that_holds(lambda part: passes(part / _PARTS), 0, _PARTS) / _PARTS


def strongest(
    plan: Plan,
    memories: Sequence[CaseMemory],
    *,
    budget: Budget = UNLIMITED,
    least_share: float = 0.0,
    is_any_enough: bool = False,
) -> Strongest:
    """Find the strongest counts of a plan of which none pass.

    Parameters
    ----------
    memories : sequence of CaseMemory
        What the failed choice learned; added to.
    budget : Budget
        When the time is up the best so far is returned.
    least_share : float
        Only counts that meet at least this are of interest. [0–1]
    is_any_enough : bool
        Whether only this is asked: do any counts meet the whole need?
    """
    share = 1.0 if is_any_enough else least_share
    if plan.forbids_all or (share > 0.0 and _is_hopeless(plan, memories, share, budget)):
        return Strongest(None, 0.0, math.nextafter(share, 0.0))
    best, best_share, most = None, -1.0, 1.0
    boxes = [m.upper_of_coordinates(plan.upper) for m in memories]
    for _ in range(_MOST_ROUNDS):
        if budget.is_over:
            break
        program = plan.program(np.zeros(plan.n_columns))
        # what is hardly stronger than the counts in hand is of no interest, and so never looked for
        least = max(least_share, best_share + _CLOSE)
        if is_any_enough and best_share < 1.0:
            least = min(least, 1.0)
        if least > 1.0:
            break
        share_column = program.add_column(least, 1.0, integer=False, cost=-1.0)
        for memory, box in zip(memories, boxes, strict=True):
            add_learned(program, memory, box, share_column)
        # with counts in hand a wrong verdict only makes of these the strongest, which they may not be by a little
        is_confirmed = is_any_enough or (best is None and least_share <= 0.0)
        answer = solve_within(budget, program, absolute_gap=_CLOSE / 2, confirm=is_confirmed)
        is_none = answer.status == "infeasible"
        most = min(most, math.nextafter(least, 0.0) if is_none else -answer.bound + _CLOSE / 2)
        if answer.values is None or (is_any_enough and most < 1.0):
            break
        counts = plan.whole(answer.values[: plan.n_columns])
        hoped = float(answer.values[share_column])
        asked = [m for m in memories if m.case.is_asked(counts)]
        met = min((share_met(m.case, counts) for m in asked), default=1.0)
        if met > best_share:
            best, best_share = counts, met
        if hoped <= best_share + _CLOSE and not is_any_enough:
            break
        for memory in asked:
            _learn_at(memory, counts, min(1.0, (met + hoped) / 2 if met + _CLOSE < hoped else hoped))
    if best_share <= 0.0 and least_share <= 0.0 and not is_any_enough:
        # the reserve and the cold alone ask for more than any kit starts with: no share of the need can be met
        nearest = _least_short(plan, memories, budget)
        best = best if nearest is None else nearest
    return Strongest(best, max(0.0, best_share), most)


def _is_hopeless(plan: Plan, memories: Sequence[CaseMemory], share: float, budget: Budget) -> bool:
    """Whether the sides that kits can have tell in time that none meets that share of the need."""
    known = memories if share == 1.0 else [CaseMemory(scaled(memory.case, share)) for memory in memories]
    try:
        return BySides(plan, budget, known, -math.inf).is_hopeless(plan.objectives[0])
    except OutOfTime:
        return False


def _least_short(plan: Plan, memories: Sequence[CaseMemory], budget: Budget) -> Floats | None:
    """Counts that obey the rules and whose shortfall is small: the margin of the deciding windows is maximised."""
    rows: list[tuple[list[tuple[int, float]], float]] = []
    best, best_margin_wh = None, -math.inf
    for _ in range(_MOST_ROUNDS):
        program = plan.program(np.zeros(plan.n_columns))
        margin = program.add_column(-_FAR_WH, _FAR_WH, integer=False, cost=-1.0)
        for terms, constant in rows:
            program.add_row([*terms, (margin, -1.0)], lower=-constant)
        answer = None if budget.is_over else solve_within(budget, program, absolute_gap=_CLOSE_WH)
        if answer is None or answer.values is None:
            break
        counts = plan.whole(answer.values[: plan.n_columns])
        found_wh = math.inf
        for memory in memories:
            if not memory.case.is_asked(counts):
                continue
            verdict = memory.judge(counts)
            k = np.argsort(-verdict.margin_wh, kind="stable")[memory.case.n_needed - 1]
            found_wh = min(found_wh, float(verdict.margin_wh[k]))
            plant, step = memory.case.plant(counts), verdict.lowest_step[[k]]
            cut = cuts(memory.case.conditions, plant, step, np.array([k]))
            rows.append((memory.case.terms(cut.slope[0]), float(cut.constant[0])))
        if found_wh > best_margin_wh:
            best, best_margin_wh = counts, found_wh
        if -answer.objective <= best_margin_wh + _CLOSE_WH:
            break
    return best


def _learn_at(memory: CaseMemory, counts: Floats, share: float) -> None:
    """Learn from the windows that fail at a share of the need; the rows read the same for the whole need."""
    part = CaseMemory(scaled(memory.case, share))
    verdict = part.judge(counts)
    if part.passes(verdict):
        return
    if not part.learn(counts, verdict):
        part.learn_windows(counts, verdict)
    # v was divided by share × need
    memory.free_rows.extend(replace(r, v=r.v * share) for r in part.free_rows)
    memory.window_rows.extend(replace(r, v=r.v * share) for r in part.window_rows)
