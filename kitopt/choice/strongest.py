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

_STRONG = ("batteries", "controllers", "panels")
"""What makes a kit strong."""
_FEW_COLUMNS = 200
"""Of no more columns the strongest of all is found soon enough."""
_NOTHING_WH = 0.5
"""What is less is no gain. [Wh]"""


@dataclass(frozen=True, eq=False)
class Before:
    """The strongest kit that there was before something was changed.

    Attributes
    ----------
    more : mapping of item id to int, or None
        Where there is only more of some items, how many of each there were: any kit that is stronger holds more. None
        where what is asked is another question: then the strongest of its batteries, controllers and panels will do.
    """

    shortfall: Shortfall
    more: Mapping[str, int] | None

    @cached_property
    def share(self) -> float:
        """The share of the need that it meets. [0–1]"""
        made = self.shortfall.made
        asked = [] if made is None else [case for case in made.cases if case.is_asked(made.counts)]
        return min((share_met(case, made.counts) for case in asked if made is not None), default=0.0)

    def rows(self, solved: Solved) -> tuple[Row, ...]:
        """What the kits obey that are looked at."""
        if self.more is None:
            packed = {one.id: one.count for one in self.shortfall.packed}
            inventory = solved.model.inventory
            some = [(one.id, packed.get(one.id, 0)) for kind in _STRONG for one in getattr(inventory, kind)]
            return tuple(
                Row(terms, upper=float(n), rule="asked", text=f"no more {item_id} than before")
                for item_id, n in some
                if (terms := solved.uses(item_id))
            )
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
        Only what may be stronger than that is looked for, or what is made of it.
    """
    best: tuple[Solved, Floats] | None = None
    best_share = 0.0 if before is None or before.more is None else before.share
    for one in tried:
        known = one.outcome.memories
        plan = one.plan.with_cases(tuple(memory.case for memory in known))
        if before is not None and (before.more is None or before.share > 0.0):
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
    if before is not None and before.more is None and all(one.plan.n_columns <= _FEW_COLUMNS for one in tried):
        before = None
    best = strongest_over(tried, budget, before)
    if before is not None and before.more is None:
        rough = None if best is None else replace(_shortfall(choice, *best), is_strongest=False)
        if rough is not None and rough.shortfall_wh < before.shortfall.shortfall_wh - _NOTHING_WH:
            return rough
        # that nothing is gained is only told of the strongest
        return strongest_of(choice, tried, budget)
    if best is None and before is not None and before.share > 0.0:
        return before.shortfall
    if best is None:
        conditions = tried[0].plan.cases[0].conditions if tried else None
        need_wh = conditions.load_wh if conditions else 0.0
        return Shortfall((), (), need_wh, None, in_the_way=shortages(tried))
    return _shortfall(choice, *best)


def _shortfall(choice: Choice, solved: Solved, counts: Floats) -> Shortfall:
    made = Made(solved.model, choice.sky, counts)
    margin_wh, step = min(margin_at(case, counts) for case in made.cases if case.is_asked(counts))
    return Shortfall(
        packed_of(made.model, counts),
        joins_of(made.model, counts),
        max(0.0, -margin_wh),
        step_end(choice.operation, step),
        made,
    )
