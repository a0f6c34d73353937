"""Batteries in turn: which is on when, by ampere-hours out and the clock, never by volts; of banks too.

The judge counts all batteries as one store. Here its charge is shared out again: one battery is on, what it gives
or takes is its own, and each holds back its part of what the whole holds back.
"""

from __future__ import annotations

from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.joint import simulate
from kitopt.inventory.items import Battery, Item, Load
from kitopt.model.case import missing_wh
from kitopt.operation.clock import moment_after, steps_of, swaps_s

_NOTHING_WH = 1e-6


@dataclass(frozen=True)
class Swap:
    """One battery off and the next on.

    Attributes
    ----------
    out_ah : float
        Out of the one that goes, counted from full. [Ah]
    is_full : bool
        Whether it goes because it is full, so that the sun may fill the other.
    """

    time: datetime
    off: str
    out_ah: float
    on: str
    is_full: bool = False


@dataclass(frozen=True)
class Spell:
    """The swaps of one spell of weather: "median" or "hardest" of those survived."""

    kind: str
    window: str
    swaps: tuple[Swap, ...]


@dataclass(frozen=True)
class SwapPlan:
    """Swaps of the median and the hardest spell.

    Attributes
    ----------
    order : tuple of str
        Batteries, the one that goes on first before the others.
    drops : tuple of str
        Loads that have no battery of their own: they drop out during a swap.
    has_panels : bool
        Whether a panel has to be covered first.
    banks : tuple of tuple of str
        Batteries of each of two banks that change places: what comes off the air goes to the controllers.
    """

    order: tuple[str, ...]
    spells: tuple[Spell, ...]
    drops: tuple[str, ...]
    has_panels: bool
    banks: tuple[tuple[str, ...], ...] = ()


