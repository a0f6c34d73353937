"""What would make it work, where no kit does: single changes of different kinds, each tried by choosing again."""

from __future__ import annotations

import itertools
import math
from collections.abc import Iterator
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, pack
from kitopt.choice.season import cheapest_single
from kitopt.engine.judge import simulate
from kitopt.errors import BadInput
from kitopt.inventory.items import CHOSEN_KINDS, Battery, Controller, Inventory, Item, Lead, Load, Panel
from kitopt.model.kit import Block
from kitopt.model.need import draws as draws_of
from kitopt.model.need import idle_and_full_w
from kitopt.model.wiring import missing
from kitopt.operation.terms import LoadUse, Operation, Span
from kitopt.sky.windows import Laid, Sky, SkyOf

Family = Literal[
    "quiet", "load off", "radio", "transmit", "hours", "confidence", "parallel", "mass limit", "lead", "one more"
]

NIGHT = Span(23 * 60, 7 * 60)
DAY = Span(NIGHT.end_min, NIGHT.start_min)
_MOST_PER_FAMILY = 4
_ENOUGH = 6
"""Repairs that work: more are not looked for."""
_MOST_HALVINGS = 6
_ADAPTER_G = 40
_SECONDS_EACH = 20.0
_SECONDS_TO_BUY = 60.0


@dataclass(frozen=True)
class Change:
    """A single change, and the question as it reads then.

    Attributes
    ----------
    family : str
        What kind of change it is.
    id : str
        The item that it concerns; empty where it concerns none.
    value : str
        What it is changed to: an id, hours, a share or two connectors.
    """

    family: Family
    id: str
    value: str
    operation: Operation
    inventory: Inventory


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
    skies = sky_of or (lambda operation: shortened(choice.sky, operation))
    work: list[Repair] = []
    not_enough: list[Repair] = []
    undecided: list[Change] = []
    for changes in families(choice, catalogue, budget):
        for n, change in enumerate(changes):
            if budget.is_over:
                return Repairs(tuple(work), tuple(not_enough), True, tuple(undecided))
            if n == _MOST_PER_FAMILY:
                break
            budget.say(f"trying: {change.family} {change.id} {change.value}".rstrip())
            tried, is_decided = tried_out(choice, change, skies(change.operation), budget.slice(_SECONDS_EACH))
            if tried is None:
                undecided += [] if is_decided else [change]
                continue
            if tried.works:
                if change.family == "hours":
                    tried = _longest(choice, tried, skies, budget)
                work.append(tried)
                break
            not_enough.append(tried)
        if len(work) >= _ENOUGH:
            break
    return Repairs(tuple(work), tuple(not_enough), undecided=tuple(undecided))


def tried_out(choice: Choice, change: Change, sky: Sky, budget: Budget) -> tuple[Repair | None, bool]:
    """Choose again after a change.

    Returns
    -------
    repair : Repair or None
        None where still nothing fits together, or where the time did not suffice to tell.
    is_decided : bool
        Whether the time sufficed.
    """
    after = pack(change.operation, change.inventory, sky, budget=budget)
    before_wh = choice.shortfall.shortfall_wh if choice.shortfall and choice.shortfall.packed else None
    if after.packed:
        spare_wh = after.lowest.margin_wh if after.lowest else 0.0
        gain_wh = None if before_wh is None else before_wh + max(0.0, spare_wh)
        return Repair(change, True, gain_wh, 0.0, after.mass_g, after), True
    if after.status == "time-limit":
        return None, False
    if after.shortfall is None or not after.shortfall.packed:
        return None, True
    left_wh = after.shortfall.shortfall_wh
    return Repair(change, False, None if before_wh is None else before_wh - left_wh, left_wh, None, after), True


def _longest(choice: Choice, works: Repair, skies: SkyOf, budget: Budget) -> Repair:
    """The most hours, to within one: what works is known, and that all the hours do not."""
    step_h = choice.operation.need.step_h
    good_h, bad_h = works.change.operation.hours, choice.operation.hours
    for _ in range(_MOST_HALVINGS):
        middle_h = step_h * math.floor((good_h + bad_h) / 2 / step_h)
        if bad_h - good_h <= 1.0 or budget.is_over or middle_h <= good_h:
            break
        operation = replace(choice.operation, hours=middle_h)
        change = replace(works.change, value=f"{middle_h:g}", operation=operation)
        tried, _ = tried_out(choice, change, skies(operation), budget.slice(_SECONDS_EACH))
        if tried is not None and tried.works:
            works, good_h = tried, middle_h
        else:
            bad_h = middle_h
    return works


def families(choice: Choice, catalogue: Inventory | None, budget: Budget = UNLIMITED) -> Iterator[Iterator[Change]]:
    """The changes worth trying, by family: those that most often do it first."""
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


