"""Whether a second opinion agrees with the choice: the only place where the two meet."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.choice import Choice
from kitopt.engine.judge import charging_w, demand_w, simulate
from kitopt.inventory.items import Battery, Controller, Converter, Load, Panel
from kitopt.model.wiring_list import item_at
from kitopt.second_opinion import Circuit, CutOff, Fed, Feed, Opinion, PlainKit, second_opinion

HARDEST = 40
AT_RANDOM = 40


@dataclass(frozen=True)
class Agreement:
    """What came of a second opinion on windows that the choice survives.

    Attributes
    ----------
    asked : int
        Windows looked at: the hardest, and as many at random.
    failed : int
        Those that the second opinion does not survive.
    least_wh, most_wh : float
        Its margin less the planner's: smallest and largest difference. [Wh]
    short_wh : float
        How far the worst falls below what is held back; 0 where none does. [Wh]
    window : str
        Label of the worst.
    cut_off : CutOff or None
        The load that goes off, where that is what fails.
    harvest_wh, draw_wh, refused_wh : float
        In the worst, until its lowest: what comes from the panels and what is drawn, over the planner's; and what the
        battery does not take before it is full. [Wh]
    """

    asked: int
    failed: int
    least_wh: float
    most_wh: float
    short_wh: float = 0.0
    window: str = ""
    cut_off: CutOff | None = None
    harvest_wh: float = 0.0
    draw_wh: float = 0.0
    refused_wh: float = 0.0


def plain_kit(choice: Choice) -> PlainKit:
    """The kit of a choice in plain terms, read off its wiring."""
    by_id = choice.inventory.by_id
    wires = choice.wiring
    batteries, circuits, loads = [], [], []
    for one in choice.packed:
        item = by_id[one.id]
        if isinstance(item, Battery):
            ohms = [w.ohm or 0.0 for w in wires if w.kind == "battery" and w.source == one.id]
            batteries.append((item, one.count, max(ohms, default=0.0)))
    for wire in wires:
        if wire.kind == "controller":
            controller = by_id[item_at(wire.source)]
            assert isinstance(controller, Controller)
            feeds = []
            for fed in wires:
                if fed.kind == "panel" and fed.sink == wire.source:
                    panel = by_id[fed.source]
                    assert isinstance(panel, Panel)
                    feeds.append(Feed(panel, fed.joined, fed.count, fed.ohm or 0.0))
            circuits.append(Circuit(controller, tuple(feeds), wire.ohm or 0.0))
    before: tuple[Converter, float] | None = None
    uses = {use.id: use for use in choice.operation.loads}
    for wire in wires:
        if wire.kind == "converter":
            converter = by_id[wire.sink]
            assert isinstance(converter, Converter)
            before = (converter, wire.ohm or 0.0)
        elif wire.kind == "load":
            load = by_id[wire.sink]
            assert isinstance(load, Load)
            use, ohm = uses[wire.sink], wire.ohm or 0.0
            if before is not None and wire.source == before[0].id:
                loads.append(Fed(use, load, wire.count, before[1], before[0], ohm))
            else:
                loads.append(Fed(use, load, wire.count, ohm))
            before = None
    strips = sum((w.ohm or 0.0) * w.count for w in wires if w.kind == "strip")
    return PlainKit(tuple(batteries), tuple(circuits), tuple(loads), strips)


def agreement(choice: Choice, *, every: bool = False) -> Agreement | None:
    """Ask for a second opinion on a chosen kit; None where there is no kit, or none of its windows is survived.

    Of two banks that charge apart the one that fares worse is told.

    Parameters
    ----------
    every : bool
        On every window that is survived, not only the hardest and some at random.
    """
    if choice.banks:
        each = [one for bank in choice.banks if (one := agreement(bank, every=every)) is not None]
        return max(each, key=lambda one: (one.failed, one.short_wh, -one.least_wh), default=None)
    compared = compare(choice, every=every)
    if compared is None:
        return None
    margin_wh, opinion = compared
    difference = opinion.margin_wh - margin_wh
    survives = opinion.survives
    found = Agreement(
        len(margin_wh), int(np.count_nonzero(~survives)), float(difference.min()), float(difference.max())
    )
    if survives.all():
        return found
    by_charge = np.where(survives, np.inf, opinion.margin_wh)
    worst = int(np.argmin(by_charge))
    return _with_cause(choice, found, opinion, worst)


def compare(choice: Choice, *, every: bool = False) -> tuple[NDArray[np.float64], Opinion] | None:
    """Margins by the judge and a second opinion over the same windows, all of them survived by the judge. [Wh]"""
    made = choice.made
    if made is None:
        return None
    case = made.cases[0]
    verdict = simulate(case.conditions, case.plant(made.counts))
    passed = np.flatnonzero(verdict.survives)
    if not len(passed):
        return None
    in_order = passed[np.argsort(verdict.margin_wh[passed], kind="stable")]
    if not every and len(in_order) > HARDEST + AT_RANDOM:
        rest = np.random.default_rng(choice.operation.need.seed).permutation(in_order[HARDEST:])
        in_order = np.concatenate([in_order[:HARDEST], rest[:AT_RANDOM]])
    windows = np.sort(in_order)
    return verdict.margin_wh[windows], second_opinion(choice.operation, choice.sky, plain_kit(choice), windows)


def _with_cause(choice: Choice, found: Agreement, opinion: Opinion, worst: int) -> Agreement:
    """The agreement with what makes the worst window fail."""
    from dataclasses import replace

    made = choice.made
    assert made is not None
    case = made.cases[0]
    k, until = int(opinion.windows[worst]), int(opinion.lowest_minute[worst]) + 1
    plant = case.plant(made.counts)
    one = case.conditions.window(k)
    ends_h = np.cumsum(one.step_h)
    lengths_h = np.clip(until / 60.0 - (ends_h - one.step_h), 0.0, one.step_h)
    harvest_wh = float((charging_w(one, plant) @ lengths_h)[0])
    draw_wh = float(demand_w(one, plant) @ lengths_h)
    per_minute = made.model.bus.nominal_v / 60.0
    offered = opinion.harvest_a[worst, :until]
    refused = np.maximum(offered - opinion.load_a[worst, :until], 0.0) - opinion.filled_a[worst, :until]
    return replace(
        found,
        short_wh=max(0.0, -float(opinion.margin_wh[worst])),
        window=choice.sky.labels[k],
        cut_off=opinion.cut_offs[worst],
        harvest_wh=float(offered.sum()) * per_minute - harvest_wh,
        draw_wh=float(opinion.load_a[worst, :until].sum()) * per_minute - draw_wh,
        refused_wh=float(refused.sum()) * per_minute,
    )
