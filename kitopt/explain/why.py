"""All that argues for a choice, found by choosing again."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any

from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.explain.agreement import Agreement, agreement
from kitopt.explain.conflict import Conflict, conflicts
from kitopt.explain.look_up import LookUp, look_up
from kitopt.explain.repairs import BESIDE, THOROUGH, Effort, Repairs, repairs
from kitopt.explain.split import Split, split
from kitopt.explain.without import Without, without_each
from kitopt.inventory.items import Inventory
from kitopt.sky.windows import SkyOf

NOTHING_TRIED = Repairs()


@dataclass(frozen=True)
class Why:
    """The reasons that go with an answer; empty where none were asked for.

    Attributes
    ----------
    withouts : tuple of Without
        What happens without each item of a kit.
    repairs : Repairs
        What would make it work, where no kit does.
    conflicts : tuple of Conflict
        Why nothing fits together, where nothing does.
    agreement : Agreement or None
        What a second opinion makes of the kit.
    look_up : LookUp or None
        Guesses that decide, where that was asked for.
    split : Split or None
        What a circuit of its own for one load would do, where its peak rules most batteries out.
    """

    withouts: tuple[Without, ...] = ()
    repairs: Repairs = NOTHING_TRIED
    conflicts: tuple[Conflict, ...] = ()
    agreement: Agreement | None = None
    look_up: LookUp | None = None
    split: Split | None = None


def why(
    choice: Choice,
    *,
    sky_of: SkyOf | None = None,
    catalogue: Callable[[], Inventory | None] = lambda: None,
    budget: Budget = UNLIMITED,
    effort: Effort = BESIDE,
) -> Why:
    """Argue for a kit by what happens without each of its items and by a second opinion; else find what would help.

    Parameters
    ----------
    sky_of : callable, optional
        The weather of a changed operation; the choice's own, cut to its hours, when left out.
    catalogue : callable
        Reads what could be bought, if there is anything.
    effort : Effort
        How much is tried where no kit works.
    budget : Budget
        What is not known when the time is up says so.
    """
    if choice.circuits:
        return Why()
    if choice.status == "no-kit":
        is_whole = choice.shortfall is not None and bool(choice.shortfall.packed)
        facts = () if is_whole or budget.is_over else conflicts(choice)
        is_thorough = effort is THOROUGH and not budget.is_over
        guesses = look_up(choice, budget=budget) if is_thorough else None
        apart = split(choice, sky_of=sky_of, budget=budget) if is_thorough else None
        tried = repairs(choice, sky_of=sky_of, catalogue=catalogue(), budget=budget, effort=effort)
        return Why(repairs=tried, conflicts=facts, look_up=guesses, split=apart)
    budget.say("going through it minute by minute")
    parts: tuple[Callable[[], Any], ...] = (
        lambda: None if budget.is_over else agreement(choice),
        lambda: without_each(choice, budget=budget),
    )
    second, withouts = at_once(parts)
    return Why(withouts=withouts, agreement=second)


def second_look(choice: Choice, budget: Budget = UNLIMITED) -> Why:
    """What is told of a kit that was named, not chosen: a second opinion, or why nothing of it fits together."""
    if choice.packed:
        budget.say("going through it minute by minute")
        return Why(agreement=agreement(choice))
    is_whole = choice.shortfall is not None and bool(choice.shortfall.packed)
    return Why(conflicts=conflicts(choice)) if choice.status == "no-kit" and not is_whole else Why()
