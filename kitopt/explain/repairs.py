"""What would make it work, where no kit does: single changes of different kinds, each tried by choosing again."""

from __future__ import annotations

import itertools
from dataclasses import dataclass, replace

from kitopt.ask import Asker, Change
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice
from kitopt.engine.halving import last_that_holds
from kitopt.explain.easier import families
from kitopt.explain.edges import steps
from kitopt.inventory.items import Inventory
from kitopt.sky.windows import SkyOf

_MOST_PER_FAMILY = 4
_ENOUGH = 6
"""Repairs that work: more are not looked for."""


@dataclass(frozen=True)
class Repair:
    """A change that was tried.

    Attributes
    ----------
    gain_wh : float or None
        By how much the strongest kit's shortfall shrinks; None where nothing fitted together before. [Wh]
    shortfall_wh : float
        What is still missing; 0 where a kit works. [Wh]
    mass_g : int or None
        Mass of the lightest (or cheapest) kit that works then. [g]
    """

    change: Change
    works: bool
    gain_wh: float | None
    shortfall_wh: float
    mass_g: int | None
    choice: Choice


@dataclass(frozen=True)
class Repairs:
    """What works, what is not enough, and whether the time was up before all was tried.

    Attributes
    ----------
    undecided : tuple of Change
        Tried, but the time for one change did not suffice to tell.
    """

    work: tuple[Repair, ...] = ()
    not_enough: tuple[Repair, ...] = ()
    is_cut_short: bool = False
    undecided: tuple[Change, ...] = ()


def repairs(
    choice: Choice,
    *,
    sky_of: SkyOf | None = None,
    catalogue: Inventory | None = None,
    budget: Budget = UNLIMITED,
) -> Repairs:
    """Single changes with which a kit works, at most one of each family, and those that are not enough.

    Parameters
    ----------
    choice : Choice
        Of which no kit works.
    sky_of : callable, optional
        The weather of a changed operation; the choice's own, cut to its hours, when left out.
    catalogue : Inventory, optional
        What could be bought.
    """
    asker = Asker(choice, sky_of, budget)
    found = Repairs()
    for changes in families(choice, catalogue, budget):
        if len(found.work) >= _ENOUGH:
            break
        for change in itertools.islice(changes, _MOST_PER_FAMILY):
            if budget.is_over:
                return replace(found, is_cut_short=True)
            budget.say(f"trying: {change.family} {change.id} {change.text}".rstrip())
            after = asker.ask(change, is_in_full=True)
            if after.packed:
                found = replace(found, work=(*found.work, _as_long_as_can_be(asker, _repair(choice, change, after))))
                break
            if after.status == "time-limit":
                found = replace(found, undecided=(*found.undecided, change))
            elif after.shortfall is not None and after.shortfall.packed:
                found = replace(found, not_enough=(*found.not_enough, _repair(choice, change, after)))
    return found


def _repair(choice: Choice, change: Change, after: Choice) -> Repair:
    """A change with which something fits together, and what it brings."""
    before_wh = choice.shortfall.shortfall_wh if choice.shortfall and choice.shortfall.packed else None
    left_wh, mass_g = 0.0, after.mass_g if after.packed else None
    brings_wh = 0.0
    if after.packed:
        brings_wh = max(0.0, after.lowest.margin_wh) if after.lowest else 0.0
    elif after.shortfall is not None:
        left_wh = after.shortfall.shortfall_wh
        brings_wh = -left_wh
    gain_wh = None if before_wh is None else before_wh + brings_wh
    return Repair(change, after.packed != (), gain_wh, left_wh, mass_g, after)


def _as_long_as_can_be(asker: Asker, works: Repair) -> Repair:
    """Of fewer hours the most that work; any other repair as it is."""
    if works.change.family != "hours":
        return works
    operation = asker.choice.operation
    longer = [h for h in steps(works.change.value, operation.hours, operation.need.step_h) if h < operation.hours]
    changes = [Change("hours", value=h) for h in longer]
    last = last_that_holds(lambda i: bool(asker.ask(changes[i]).packed), -1, len(changes), guess=0)
    return works if last < 0 else _repair(asker.choice, changes[last], asker.ask(changes[last], is_in_full=True))
