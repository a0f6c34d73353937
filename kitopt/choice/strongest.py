"""The strongest kit where none works: what meets most of the need, and by how much it falls short."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from functools import cached_property

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.found import Solved
from kitopt.choice.in_the_way import shortages
from kitopt.choice.measure import joins_of, margin_at, packed_of, step_end
from kitopt.choice.terms import Choice, Floats, Made, Shortfall
from kitopt.engine import Row
from kitopt.engine.strongest import share_met, strongest


@dataclass(frozen=True, eq=False)
class Before:
    """The strongest kit that there was before there was more of some items: any that is stronger holds them.

    Attributes
    ----------
    more : mapping of item id to int
        How many of each there were.
    """

    shortfall: Shortfall
    more: Mapping[str, int]

    @cached_property
    def share(self) -> float:
        """The share of the need that it meets. [0–1]"""
        made = self.shortfall.made
        asked = [] if made is None else [case for case in made.cases if case.is_asked(made.counts)]
        return min((share_met(case, made.counts) for case in asked if made is not None), default=0.0)

    def rows(self, solved: Solved) -> tuple[Row, ...]:
        """What a kit obeys that may be stronger."""
        if len(self.more) > 1 and any(self.more.values()):
            return ()
        return tuple(solved.program.with_any_of(self.more, 1 + max(self.more.values(), default=-1)))


def strongest_over(
    tried: Sequence[Solved], budget: Budget = UNLIMITED, before: Before | None = None
) -> tuple[Solved, Floats] | None:
    """The counts that meet the largest share of the need, over classes of which none has a kit that works.

    Parameters
    ----------
    before : Before, optional
        What is no stronger than that is not looked for.
    """
    best: tuple[Solved, Floats] | None = None
    best_share = 0.0 if before is None else before.share
    for one in tried:
        known = one.outcome.memories
        plan = one.plan.with_cases(tuple(memory.case for memory in known))
        if best_share > 0.0 and before is not None:
            plan = replace(plan, rows=(*plan.rows, *before.rows(one)))
        found = strongest(plan, known, budget=budget, least_share=best_share)
        is_first = best is None and best_share <= 0.0
        if found.counts is not None and (is_first or found.share > best_share + 1e-9):
            best, best_share = (one, found.counts), found.share
    return best


def strongest_of(
    choice: Choice, tried: Sequence[Solved], budget: Budget = UNLIMITED, before: Before | None = None
) -> Shortfall:
    """The strongest kit of an operation; that of before where none is stronger."""
    best = strongest_over(tried, budget, before)
    if best is None and before is not None and before.share > 0.0:
        return before.shortfall
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
