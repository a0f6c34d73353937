"""What happens without one piece of a packed item: the next best kit, or how far the strongest falls short."""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass
from datetime import datetime
from typing import Literal, TypedDict

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Packed
from kitopt.explain.again import Again, Resolver, at_most
from kitopt.inventory.items import Extra, Load

Pieces = tuple[tuple[str, int], ...]
"""Ids and how many of each."""


@dataclass(frozen=True)
class Without:
    """The best kit with one piece less of an item, against the chosen one.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
        "time-limit": not known, the time was up.
    count : int
        How many of the item are packed.
    more : int or None
        How much worse by what counts first, in grams, cents or pieces; 0 is a tie.
    mass_g_more, price_cents_more : int or None
        How much heavier [g] and dearer [1/100] it is; negative where it is lighter or cheaper.
    instead, gone : tuple of (id, count)
        What comes into the kit, and what leaves it.
    shortfall_wh, time : float or None, datetime or None
        Of the strongest kit without the piece, where none works. [Wh]
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


def without_each(
    choice: Choice,
    *,
    budget: Budget = UNLIMITED,
) -> tuple[Without, ...]:
    """For each item that was chosen, not given: what happens with one piece of it less.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best; of another nothing can be said, and nothing is.
    """
    if not choice.packed or not choice.proof.proved:
        return ()
    pieces = chosen_pieces(choice)
    rules = [at_most(one.id, one.count - 1) for one in pieces]
    resolver = Resolver(choice)
    agains = resolver.under_each(rules, budget=budget, say=lambda i: budget.say(f"without {pieces[i].id}"))
    found = []
    for one, again in zip(pieces, agains, strict=True):
        budget.say(f"without {one.id}")
        found.append(compared(choice, one, again, budget=budget))
    return tuple(found)


def chosen_pieces(choice: Choice) -> list[Packed]:
    """What the program chose: all but the loads and the things that are always packed."""
    return [one for one in choice.packed if not isinstance(choice.inventory.by_id[one.id], Load | Extra)]


def compared(choice: Choice, one: Packed, again: Again, *, budget: Budget = UNLIMITED) -> Without:
    """The best kit with one piece less, against the chosen one.

    Parameters
    ----------
    one : Packed
        What is packed of the item.
    again : Again
        The choice with one piece less.
    budget : Budget
        Of finding the strongest kit, where none works.
    """
    if again.status == "time-limit" or (again.status == "no-kit" and budget.is_over):
        return Without(one.id, one.count, "time-limit")
    if again.status == "no-kit":
        short = again.strongest(choice, budget)
        is_whole = bool(short.packed)
        shortfall_wh = short.shortfall_wh if is_whole else None
        return Without(one.id, one.count, "no-kit", shortfall_wh=shortfall_wh, time=short.time, fits=is_whole)
    return Without(one.id, one.count, "found", **difference(choice, again))


class Difference(TypedDict):
    """The fields of `Without` and `Within` that compare two kits."""

    more: int
    mass_g_more: int
    price_cents_more: int
    instead: Pieces
    gone: Pieces


def difference(choice: Choice, again: Again) -> Difference:
    """By what another best kit differs from the chosen one."""
    assert again.objective is not None
    assert choice.proof.objective is not None
    return {
        "more": again.objective - round(choice.proof.objective),
        "mass_g_more": mass_g(choice, again.packed) - choice.mass_g,
        "price_cents_more": price_cents(choice, again.packed) - choice.price_cents,
        "instead": beyond(again.packed, choice.packed),
        "gone": beyond(choice.packed, again.packed),
    }


def mass_g(choice: Choice, packed: Iterable[Packed]) -> int:
    """Mass of some items of a choice's inventory. [g]"""
    return sum(p.count * choice.inventory.by_id[p.id].mass_g for p in packed)


def price_cents(choice: Choice, packed: Iterable[Packed]) -> int:
    """Price of those that have one. [1/100]"""
    return sum(p.count * (choice.inventory.by_id[p.id].price_cents or 0) for p in packed)


def beyond(packed: Iterable[Packed], other: Iterable[Packed]) -> Pieces:
    """What a kit has more of than another."""
    counts = {p.id: p.count for p in other}
    return tuple((p.id, n) for p in packed if (n := p.count - counts.get(p.id, 0)) > 0)
