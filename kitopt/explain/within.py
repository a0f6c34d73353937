"""What it costs, and brings, to take an owned item along that the best kit does without."""

from __future__ import annotations

from collections.abc import Callable, Iterable
from dataclasses import dataclass
from typing import Literal

from kitopt.ask import Asker, at_least
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, with_fresh
from kitopt.choice.kit import in_full
from kitopt.explain.conflict import Fact, conflict_of
from kitopt.explain.reasons import Reason, not_packed
from kitopt.explain.without import Pieces, difference
from kitopt.sky.windows import Sky


@dataclass(frozen=True)
class Within:
    """The best kit with one piece of an item that was left at home.

    Attributes
    ----------
    reason : Reason
        Why it is not packed.
    status : {"found", "no-kit", "time-limit", "blocked"}
        "blocked": a rule keeps it out, whatever it would cost.
    more : int or None
        How much worse by what counts first, in grams, cents or pieces; 0 is a tie.
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    facts : tuple of Fact
        Where no kit has it for want of something that fits: a minimal chain.
    choice : Choice or None
        The kit with it, as fully measured as the chosen one.
    """

    id: str
    reason: Reason
    status: Literal["found", "no-kit", "time-limit", "blocked"]
    more: int | None = None
    mass_g_more: int | None = None
    price_cents_more: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()
    facts: tuple[Fact, ...] = ()
    choice: Choice | None = None


def within(
    choice: Choice,
    item_id: str,
    *,
    fresh: Callable[[], Iterable[Sky]] | None = None,
    budget: Budget = UNLIMITED,
) -> Within:
    """Choose again with one piece of an item packed.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best, without the item.
    fresh : callable, optional
        Gives skies that no choice has seen.
    """
    reason = not_packed(choice)[item_id]
    after = Asker(choice, budget=budget).ask(at_least(item_id, 1))
    if after.status == "time-limit":
        return Within(item_id, reason, "time-limit")
    if after.status == "no-kit":
        # the class of the kit, where it has the item at all
        facts = conflict_of(after.solved[0]) if after.solved else ()
        return Within(item_id, reason, "no-kit" if after.solved and not facts else "blocked", facts=facts)
    other = in_full(after)
    return Within(
        item_id,
        reason,
        "found",
        **difference(choice, after),
        choice=other if fresh is None else with_fresh(other, fresh),
    )