def swap_plan(choice: Choice) -> SwapPlan | None:
    """When to swap batteries in turn; None where there is nothing to swap.

    The one with the most left goes on first and next; one that is full leaves the sun to the one with most room.
    """
    made, batteries = choice.made, _named(choice)
    is_in_turn = choice.operation.batteries == "in turn" and len(batteries) > 1
    if not (choice.banks or is_in_turn) or made is None or choice.lowest is None:
        return None
    conditions, plant = made.base
    verdict = simulate(conditions, plant)
    survived = np.flatnonzero(verdict.survives)
    if not len(survived):
        return None  # of a kit that falls short in every spell no hour of a swap can be promised
    by_margin = survived[np.argsort(verdict.margin_wh[survived], kind="stable")]
    numbers = {"median": int(by_margin[len(by_margin) // 2]), "hardest": choice.lowest.number}
    drops = tuple(use.id for use in choice.operation.loads if not _has_battery(choice.inventory.by_id[use.id]))
    if choice.banks:
        parted = [batteries[n :: len(choice.banks)] for n in range(len(choice.banks))]
        banks = [_Bank(choice, *one) for one in zip(choice.banks, parted, strict=True)]
        spells = tuple(Spell(kind, choice.sky.labels[k], tuple(_changes(banks, k))) for kind, k in numbers.items())
        named = tuple(tuple(name for name, _ in some) for some in parted)
        return SwapPlan(tuple(bank.name for bank in banks), spells, drops, bool(choice.joins), named)
    held_wh = np.broadcast_to(verdict.held_wh, verdict.charge_wh.shape)
    shelf = Shelf(choice, batteries)
    spells = tuple(
        Spell(kind, choice.sky.labels[k], tuple(shelf.walk(verdict.charge_wh[k], held_wh[k], conditions.step_h)))
        for kind, k in numbers.items()
    )
    return SwapPlan(tuple(batteries[i][0] for i in shelf.order()), spells, drops, bool(choice.joins))


def _has_battery(item: Item) -> bool:
    return isinstance(item, Load) and item.battery_wh is not None


def _named(choice: Choice) -> list[tuple[str, Battery]]:
    """Every battery of a kit by a name of its own."""
    return [
        (f"{one.id} #{n}" if one.count > 1 else one.id, item)
        for one in choice.packed
        if isinstance(item := choice.inventory.by_id[one.id], Battery)
        for n in range(1, one.count + 1)
    ]


class _Bank:
    """One of two banks that change places by the clock, through all spells."""

    def __init__(self, whole: Choice, choice: Choice, batteries: list[tuple[str, Battery]]) -> None:
        assert choice.made is not None
        self.whole, self.conditions = whole, choice.made.base[0]
        self.verdict = simulate(*choice.made.base)
        self.name = choice.operation.bank_name
        is_in_turn = whole.operation.batteries == "in turn" and len(batteries) > 1
        self.shelf = Shelf(whole, batteries) if is_in_turn else None
        self.full_wh = sum(battery.usable_wh for _, battery in batteries)
        self.nominal_v = batteries[0][1].nominal_v

    def out_ah(self, k: int, step: int) -> float:
        """Out of it when a step begins, counted from full. [Ah]"""
        return (self.full_wh - float(self.verdict.charge_wh[k, step - 1])) / self.nominal_v

    def within(self, k: int) -> Iterator[Swap]:
        """Swaps of its own batteries, where they are used in turn."""
        if self.shelf is not None:
            held_wh = np.broadcast_to(self.verdict.held_wh, self.verdict.charge_wh.shape)[k]
            yield from self.shelf.walk(self.verdict.charge_wh[k], held_wh, self.conditions.step_h)


def _changes(banks: Sequence[_Bank], k: int) -> list[Swap]:
    """All swaps of one spell in order: the banks' by the clock, and those within each."""
    operation = banks[0].whole.operation
    edges_s = steps_of(operation).edges_s
    found = [swap for bank in banks for swap in bank.within(k)]
    for n, at_s in enumerate(swaps_s(operation)):
        off, on = banks[n % 2], banks[1 - n % 2]
        time = moment_after(operation, timedelta(seconds=round(at_s)))
        found.append(Swap(time, off.name, off.out_ah(k, int(np.argmin(np.abs(edges_s - at_s)))), on.name))
    names = {bank.name for bank in banks}
    return sorted(found, key=lambda swap: (swap.time, swap.on not in names))


class Shelf:
    """Some batteries, of which one is on."""

    def __init__(self, choice: Choice, batteries: list[tuple[str, Battery]]) -> None:
        self.choice = choice
        self.names = [name for name, _ in batteries]
        self.nominal_v = batteries[0][1].nominal_v
        self.full_wh = np.array([battery.usable_wh for _, battery in batteries])
        missing = [missing_wh(battery, choice.operation) for _, battery in batteries]
        self.start_wh = self.full_wh - np.array(missing)

    def order(self) -> list[int]:
        """The one with the most left first; of equal ones the first named."""
        return sorted(range(len(self.names)), key=lambda i: (-self.start_wh[i], i))

    def walk(self, pooled_wh: Floats, held_wh: Floats, step_h: Floats) -> Iterator[Swap]:
        """Swaps along the charge of the whole store at the end of each step, shapes (n_steps,)."""
        begins_h = np.cumsum(step_h) - step_h
        share = self.full_wh / float(np.sum(self.full_wh))
        has_wh = self.start_wh.copy()
        on = self.order()[0]
        before_wh = float(np.sum(has_wh))
        for t, after_wh in enumerate(pooled_wh):
            left_wh, whole_wh = float(after_wh) - before_wh, abs(float(after_wh) - before_wh)
            before_wh = float(after_wh)
            floor_wh = share * float(held_wh[t])
            for _ in self.names:
                room_wh = self.full_wh[on] - has_wh[on] if left_wh > 0 else has_wh[on] - floor_wh[on]
                moved_wh = min(abs(left_wh), max(0.0, float(room_wh)))
                has_wh[on] += np.sign(left_wh) * moved_wh
                left_wh -= np.sign(left_wh) * moved_wh
                if abs(left_wh) <= _NOTHING_WH:
                    break
                free_wh = has_wh - floor_wh
                other = int(np.argmin(has_wh - self.full_wh) if left_wh > 0 else np.argmax(free_wh))
                if other == on or (left_wh < 0 and free_wh[other] <= _NOTHING_WH):
                    break
                elapsed_h = float(begins_h[t]) + float(step_h[t]) * (1.0 - abs(left_wh) / whole_wh)
                out_ah = float(self.full_wh[on] - has_wh[on]) / self.nominal_v
                yield Swap(self._time(elapsed_h), self.names[on], out_ah, self.names[other], is_full=left_wh > 0)
                on = other
            # what no battery may give or take by its own count is the whole's own rounding
            has_wh[on] += left_wh

    def _time(self, elapsed_h: float) -> datetime:
        return moment_after(self.choice.operation, timedelta(minutes=round(60 * elapsed_h)))