def shortened(sky: Sky, operation: Operation) -> Sky:
    """The same weather over an operation's hours, which are no more than before."""
    n = operation.n_steps

    def cut(by_way: Any) -> dict[Laid, Any]:
        return {way: array[:, :n] for way, array in by_way.items()}

    return replace(
        sky,
        poa_wm2=cut(sky.poa_wm2),
        useful_wm2=cut(sky.useful_wm2),
        panel_degc=cut(sky.panel_degc),
        air_degc=sky.air_degc[:, :n],
        battery_degc=sky.battery_degc[:, :n],
    )


def _uses(choice: Choice, changed: int, use: LoadUse | None) -> Operation:
    """The operation with one of its loads used otherwise, or not at all."""
    uses = [other if i != changed else use for i, other in enumerate(choice.operation.loads)]
    return replace(choice.operation, loads=tuple(u for u in uses if u is not None))


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
            yield Change("quiet", use.id, "off-air", _uses(choice, i, replace(use, quiet="off")), choice.inventory)
        elif not use.spans:
            other = replace(use, spans=(DAY,), quiet="off")
            yield Change("quiet", use.id, "night", _uses(choice, i, other), choice.inventory)


def _off(choice: Choice) -> Iterator[Change]:
    """One load left at home: what is nice to have first, and never what it is mostly about."""
    loads = choice.operation.loads
    by_energy = _by_energy(choice)
    for i in sorted(by_energy, key=lambda i: loads[i].priority == "must"):
        use = loads[i]
        if use.count > 1:
            other = replace(use, count=use.count - 1)
            yield Change("load off", use.id, "one less", _uses(choice, i, other), choice.inventory)
        if len(loads) > 1 and (i != by_energy[0] or use.priority == "nice"):
            yield Change("load off", use.id, "", _uses(choice, i, None), choice.inventory)


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
            yield Change("radio", use.id, load.id, _uses(choice, i, replace(use, id=load.id)), choice.inventory)


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
            value = f"{other.transmit_share:.4g}"
            yield Change("transmit", use.id, value, _uses(choice, i, other), choice.inventory)


def _parallel(choice: Choice) -> Iterator[Change]:
    """Batteries side by side, where one alone cannot carry the peak or take the charge."""
    if choice.operation.batteries == "in turn" and sum(b.count for b in choice.inventory.batteries) > 1:
        yield Change("parallel", "", "parallel", replace(choice.operation, batteries="parallel"), choice.inventory)


def _heavier(choice: Choice) -> Iterator[Change]:
    """Whatever it weighs."""
    if choice.operation.mass_limit_g is not None:
        yield Change("mass limit", "", "", replace(choice.operation, mass_limit_g=None), choice.inventory)


def _fewer_hours(choice: Choice) -> Iterator[Change]:
    """As long as the strongest kit lasts."""
    lasts_h = _strongest_lasts_h(choice)
    if lasts_h is not None and 0 < lasts_h < choice.operation.hours:
        yield Change("hours", "", f"{lasts_h:g}", replace(choice.operation, hours=lasts_h), choice.inventory)


def _less_sure(choice: Choice) -> Iterator[Change]:
    """As sure as the strongest kit is, in whole percent."""
    strongest = _strongest(choice)
    if strongest is None:
        return
    _, verdict = strongest
    percent = int(100 * np.count_nonzero(verdict.survives) / len(verdict.survives))
    if 50 <= percent < 100 * choice.operation.need.confidence:
        need = replace(choice.operation.need, confidence=Fraction(percent, 100))
        yield Change("confidence", "", f"{percent}", replace(choice.operation, need=need), choice.inventory)


def _strongest(choice: Choice) -> tuple[Any, Any] | None:
    """The conditions and the verdict of the strongest kit; None where nothing fits together."""
    made = None if choice.shortfall is None else choice.shortfall.made
    if made is None:
        return None
    case = made.cases[0]
    return case.conditions, simulate(case.conditions, case.plant(made.counts))


def _strongest_lasts_h(choice: Choice) -> float | None:
    """Hours until the strongest kit has failed in more windows than it may, in whole steps. [h]"""
    strongest = _strongest(choice)
    if strongest is None:
        return None
    conditions, verdict = strongest
    assert choice.shortfall is not None
    assert choice.shortfall.made is not None
    n_allowed = choice.shortfall.made.cases[0].n_allowed
    failed = np.maximum.accumulate(verdict.free_wh < 0.0, axis=1)
    lost = np.flatnonzero(np.count_nonzero(failed, axis=0) > n_allowed)
    ends_h = np.concatenate([[0.0], np.cumsum(conditions.step_h)])
    return float(ends_h[lost[0]]) if len(lost) else None


