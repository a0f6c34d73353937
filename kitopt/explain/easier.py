"""Changes that may make it work, where no kit does: by family, those that most often do it first."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from fractions import Fraction
from typing import NamedTuple

import numpy as np

from kitopt.ask import Change
from kitopt.ask.change import Question
from kitopt.ask.used_otherwise import less_transmitting, one_off, quiet, smaller_radio
from kitopt.budget import Budget
from kitopt.choice import Choice
from kitopt.choice.lasts import lasts_h
from kitopt.choice.offers import bought_of
from kitopt.choice.singles import with_few
from kitopt.engine.joint import simulate
from kitopt.errors import BadInput
from kitopt.explain.take_along import NO_LEAD, lead_for, y_for
from kitopt.inventory.items import Battery, Inventory, Item, Load, Panel

_STEPS_TO_BUY = 20_000


class Family(NamedTuple):
    """Changes of one kind, and whether it takes longer than others to try them."""

    changes: Iterator[Change]
    takes_long: bool = False


def families(choice: Choice, catalogue: Inventory | None, budget: Budget) -> Iterator[Family]:
    """The changes worth trying, by family."""
    asked = Question(choice.operation, choice.inventory)
    yield Family(quiet(asked))
    yield Family(one_off(asked))
    yield Family(smaller_radio(asked))
    yield Family(_fewer_hours(choice), takes_long=True)
    yield Family(_less_sure(choice))
    yield Family(_missing_leads(choice))
    if catalogue is None:
        yield Family(_one_more_of(choice, Battery), takes_long=True)
        yield Family(_one_more_of(choice, Panel))
    else:
        yield Family(_bought(choice, catalogue, budget), takes_long=True)
    yield Family(less_transmitting(asked))
    yield Family(_heavier(choice))
    yield Family(_parallel(choice))


def _parallel(choice: Choice) -> Iterator[Change]:
    """Batteries side by side, where one alone cannot carry the peak or take the charge."""
    if choice.operation.batteries == "in turn" and sum(b.count for b in choice.inventory.batteries) > 1:
        yield Change("parallel", value="parallel")


def _heavier(choice: Choice) -> Iterator[Change]:
    """Whatever it weighs."""
    if choice.operation.mass_limit_g is not None:
        yield Change("mass limit")


def _fewer_hours(choice: Choice) -> Iterator[Change]:
    """As long as the strongest kit lasts."""
    made = None if choice.shortfall is None else choice.shortfall.made
    hours = 0.0 if made is None else lasts_h(made.cases[0], made.counts)
    if 0 < hours < choice.operation.hours:
        yield Change("hours", value=hours)


def _less_sure(choice: Choice) -> Iterator[Change]:
    """As sure as the strongest kit is, in whole percent."""
    made = None if choice.shortfall is None else choice.shortfall.made
    if made is None:
        return
    survives = simulate(*made.base).survives
    percent = int(100 * np.count_nonzero(survives) / len(survives))
    if 50 <= percent < 100 * choice.operation.need.confidence:
        yield Change("confidence", value=Fraction(percent, 100))


def _missing_leads(choice: Choice) -> Iterator[Change]:
    """A lead that nobody owns yet: what would lift a block, or a Y for want of which a panel stays home."""
    seen: set[str] = set()
    blocks = [block for _, some in choice.blocks for block in some if block.rule in NO_LEAD]
    # a load that nothing feeds is in the way of every kit, a panel or battery of none
    for block in sorted(blocks, key=lambda block: not isinstance(choice.inventory.by_id[block.items[0]], Load)):
        change = lead_for(choice, block)
        if change is not None and change.value not in seen:
            seen.add(change.value)
            yield change
    short = choice.shortfall
    taken = {one.id: one.count for one in short.packed} if short is not None else {}
    ends = {end for lead in choice.inventory.leads if lead.ways > 1 for end in (lead.from_connector, lead.to_connector)}
    for panel in choice.inventory.panels:
        is_left = 0 < taken.get(panel.id, 0) < panel.count and panel.second_connector is None
        y = y_for(choice, panel) if is_left and not any(panel.connector.mates_with(end) for end in ends) else None
        if y is not None and f"Y {y.value}" not in seen:
            seen.add(f"Y {y.value}")
            yield y


def _one_more_of(choice: Choice, kind: type[Item]) -> Iterator[Change]:
    """One more of what is owned: batteries that are enough, the lightest first; then what brings most first."""
    owned = [item for item in choice.inventory.by_id.values() if isinstance(item, kind)]
    for item in _likeliest_first(choice, owned):
        yield Change("one more", item.id, thing=item)


def _bought(choice: Choice, catalogue: Inventory, budget: Budget) -> Iterator[Change]:
    """One purchase: the cheapest piece that is enough, which is one program; else what has no price, and one more."""
    order = _likeliest_first(choice, catalogue.chosen_from)
    try:
        found, is_sure = cheapest(choice, catalogue, budget)
    except BadInput:
        found, is_sure = (), False  # an id stands for two kinds of things
    if found:
        order = [change.thing for change in found if isinstance(change.thing, Item)]
    elif is_sure:
        unpriced = [item for item in order if item.price_cents is None]
        order = [*unpriced, *(item for item in order[:1] if item not in unpriced)]
    for item in order:
        yield Change("one more", item.id, thing=item)


def cheapest(choice: Choice, catalogue: Inventory, budget: Budget, pieces: int = 1) -> tuple[tuple[Change, ...], bool]:
    """The cheapest pieces of a catalogue, so many at most, with which a kit works; and whether that is sure.

    Raises
    ------
    BadInput
        If an id means one kind of thing in the inventory and another in the catalogue.
    """
    part = budget.steps(_STEPS_TO_BUY)
    found = with_few(
        choice.operation, choice.inventory, catalogue, choice.sky, ["cost", "mass"], pieces=pieces, budget=part
    )
    bought = [catalogue.by_id[i] for i, n in (bought_of(found) or {}).items() for _ in range(n)]
    return tuple(Change("one more", item.id, thing=item) for item in bought), found.is_sure


def _likeliest_first(choice: Choice, offers: Sequence[Item]) -> list[Item]:
    """What may be had, by what is wanting: batteries before panels."""

    def cost(item: Item) -> tuple[float, str]:
        if choice.operation.least == "price":
            return (math.inf if item.price_cents is None else item.price_cents, item.id)
        return (item.mass_g, item.id)

    batteries = sorted((item for item in offers if isinstance(item, Battery)), key=cost)
    panels = sorted((item for item in offers if isinstance(item, Panel)), key=cost, reverse=True)
    others = sorted((item for item in offers if not isinstance(item, Battery | Panel)), key=cost)
    if choice.shortfall is None or not choice.shortfall.packed:
        # nothing fits together: most often a lead or a converter is wanting
        return [*others, *batteries, *panels]
    missing_wh = choice.shortfall.shortfall_wh
    enough = [item for item in batteries if isinstance(item, Battery) and item.usable_wh >= missing_wh]
    rest = [item for item in batteries[::-1] if item not in enough]
    return [*enough, *rest, *panels, *others]
