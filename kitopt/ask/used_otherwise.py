"""Loads of an operation used otherwise: off, quieter, with less power, or another in their place."""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import replace
from operator import lt

import numpy as np

from kitopt.ask.change import Change, Question
from kitopt.inventory.items import Load
from kitopt.model.need import draws, idle_and_full_w
from kitopt.operation.terms import Span

NIGHT = Span(23 * 60, 7 * 60)
DAY = Span(NIGHT.end_min, NIGHT.start_min)
NOMINAL_V = 12.8
"""At which loads are compared. [V]"""
HALF_POWER_SHARE = 0.7
"""Current of a transmitter at half its power over that at full power. Common practice, no source: the current of a
linear amplifier falls with the root of its power."""
HALF_HOURS = tuple(Span(60 * hour, 60 * hour + 30) for hour in range(24))
"""The first half of each hour."""


def by_energy(asked: Question) -> list[int]:
    """Loads by what they draw over the operation, the most first."""
    parts = draws(asked.operation, asked.inventory, NOMINAL_V)
    drawn = {i: float(np.sum(part.load_wh)) for i, part in enumerate(parts)}
    return sorted(drawn, key=lambda i: -drawn[i])


def quiet(asked: Question) -> Iterator[Change]:
    """Switched off outside the hours on the air; where it has none, at night."""
    for i in by_energy(asked):
        use = asked.operation.loads[i]
        if use.wh_per_day is not None:
            continue
        if use.spans and use.quiet == "listen":
            yield Change("quiet", use.id, "off-air", i, replace(use, quiet="off"))
        elif not use.spans:
            other = replace(use, spans=(DAY,), quiet="off")
            yield Change("quiet", use.id, "night", i, other)


def half_the_hours(asked: Question) -> Iterator[Change]:
    """On for the first half of each hour that it is on for, and off for the rest."""
    for i in by_energy(asked):
        use = asked.operation.loads[i]
        if use.wh_per_day is None and 0 < use.transmit_share < 1:
            spans = _within(use.spans) if use.spans else HALF_HOURS
            if spans:
                yield Change("quiet", use.id, "half-hours", i, replace(use, spans=spans, quiet="off"))


def _within(spans: tuple[Span, ...]) -> tuple[Span, ...]:
    """The first half of each hour within spans, an hour at a time from the start of each."""
    found = []
    for span in spans:
        end_min = span.end_min if span.end_min > span.start_min else span.end_min + 24 * 60
        found += [
            Span(start % (24 * 60), min(start + 30, end_min) % (24 * 60))
            for start in range(span.start_min, end_min, 60)
        ]
    return tuple(found)


def one_off(asked: Question) -> Iterator[Change]:
    """One load left at home, never what it is mostly about; of those that are nice none runs any more."""
    loads = asked.operation.loads
    order = by_energy(asked)
    for i in order:
        use = loads[i]
        if use.count > 1:
            other = replace(use, count=use.count - 1)
            yield Change("load off", use.id, "one less", i, other)
        if len(loads) > 1 and i != order[0]:
            yield Change("load off", use.id, "", i)


def smaller_radio(asked: Question) -> Iterator[Change]:
    """Another owned load of the same role that draws less, in the same mode: the largest of them first."""
    owned = asked.inventory.by_id
    named = {other.id for other in asked.operation.loads}
    for i in by_energy(asked):
        use = asked.operation.loads[i]
        mine = owned[use.id]
        assert isinstance(mine, Load)
        drawn_w = idle_and_full_w(mine, NOMINAL_V)
        smaller = []
        for load in asked.inventory.loads:
            watts = idle_and_full_w(load, NOMINAL_V)
            is_free = load.id not in named and load.count >= use.count
            if is_free and set(load.role) & set(mine.role) and any(map(lt, watts, drawn_w)):
                smaller.append((watts[::-1], load.id))
        for _, load_id in sorted(smaller, key=lambda one: (-one[0][0], -one[0][1], one[1])):
            yield Change("radio", use.id, load_id, i, replace(use, id=load_id))


def less_power(asked: Question) -> Iterator[Change]:
    """Half the power of what transmits for a part of the time."""
    for i in by_energy(asked):
        use = asked.operation.loads[i]
        if use.wh_per_day is None and 0 < use.transmit_share < 1:
            other = replace(use, full_share=use.full_share * HALF_POWER_SHARE)
            yield Change("power", use.id, "half", i, other)


def less_transmitting(asked: Question) -> Iterator[Change]:
    """Half the time on the key."""
    for i in by_energy(asked):
        use = asked.operation.loads[i]
        if use.wh_per_day is None and 0 < use.transmit_share < 1:
            other = replace(use, transmit_share=use.transmit_share / 2)
            yield Change("transmit", use.id, f"{other.transmit_share:.4g}", i, other)
