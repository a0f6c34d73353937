"""Changes that may make it work, where no kit does: by family, those that most often do it first."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import replace
from fractions import Fraction

import numpy as np

from kitopt.ask import Change
from kitopt.budget import Budget
from kitopt.choice import Choice
from kitopt.choice.season import cheapest_single
from kitopt.engine.judge import simulate
from kitopt.errors import BadInput
from kitopt.explain.lasts import lasts_h
from kitopt.inventory.items import CHOSEN_KINDS, Battery, Connector, Controller, Inventory, Item, Lead, Load, Panel
from kitopt.model.kit import Block
from kitopt.model.need import draws as draws_of
from kitopt.model.need import idle_and_full_w
from kitopt.model.wiring import missing
from kitopt.operation.terms import Span

NIGHT = Span(23 * 60, 7 * 60)
DAY = Span(NIGHT.end_min, NIGHT.start_min)
_ADAPTER_G = 40
_PROPOSALS_TO_BUY = 600


def families(choice: Choice, catalogue: Inventory | None, budget: Budget) -> Iterator[Iterator[Change]]:
    """The changes worth trying, by family."""
    yield _quiet(choice)
    yield _off(choice)
    yield _smaller_radio(choice)
    yield _fewer_hours(choice)
    yield _less_sure(choice)
    yield _missing_leads(choice)
    yield _one_more(choice, catalogue, budget)
    yield _less_transmitting(choice)
    yield _heavier(choice)
    yield _parallel(choice)


def _by_energy(choice: Choice) -> list[int]:
    """Loads by what they draw over the operation, the most first."""
    parts = draws_of(choice.operation, choice.inventory, 12.8)
    drawn = {i: float(np.sum(part.load_wh)) for i, part in enumerate(parts)}
    return sorted(drawn, key=lambda i: -drawn[i])


def _quiet(choice: Choice) -> Iterator[Change]:
    """Switched off outside the hours on the air; where it has none, at night."""
    for i in _by_energy(choice):
        use = choice.operation.loads[i]
        if use.wh_per_day is not None:
            continue
        if use.spans and use.quiet == "listen":
            yield Change("quiet", use.id, "off-air", i, replace(use, quiet="off"))
        elif not use.spans:
            other = replace(use, spans=(DAY,), quiet="off")
            yield Change("quiet", use.id, "night", i, other)


def _off(choice: Choice) -> Iterator[Change]:
    """One load left at home, never what it is mostly about; of those that are nice none runs any more."""
    loads = choice.operation.loads
    by_energy = _by_energy(choice)
    for i in by_energy:
        use = loads[i]
        if use.count > 1:
            other = replace(use, count=use.count - 1)
            yield Change("load off", use.id, "one less", i, other)
        if len(loads) > 1 and i != by_energy[0]:
            yield Change("load off", use.id, "", i)


def _smaller_radio(choice: Choice) -> Iterator[Change]:
    """Another owned load of the same sort that draws less, in the same mode."""
    owned = choice.inventory.by_id
    for i in _by_energy(choice):
        use = choice.operation.loads[i]
        mine = owned[use.id]
        assert isinstance(mine, Load)
        named = {other.id for other in choice.operation.loads}
        smaller = [
            load
            for load in choice.inventory.loads
            if load.id not in named
            and load.count >= use.count
            and _are_alike(load, mine)
            and idle_and_full_w(load, 12.8)[1] < idle_and_full_w(mine, 12.8)[1]
        ]
        for load in sorted(smaller, key=lambda x: -idle_and_full_w(x, 12.8)[1]):
            yield Change("radio", use.id, load.id, i, replace(use, id=load.id))


def _are_alike(one: Load, other: Load) -> bool:
    """Whether two loads are of one sort, by the first part of their ids or the first two words of their names."""
    same_id = "-" in one.id and one.id.split("-")[0] == other.id.split("-")[0]
    words = one.name.split()[:2]
    return same_id or (len(words) == 2 and words == other.name.split()[:2])


def _less_transmitting(choice: Choice) -> Iterator[Change]:
    """Half the time on the key."""
    for i in _by_energy(choice):
        use = choice.operation.loads[i]
        if use.wh_per_day is None and 0 < use.transmit_share < 1:
            other = replace(use, transmit_share=use.transmit_share / 2)
            yield Change("transmit", use.id, f"{other.transmit_share:.4g}", i, other)


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
    survives = simulate(made.cases[0].conditions, made.cases[0].plant(made.counts)).survives
    percent = int(100 * np.count_nonzero(survives) / len(survives))
    if 50 <= percent < 100 * choice.operation.need.confidence:
        yield Change("confidence", value=Fraction(percent, 100))


def _missing_leads(choice: Choice) -> Iterator[Change]:
    """What would lift a block: a lead that nobody owns yet, for an owned item that nothing joins."""
    seen: set[tuple[Connector, Connector]] = set()
    for _, blocks in choice.blocks:
        for block in blocks:
            ends = _ends(choice, block)
            if ends is None or ends in seen:
                continue
            seen.add(ends)
            lead = _stout_lead(choice, ends, block)
            if lead is not None:
                value = f"{lead.from_connector} {lead.to_connector}"
                yield Change("lead", block.items[0], value, thing=lead)


def _ends(choice: Choice, block: Block) -> tuple[Connector, Connector] | None:
    """What a lead would have to join."""
    if block.rule not in ("no-lead", "fuse-reach", "battery-fuse"):
        return None
    things = [choice.inventory.by_id[i] for i in block.items]
    station = choice.operation.station_connector
    if len(things) == 1 and isinstance(things[0], Battery | Controller | Load) and station is not None:
        thing = things[0]
        own = thing.battery_connector if isinstance(thing, Controller) else thing.connector
        return (station, own) if isinstance(thing, Load) else (own, station)
    if len(things) == 2 and isinstance(things[0], Panel) and isinstance(things[1], Controller):
        return things[0].connector, things[1].pv_connector
    return None


def _stout_lead(choice: Choice, ends: tuple[Connector, Connector], block: Block) -> Lead | None:
    """A lead that joins two ends and carries all that is asked."""
    found = missing(choice.inventory.leads, *ends)
    if found.adapter is None:
        return None
    thing = choice.inventory.by_id[block.items[0]]
    is_fuse_asked = isinstance(thing, Battery) and not thing.fused
    return Lead(
        id=f"lead-for-{block.items[0]}",
        name="",
        mass_g=_ADAPTER_G,
        from_connector=found.adapter[0],
        to_connector=found.adapter[1],
        length_m=0.2,
        area_mm2=6.0,
        max_a=40.0,
        fuse_a=math.ceil(1.25 * choice.peak_a) if is_fuse_asked else None,
        fuse_at_m=0.1 if is_fuse_asked else None,
    )


def _one_more(choice: Choice, catalogue: Inventory | None, budget: Budget) -> Iterator[Change]:
    """One purchase: from the catalogue, or one more of what is owned. Cheap and light things first."""
    source = choice.inventory if catalogue is None else catalogue
    offers: list[Item] = []
    for kind in CHOSEN_KINDS if catalogue is not None else ("panels", "batteries"):
        offers += getattr(source, kind)
    order = _likeliest_first(choice, offers)
    if catalogue is not None:
        order = _singled_out(choice, catalogue, order, budget.proposals(_PROPOSALS_TO_BUY))
    for item in order:
        yield Change("one more", item.id, thing=item)


def _likeliest_first(choice: Choice, offers: list[Item]) -> list[Item]:
    """What may be had, by what is wanting."""

    def cost(item: Item) -> tuple[float, str]:
        if choice.operation.least == "price":
            return (math.inf if item.price_cents is None else item.price_cents, item.id)
        return (item.mass_g, item.id)

    energy = sorted((item for item in offers if isinstance(item, Battery | Panel)), key=cost)
    others = sorted((item for item in offers if not isinstance(item, Battery | Panel)), key=cost)
    if choice.shortfall is None or not choice.shortfall.packed:
        # nothing fits together: most often a lead or a converter is wanting
        return [*others, *energy]
    missing_wh = choice.shortfall.shortfall_wh
    enough = [item for item in energy if isinstance(item, Battery) and item.usable_wh >= missing_wh]
    panels = sorted((item for item in energy if isinstance(item, Panel)), key=cost, reverse=True)
    rest = sorted((item for item in energy if item not in enough and item not in panels), key=cost, reverse=True)
    # in turn, so that neither crowds the other out
    pairs = itertools.zip_longest(enough, panels)
    return [*(item for pair in pairs for item in pair if item is not None), *rest, *others]


def _singled_out(choice: Choice, catalogue: Inventory, order: list[Item], budget: Budget) -> list[Item]:
    """What is worth trying of a catalogue: the cheapest piece that is enough, or what has no price and one more."""
    try:
        found, is_sure = cheapest_single(choice.operation, choice.inventory, catalogue, choice.sky, budget=budget)
    except BadInput:
        return order  # an id stands for two kinds of things
    if found is not None:
        return [item for item in order if item.id == found]
    unpriced = [item for item in order if item.price_cents is None]
    return [*unpriced, *(item for item in order[:1] if item not in unpriced)] if is_sure else order
