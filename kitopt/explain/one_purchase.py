"""The one purchase that makes a kit better by most: one program in which at most one piece is bought."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Literal

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.choice.measure import packed_of
from kitopt.choice.offers import bought_of
from kitopt.choice.singles import with_few
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Inventory, Item

_STEPS = 20_000


@dataclass(frozen=True)
class OnePurchase:
    """What one piece of a catalogue would save.

    Attributes
    ----------
    status : {"found", "none", "time-limit"}
        "none": no single piece makes the kit better; "time-limit": the steps or the time did not suffice to tell.
    less : int
        By how much the kit is better by what counts first, in grams, cents or pieces.
    instead, gone : tuple of (id, count)
        What comes into the kit, the piece itself too, and what leaves it.
    """

    status: Literal["found", "none", "time-limit"]
    item: Item | None = None
    less: int = 0
    mass_g: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()


def one_purchase(choice: Choice, catalogue: Inventory, *, budget: Budget = UNLIMITED) -> OnePurchase:
    """The piece of a catalogue that saves most, the cheapest of those that save as much.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best.

    Raises
    ------
    BadInput
        If an id means one kind of thing in the inventory and another in the catalogue.
    """
    assert choice.proof.objective is not None
    budget.say("one purchase")
    found = with_few(
        choice.operation,
        choice.inventory,
        catalogue,
        choice.sky,
        [choice.operation.least, "cost"],
        cutoff=choice.proof.objective - 1.0,
        budget=budget.steps(_STEPS),
    )
    if found.best is None:
        return OnePurchase("none" if found.is_sure else "time-limit")
    counts = found.best.outcome.counts
    assert counts is not None
    ((kit,),) = found.best.program.kits.values()
    packed = packed_of(kit.model, kit.counts(counts))
    (item_id,) = bought_of(found) or ("",)
    stock = found.best.program.stock
    return OnePurchase(
        "found" if found.is_sure else "time-limit",
        catalogue.by_id[item_id],
        round(choice.proof.objective - found.value),
        sum(one.count * stock.by_id[one.id].mass_g for one in packed),
        beyond(packed, choice.packed),
        beyond(choice.packed, packed),
    )
