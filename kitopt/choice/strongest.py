"""The strongest kit where none works: what meets most of the need, and by how much it falls short."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Mapping, Sequence
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

    def holding_more(self, solved: Solved) -> Iterable[Row]:
        """What kits obey that may be stronger, where there is only more."""
        assert self.more is not None
        if len(self.more) > 1 and any(self.more.values()):
            return ()
        return solved.program.with_any_of(self.more, 1 + max(self.more.values()))

    def of_its_pieces(self, solved: Solved) -> Iterable[Row]:
        """What kits obey that are made of no more batteries, controllers and panels."""
        packed = {one.id: one.count for one in self.shortfall.packed}
        some = [one.id for kind in _STRONG for one in getattr(solved.model.inventory, kind)]
        return [row for item_id in some for row in solved.at_most(item_id, packed.get(item_id, 0))]


def strongest_over(
    tried: Sequence[Solved],
    budget: Budget = UNLIMITED,
    *,
    least_share: float = 0.0,
    rows: Callable[[Solved], Iterable[Row]] = lambda solved: (),
) -> tuple[Solved, Floats] | None:
    """The counts that meet the largest share of the need, over classes of which none has a kit that works.

    Parameters
    ----------
    least_share : float
        What meets no more is of no interest, where that is above zero. [0–1]
    rows : callable
        What counts of a class obey besides.
    """
    best: tuple[Solved, Floats] | None = None
    best_share = least_share
    for one in tried:
        known = one.outcome.memories
        plan = one.plan.with_cases(tuple(memory.case for memory in known))
        plan = replace(plan, rows=(*plan.rows, *rows(one)))
        found = strongest(plan, known, budget=budget, least_share=best_share)
        is_first = best is None and best_share <= 0.0
        if found.counts is not None and (is_first or found.share > best_share + 1e-9):
            best, best_share = (one, found.counts), found.share
    return best


def strongest_of(
    choice: Choice, tried: Sequence[Solved], budget: Budget = UNLIMITED, before: Before | None = None
) -> Shortfall:
    """The strongest kit of an operation; that of before where none is stronger."""
    if before is not None and before.more is not None:
        stronger = strongest_over(tried, budget, least_share=before.share, rows=before.holding_more)
        if stronger is None:
            return before.shortfall
        with_more = _shortfall(choice, *stronger)
        # where no kit meets any share of the need, one that holds more need not be the stronger
        is_weaker = before.share <= 0.0 and with_more.shortfall_wh >= before.shortfall.shortfall_wh
        return before.shortfall if is_weaker else with_more
    if before is not None and before.more is None and any(one.plan.n_columns > _FEW_COLUMNS for one in tried):
        rough = strongest_over(tried, budget, rows=before.of_its_pieces)
        short = None if rough is None else replace(_shortfall(choice, *rough), is_strongest=False)
        # that nothing is gained is only told of the strongest
        if short is not None and short.shortfall_wh < before.shortfall.shortfall_wh - _NOTHING_WH:
            return short
    best = strongest_over(tried, budget)
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
