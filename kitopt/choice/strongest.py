"""The strongest kit where none works: what meets most of the need, and by how much it falls short."""

from __future__ import annotations

from collections.abc import Sequence

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.found import Solved
from kitopt.choice.in_the_way import shortages
from kitopt.choice.measure import joins_of, margin_at, packed_of, step_end
from kitopt.choice.terms import Choice, Floats, Made, Shortfall
from kitopt.engine.strongest import strongest


def strongest_over(tried: Sequence[Solved], budget: Budget = UNLIMITED) -> tuple[Solved, Floats] | None:
    """The counts that meet the largest share of the need, over classes of which none has a kit that works."""
    best: tuple[Solved, Floats] | None = None
    best_share = 0.0
    for one in tried:
        known = one.outcome.memories
        plan = one.plan.with_cases(tuple(memory.case for memory in known))
        found = strongest(plan, known, budget=budget, least_share=best_share)
        if found.counts is not None and (best is None or found.share > best_share + 1e-9):
            best, best_share = (one, found.counts), found.share
    return best


def strongest_of(choice: Choice, tried: Sequence[Solved], budget: Budget = UNLIMITED) -> Shortfall:
    """The strongest kit of an operation."""
    best = strongest_over(tried, budget)
    if best is None:
        conditions = tried[0].plan.cases[0].conditions if tried else None
        need_wh = conditions.load_wh if conditions else 0.0
        return Shortfall((), (), need_wh, None, in_the_way=shortages(tried))
    solved, counts = best
    made = Made(solved.model, choice.sky, counts)
    margin_wh, step = min(margin_at(case, counts) for case in made.cases if case.is_asked(counts))
    return Shortfall(
        packed_of(made.model, counts),
        joins_of(made.model, counts),
        max(0.0, -margin_wh),
        step_end(choice.operation, step),
        made,
    )
