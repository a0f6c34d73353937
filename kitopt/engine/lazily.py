"""Choosing with the hardest cases first: a case that nobody fails need not be in the plan.

Leaving cases out allows more, so what is best without them and passes them all is best.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget
from kitopt.engine import Outcome, Plan, choose
from kitopt.engine.learned import CaseMemory

Floats = NDArray[np.float64]

_ADDED_AT_ONCE = 4


def choose_lazily(
    plan: Plan,
    first: Sequence[int],
    *,
    budget: Budget = UNLIMITED,
    cutoff: float = math.inf,
    memories: dict[str, CaseMemory] | None = None,
    least: float = -math.inf,
    enough: float = -math.inf,
    may_put_off: bool = False,
    in_hand: Floats | None = None,
) -> Outcome:
    """Choose as ``choose`` does, some cases first and others as they are failed.

    Parameters
    ----------
    first : sequence of int
        The cases to begin with, by number.
    memories : dict of CaseMemory, optional
        By the name of the case; what earlier plans that allow no less have learned. Added to.
    least, enough, may_put_off, in_hand
        As for ``choose``.
    """
    known = {} if memories is None else memories
    active = sorted(set(first))
    while True:
        tried = [case for trial in plan.trials for case in trial.cases[-1:]]
        here = [known.setdefault(case.name, CaseMemory(case)) for case in (*(plan.cases[i] for i in active), *tried)]
        part = replace(plan, cases=tuple(plan.cases[i] for i in active))
        outcome = choose(
            part,
            budget=budget,
            cutoff=cutoff,
            memories=here,
            least=least,
            enough=enough,
            may_put_off=may_put_off,
            in_hand=in_hand,
        )
        known |= {memory.case.name: memory for memory in outcome.memories}
        if outcome.counts is None:
            return outcome
        failed: list[tuple[float, int]] = []
        for i, case in enumerate(plan.cases):
            if i not in active and case.is_asked(outcome.counts):
                judge = CaseMemory(case)
                verdict = judge.judge(outcome.counts)
                if not judge.passes(verdict):
                    failed.append((float(np.sort(verdict.margin_wh)[::-1][case.n_needed - 1]), i))
        if not failed:
            return outcome
        if outcome.status == "time-limit" and outcome.objective > enough:
            return outcome.without_counts()
        least = max(least, outcome.bound)
        active = sorted({*active, *(i for _, i in sorted(failed)[:_ADDED_AT_ONCE])})
