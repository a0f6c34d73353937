"""What happens without one piece of a packed item: the next best kit, or how far the strongest falls short."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypedDict

from kitopt.ask import MOST_STEPS, Asker, at_most
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Packed
from kitopt.choice.kit import in_full
from kitopt.inventory.items import Extra, Load

_MOST_STEPS = 2_000
"""What all reasons of a kit may take together; one that is asked for alone may take more."""
_STEPS_TO_STRONGEST = 60
"""Of them how far the strongest kit without an item falls short."""

Pieces = tuple[tuple[str, int], ...]
"""Ids and how many of each."""


@dataclass(frozen=True)
class Without:
    """The best kit with one piece less of an item, against the chosen one.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
        "time-limit": not proved, the time or the steps of work were used up; what is told then is of a kit that does
        it, and a better one may.
    count : int
        How many of the item are packed.
    more : int or None
        How much worse by what counts first, in grams, cents or pieces; 0 is a tie.
    mass_g_more, price_cents_more : int or None
        How much heavier [g] and dearer [1/100] it is; negative where it is lighter or cheaper.
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    shortfall_wh, time : float or None, datetime or None
        Of the strongest kit without the piece, where none works; None where that was not found, or not looked for, as
        of several circuits. [Wh]
    """

    id: str
    count: int
    status: Literal["found", "no-kit", "time-limit"]
    more: int | None = None
    mass_g_more: int | None = None
    price_cents_more: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()
    shortfall_wh: float | None = None
    time: datetime | None = None
    fits: bool = True
    """False where without the piece nothing fits together, whatever the weather."""

    @property
    def is_tie(self) -> bool:
        """Whether another kit without the piece is as good by what counts first."""
        return self.more == 0


def without_each(choice: Choice, only: str | None = None, *, budget: Budget = UNLIMITED) -> tuple[Without, ...]:
    """For each item that was chosen, not given: what happens with one piece of it less.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best; of another nothing can be said, and nothing is.
    only : str, optional
        The only item that is asked about.
    """
    if not choice.packed or not choice.proof.proved:
        return ()
    budget = budget if only is not None else budget.steps(_MOST_STEPS)
    asker = Asker(choice, budget=budget)
    pieces = [one for one in chosen_pieces(choice) if only in (None, one.id)]
    rules = [at_most(one.id, one.count - 1) for one in pieces]
    answers = asker.ask_each(rules, lambda i: budget.say(f"without {pieces[i].id}"))
    found = []
    for one, after in zip(pieces, answers, strict=True):
        budget.say(f"without {one.id}")
        if after.status == "no-kit" and not budget.is_over:
            part = budget.steps(_STEPS_TO_STRONGEST if only is None else MOST_STEPS)
            whole = in_full(after, part)
            # a strongest kit that is not proved would be told as the strongest
            after = after if part.is_over else whole
        found.append(_compared(choice, one, after))
    return tuple(found)


def chosen_pieces(choice: Choice) -> list[Packed]:
    """What the program chose: all but the loads and the things that are always packed."""
    return [one for one in choice.packed if not isinstance(choice.inventory.by_id[one.id], Load | Extra)]


def _compared(choice: Choice, one: Packed, after: Choice) -> Without:
    """The best kit with one piece less of an item, against the chosen one."""
    if after.packed:
        return Without(one.id, one.count, after.status, **difference(choice, after))
    if after.shortfall is None:
        return Without(one.id, one.count, after.status)
    short = after.shortfall
    is_whole = bool(short.packed)
    shortfall_wh = short.shortfall_wh if is_whole else None
    return Without(one.id, one.count, "no-kit", shortfall_wh=shortfall_wh, time=short.time, fits=is_whole)


class Difference(TypedDict):
    """The fields of `Without` and `Within` that compare two kits."""

    more: int
    mass_g_more: int
    price_cents_more: int
    instead: Pieces
    gone: Pieces


def difference(choice: Choice, after: Choice) -> Difference:
    """By what another best kit differs from the chosen one."""
    assert after.proof.objective is not None
    assert choice.proof.objective is not None
    return {
        "more": round(after.proof.objective) - round(choice.proof.objective),
        "mass_g_more": after.mass_g - choice.mass_g,
        "price_cents_more": after.price_cents - choice.price_cents,
        "instead": beyond(after.packed, choice.packed),
        "gone": beyond(choice.packed, after.packed),
    }


def beyond(packed: Iterable[Packed], other: Iterable[Packed]) -> Pieces:
    """What a kit has more of than another."""
    counts = {p.id: p.count for p in other}
    return tuple((p.id, n) for p in packed if (n := p.count - counts.get(p.id, 0)) > 0)