def _missing_leads(choice: Choice) -> Iterator[Change]:
    """What would lift a block: a lead that nobody owns yet, for an owned item that nothing joins."""
    seen: set[tuple[str, str]] = set()
    for _, blocks in choice.blocks:
        for block in blocks:
            ends = _ends(choice, block)
            if ends is None or ends in seen:
                continue
            seen.add(ends)
            lead = _stout_lead(choice, ends, block)
            if lead is not None:
                leads = tuple(sorted((*choice.inventory.leads, lead), key=lambda x: x.id))
                value = f"{lead.from_connector} {lead.to_connector}"
                inventory = replace(choice.inventory, leads=leads)
                yield Change("lead", block.items[0], value, choice.operation, inventory)


def _ends(choice: Choice, block: Block) -> tuple[str, str] | None:
    if block.rule not in ("no-lead", "fuse-reach", "battery-fuse"):
        return None
    things = [choice.inventory.by_id[i] for i in block.items]
    station = choice.operation.station_connector
    if len(things) == 1 and isinstance(things[0], Battery | Controller | Load) and station is not None:
        thing = things[0]
        own = thing.battery_connector if isinstance(thing, Controller) else thing.connector
        return (str(station), str(own)) if isinstance(thing, Load) else (str(own), str(station))
    if len(things) == 2 and isinstance(things[0], Panel) and isinstance(things[1], Controller):
        return str(things[0].connector), str(things[1].pv_connector)
    return None


def _stout_lead(choice: Choice, ends: tuple[str, str], block: Block) -> Lead | None:
    """A lead that joins two ends and carries all that is asked."""
    from kitopt.inventory.items import Connector

    def read(text: str) -> Connector:
        family, _, side = text.partition(":")
        return Connector(family, side)  # type: ignore[arg-type]

    source, sink = read(ends[0]), read(ends[1])
    found = missing(choice.inventory.leads, source, sink)
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
    offers: list[tuple[str, Item]] = []
    source = choice.inventory if catalogue is None else catalogue
    for kind in CHOSEN_KINDS if catalogue is not None else ("panels", "batteries"):
        offers += [(kind, item) for item in getattr(source, kind)]
    least = choice.operation.least

    def cost(offer: tuple[str, Item]) -> tuple[float, str]:
        item = offer[1]
        if least == "price":
            return (math.inf if item.price_cents is None else item.price_cents, item.id)
        return (item.mass_g, item.id)

    energy = [o for o in offers if isinstance(o[1], Battery | Panel)]
    others = sorted((o for o in offers if o not in energy), key=cost)
    if choice.shortfall is None or not choice.shortfall.packed:
        # nothing fits together: most often a lead or a converter is wanting
        order = [*others, *sorted(energy, key=cost)]
    else:
        missing_wh = choice.shortfall.shortfall_wh
        batteries = [o for o in energy if isinstance(o[1], Battery) and o[1].usable_wh >= missing_wh]
        panels = [o for o in energy if isinstance(o[1], Panel)]
        rest = sorted((o for o in energy if o not in batteries and o not in panels), key=cost, reverse=True)
        # in turn, so that neither crowds the other out
        pairs = itertools.zip_longest(sorted(batteries, key=cost), sorted(panels, key=cost, reverse=True))
        order = [*(o for pair in pairs for o in pair if o is not None), *rest, *others]
    if catalogue is not None:
        order = _singled_out(choice, catalogue, order, budget.slice(_SECONDS_TO_BUY))
    for kind, item in order:
        yield Change("one more", item.id, "", choice.operation, with_one_more(choice.inventory, kind, item))


def _singled_out(
    choice: Choice, catalogue: Inventory, order: list[tuple[str, Item]], budget: Budget
) -> list[tuple[str, Item]]:
    """What is worth trying of a catalogue: the cheapest piece that is enough, or what has no price and one more."""
    try:
        found, is_sure = cheapest_single(choice.operation, choice.inventory, catalogue, choice.sky, budget=budget)
    except BadInput:
        return order  # an id stands for two kinds of things
    if found is not None:
        return [offer for offer in order if offer[1].id == found]
    unpriced = [offer for offer in order if offer[1].price_cents is None]
    return [*unpriced, *(offer for offer in order[:1] if offer not in unpriced)] if is_sure else order


def with_one_more(inventory: Inventory, kind: str, item: Item) -> Inventory:
    """An inventory with one piece more of an item, owned before or not."""
    mine = list(getattr(inventory, kind))
    if any(one.id == item.id for one in mine):
        mine = [replace(one, count=one.count + 1) if one.id == item.id else one for one in mine]
    else:
        mine.append(replace(item, count=1))
    changed: dict[str, Any] = {kind: tuple(sorted(mine, key=lambda one: one.id))}
    return replace(inventory, **changed)
