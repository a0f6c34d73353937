"""Batteries in turn: which is on when, by ampere-hours out and the clock, never by volts.

The judge counts all batteries as one store. Here its charge is shared out again: one battery is on, what it gives
or takes is its own, and each holds back its part of what the whole holds back.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.judge import simulate
from kitopt.inventory.items import Battery
from kitopt.model.kit import missing_wh
from kitopt.operation.clock import moment_after

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
    """

    order: tuple[str, ...]
    spells: tuple[Spell, ...]
    drops: tuple[str, ...]
    has_panels: bool


def swap_plan(choice: Choice) -> SwapPlan | None:
    """When to swap batteries in turn; None where there is nothing to swap.

    The one with the most left goes on first and next; one that is full leaves the sun to the one with most room.
    """
    made = choice.made
    batteries = [
        (f"{one.id} #{n}" if one.count > 1 else one.id, item)
        for one in choice.packed
        if isinstance(item := choice.inventory.by_id[one.id], Battery)
        for n in range(1, one.count + 1)
    ]
    is_in_turn = choice.operation.batteries == "in turn" and len(batteries) > 1
    if not is_in_turn or made is None or choice.lowest is None:
        return None
    conditions, plant = made.base
    verdict = simulate(conditions, plant)
    survived = np.flatnonzero(verdict.survives)
    if not len(survived):
        return None  # of a kit that falls short in every spell no hour of a swap can be promised
    by_margin = survived[np.argsort(verdict.margin_wh[survived], kind="stable")]
    numbers = {"median": int(by_margin[len(by_margin) // 2]), "hardest": choice.lowest.number}
    held_wh = np.broadcast_to(verdict.held_wh, verdict.charge_wh.shape)
    shelf = Shelf(choice, batteries)
    spells = tuple(
        Spell(kind, choice.sky.labels[k], tuple(shelf.walk(verdict.charge_wh[k], held_wh[k], conditions.step_h)))
        for kind, k in numbers.items()
    )
    drops = tuple(use.id for use in choice.operation.loads)
    return SwapPlan(tuple(batteries[i][0] for i in shelf.order()), spells, drops, bool(choice.joins))


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
