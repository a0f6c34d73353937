"""The standing grab-kit: the smallest kit that passes every event at every one of its dates.

One bag of items, wired at each event as that event asks. All its batteries are on the bus at every
event; panels, controllers, leads and converters may stay in the bag. Batteries are taken to be
charged as the events say at the start: a standing kit is recharged, see ``recharge_days``.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget
from kitopt.engine import Case, Objective, Outcome, Plan
from kitopt.engine.judge import simulate
from kitopt.engine.lazily import choose_lazily
from kitopt.engine.learned import CaseMemory
from kitopt.engine.strongest import share_met, strongest
from kitopt.inventory.items import Battery, Inventory
from kitopt.many.side_by_side import Placed, SideBySide
from kitopt.many.terms import Event, Standing
from kitopt.model.bus import SELF_DISCHARGE_PER_MONTH, BusClass, bus_classes
from kitopt.model.station_side import station_peak_a
from kitopt.pack import (
    KIND_ORDER,
    UNPRICED_CENTS,
    Choice,
    Packed,
    Proof,
    Solved,
    Status,
    build_model,
    build_plan,
    cases_under,
    kind_of,
    measured,
    with_need,
)
from kitopt.sky.windows import Sky, SkyOf

Floats = NDArray[np.float64]

_SECONDS_STRONGEST = 30.0
LONGEST_STORED_DAYS = 365
LONGEST_H = 14 * 24
"""What lasts two weeks is not tried for longer. [h]"""


@dataclass(frozen=True)
class Trial:
    """How a kit fares at one date of one event.

    Attributes
    ----------
    margin_wh : float
        Of the last window that has to be survived, over the kit whole and every loss. [Wh]
    """

    event: int
    date: int
    tried: int
    survived: int
    needed: int
    margin_wh: float


@dataclass(frozen=True)
class GrabKit:
    """What came of packing a grab-kit.

    Attributes
    ----------
    packed : tuple of Packed
        Everything, each load as often as some event needs it.
    trials : tuple of Trial
        Every date of every event.
    choices : tuple of Choice
        The kit as it is set up at each event, at that event's hardest date.
    recharge_days : int or None
        Whole days that the kit may lie after a full charge and still pass everything; None where it never may.
    short : tuple of (event, share) or None
        Where no kit works: what the strongest meets of each event's need.
    """

    standing: Standing
    inventory: Inventory
    status: Status
    proof: Proof
    packed: tuple[Packed, ...] = ()
    trials: tuple[Trial, ...] = ()
    choices: tuple[Choice, ...] = ()
    bus: BusClass | None = None
    recharge_days: int | None = None
    short: tuple[tuple[str, float], ...] = ()

    @property
    def mass_g(self) -> int:
        """Mass of everything. [g]"""
        return sum(p.count * self.inventory.by_id[p.id].mass_g for p in self.packed)

    @property
    def hardest(self) -> Trial | None:
        """The date with the least to spare."""
        return min(self.trials, key=lambda t: (t.margin_wh, t.event, t.date), default=None)


def grab_kit(
    standing: Standing,
    inventory: Inventory,
    sky_of: SkyOf,
    *,
    budget: Budget = UNLIMITED,
    mass_g: float = math.inf,
) -> GrabKit:
    """Choose the smallest kit that passes every event at every date.

    Parameters
    ----------
    sky_of : callable
        Gives the windows of an operation.
    mass_g : float
        Only kits up to this are of interest. [g]
    """
    stock = _kept_charged(inventory)
    skies = [[sky_of(date) for date in event.dates] for event in standing.events]
    best: tuple[tuple[object, ...], _Class, Outcome] | None = None
    solved: list[tuple[_Class, dict[str, CaseMemory]]] = []
    bounds: list[float] = []
    for bus in bus_classes(stock.batteries):
        here = _Class(standing, stock, bus, skies, mass_g)
        memories: dict[str, CaseMemory] = {}
        solved.append((here, memories))
        cutoff = math.inf if best is None else best[2].objective
        outcome = choose_lazily(here.plan, here.first_cases, budget=budget, cutoff=cutoff, memories=memories)
        if outcome.status == "time-limit":
            bounds.append(outcome.bound)
        if outcome.counts is not None:
            values = here.values(outcome.counts)
            if best is None or values < best[0]:
                best = (values, here, outcome)
    if best is None:
        if bounds:
            bound = min(bounds)
            proof = Proof(None, bound if math.isfinite(bound) else None, False)
            return GrabKit(standing, inventory, "time-limit", proof)
        return GrabKit(
            standing,
            inventory,
            "no-kit",
            Proof(None, None, True),
            short=_short(solved, budget.slice(_SECONDS_STRONGEST)),
        )
    _, chosen, outcome = best
    bound = min([outcome.objective, *bounds])
    proof = Proof(outcome.objective, bound, bound >= outcome.objective)
    assert outcome.counts is not None
    made = GrabKit(standing, inventory, "found" if proof.proved else "time-limit", proof, bus=chosen.bus)
    return chosen.described(made, outcome.counts)


def longest(
    standing: Standing,
    inventory: Inventory,
    sky_of: SkyOf,
    mass_g: float,
    *,
    budget: Budget = UNLIMITED,
) -> tuple[int, GrabKit]:
    """The kit within a mass that lasts longest, every event going on for the same hours.

    Longer is never lighter, so halving finds the last whole hour that works.

    Returns
    -------
    hours : int
        0 when not even one hour works.
    kit : GrabKit
        The lightest for that long; its status is "time-limit" when longer might work. [h]
    """
    is_sure = True

    def at(hours: int) -> GrabKit:
        events = tuple(
            replace(event, dates=tuple(replace(date, hours=float(hours)) for date in event.dates))
            for event in standing.events
        )
        over = replace(standing, events=events, least="mass")
        return grab_kit(over, inventory, sky_of, budget=budget, mass_g=mass_g)

    low, high = 0, 1
    found = at(high)
    first = found
    while found.packed:
        low, first = high, found
        if high >= LONGEST_H:
            break
        high = min(2 * high, LONGEST_H)
        found = at(high)
        is_sure &= bool(found.packed) or found.status == "no-kit"
    while low and high - low > 1:
        middle = (low + high) // 2
        found = at(middle)
        if found.packed:
            low, first = middle, found
        else:
            high = middle
            is_sure &= found.status == "no-kit"
    return low, first if is_sure else replace(first, status="time-limit")


def _kept_charged(inventory: Inventory) -> Inventory:
    """The stock without dates of charging: a standing kit is recharged."""
    return replace(inventory, batteries=tuple(replace(b, charged_on=None) for b in inventory.batteries))


class _Class:
    """The plan of a grab-kit on one bus class."""

    def __init__(
        self,
        standing: Standing,
        stock: Inventory,
        bus: BusClass,
        skies: Sequence[Sequence[Sky]],
        mass_g: float,
    ) -> None:
        self.standing, self.stock, self.bus, self.skies = standing, stock, bus, skies
        self.side = SideBySide()
        self.kits: list[Placed] = []
        self.where: list[tuple[int, int]] = []
        """Event and date of each case."""
        self.first_cases: list[int] = []
        for e, (event, over) in enumerate(zip(standing.events, skies, strict=True)):
            self._add(e, event, over)
        used = sorted({i for kit in self.kits for c in kit.model.columns for i in c.uses})
        self.packs = {item_id: self.side.add_column(stock.by_id[item_id].count) for item_id in used}
        for item_id, pack in self.packs.items():
            is_battery = isinstance(stock.by_id[item_id], Battery)
            for kit in self.kits:
                terms = [*kit.uses(item_id), (pack, -1.0)]
                lower = 0.0 if is_battery else -math.inf
                self.side.add_row(terms, lower, 0.0, "packed", f"{item_id} comes out of the bag")
        self.carried = _carried(standing, stock)
        self._limit(mass_g)
        self.plan = self._plan()

    def _add(self, e: int, event: Event, over: Sequence[Sky]) -> None:
        """One event: laid out for its highest peak and its coldest date."""
        peaks = [station_peak_a(date, self.stock, self.bus) for date in event.dates]
        operation = event.dates[int(np.argmax(peaks))]
        coldest = min(over, key=lambda sky: sky.coldest_degc)
        model = build_model(operation, self.stock, self.bus, coldest)
        cases: list[Case] = []
        darkest = int(np.argmin([float(np.mean(sky.poa_wm2["flat"])) for sky in over]))
        for d, (date, sky) in enumerate(zip(event.dates, over, strict=True)):
            here = cases_under(replace(model, operation=date), sky, f"date {d}")
            if d == darkest:
                self.first_cases += range(len(self.where), len(self.where) + len(here))
            cases += here
            self.where += [(e, d)] * len(here)
        self.kits.append(self.side.add_kit(model, cases, f"event {e}"))

    def _limit(self, mass_g: float) -> None:
        limits = [d.mass_limit_g for event in self.standing.events for d in event.dates if d.mass_limit_g is not None]
        if self.standing.bags:
            limits.append(sum(bag.mass_g for bag in self.standing.bags))
        most = min([mass_g, *map(float, limits)])
        if math.isfinite(most):
            terms = [(j, float(self.stock.by_id[i].mass_g)) for i, j in self.packs.items()]
            fixed = sum(n * self.stock.by_id[i].mass_g for i, n in self.carried.items())
            self.side.add_row(terms, upper=most - fixed, rule="mass-limit", text=f"at most {most:g} g")

    def _plan(self) -> Plan:
        items = {i: self.stock.by_id[i] for i in (*self.packs, *self.carried)}
        costs = {
            "mass": {i: item.mass_g for i, item in items.items()},
            "price": {i: UNPRICED_CENTS if item.price_cents is None else item.price_cents for i, item in items.items()},
            "items": dict.fromkeys(items, 1),
        }
        order = ["mass", "price", "items"]
        order.remove(self.standing.least)
        objectives = [
            Objective(
                name,
                self.side.weights([(j, float(costs[name][i])) for i, j in self.packs.items()]),
                sum(n * costs[name][i] for i, n in self.carried.items()),
            )
            for name in (self.standing.least, *order)
        ]
        return self.side.plan(objectives, [self.side.weights([(j, 1.0)]) for j in self.packs.values()])

    def values(self, counts: Floats) -> tuple[object, ...]:
        """What kits of different classes are compared by."""
        ids = tuple((i, -round(float(counts[j]))) for i, j in self.packs.items() if round(float(counts[j])))
        return (*(o.of(counts) for o in self.plan.objectives), ids)

    def described(self, made: GrabKit, counts: Floats) -> GrabKit:
        """The grab-kit with what is in it, how it fares everywhere, and how it is set up at each event."""
        totals = {i: round(float(counts[j])) for i, j in self.packs.items()} | self.carried
        packed = [Packed(i, kind_of(self.stock, i), n) for i, n in totals.items() if n > 0]
        packed.sort(key=lambda p: (KIND_ORDER.index(p.kind), p.id))
        trials = self._trials(counts)
        made = replace(made, packed=tuple(packed), trials=trials, recharge_days=self._recharge_days(counts))
        return replace(made, choices=tuple(self._choice(made, counts, e) for e in range(len(self.kits))))

    def _trials(self, counts: Floats) -> tuple[Trial, ...]:
        found: dict[tuple[int, int], Trial] = {}
        for (e, d), case in zip(self.where, self.plan.cases, strict=True):
            if not case.is_asked(counts):
                continue
            verdict = simulate(case.conditions, case.plant(counts))
            survived = int(np.count_nonzero(verdict.survives))
            margin_wh = float(np.sort(verdict.margin_wh)[::-1][case.n_needed - 1])
            trial = Trial(e, d, len(verdict.margin_wh), survived, case.n_needed, margin_wh)
            known = found.get((e, d))
            # the base case comes first: its survivors are told, the least margin of all counts
            found[e, d] = trial if known is None else replace(known, margin_wh=min(known.margin_wh, margin_wh))
        return tuple(found.values())

    def _recharge_days(self, counts: Floats) -> int | None:
        """Days in store, self-discharge as usual, after which everything is still passed."""
        rates = np.zeros(len(counts))
        for item_id, j in self.packs.items():
            item = self.stock.by_id[item_id]
            if isinstance(item, Battery):
                rates[j] = SELF_DISCHARGE_PER_MONTH[item.chemistry] / 30.0 * item.measured_ah * item.nominal_v
        lost_wh = float(rates @ counts)

        def passes(days: int) -> bool:
            for case in self.plan.cases:
                if case.is_asked(counts):
                    plant = case.plant(counts)
                    plant[case.conditions.layout.missing] += days * lost_wh
                    verdict = simulate(case.conditions, plant)
                    if int(np.count_nonzero(verdict.survives)) < case.n_needed:
                        return False
            return True

        if not passes(0):
            return None
        low, high = 0, LONGEST_STORED_DAYS + 1
        while high - low > 1:
            middle = (low + high) // 2
            low, high = (middle, high) if passes(middle) else (low, middle)
        return low

    def _choice(self, made: GrabKit, counts: Floats, e: int) -> Choice:
        """The kit at one event, at its hardest date."""
        kit, event = self.kits[e], self.standing.events[e]
        trial = min((t for t in made.trials if t.event == e), key=lambda t: (t.margin_wh, t.date))
        date, sky = event.dates[trial.date], self.skies[e][trial.date]
        model = replace(kit.model, operation=date)
        outcome = Outcome(
            "found", kit.counts(counts), made.proof.objective or 0.0, made.proof.bound or 0.0, (), rounds=0
        )
        solved = Solved(model, build_plan(model, cases_under(model, sky)), outcome)
        blocks = ((self.bus, tuple(model.blocks)),)
        choice = Choice(date, self.stock, sky, made.status, made.proof, blocks=blocks, solved=(solved,))
        return measured(with_need(choice, self.bus), solved)


def _carried(standing: Standing, stock: Inventory) -> dict[str, int]:
    """Loads as often as some event needs them, and the extras."""
    carried: dict[str, int] = {}
    for event in standing.events:
        for use in event.dates[0].loads:
            carried[use.id] = max(carried.get(use.id, 0), use.count)
    return carried | {extra.id: extra.count for extra in stock.extras}


def _short(solved: Iterable[tuple[_Class, dict[str, CaseMemory]]], budget: Budget) -> tuple[tuple[str, float], ...]:
    """What the strongest kit of all classes meets of each event's need."""
    best: tuple[float, _Class, Floats] | None = None
    for here, memories in solved:
        plan = replace(here.plan, cases=tuple(m.case for m in memories.values()))
        found = strongest(plan, list(memories.values()), budget=budget)
        if found.counts is not None and (best is None or found.share > best[0] + 1e-9):
            best = (found.share, here, found.counts)
    if best is None:
        return ()
    _, here, counts = best
    shares: dict[int, float] = {}
    for (e, _), case in zip(here.where, here.plan.cases, strict=True):
        if case.is_asked(counts):
            shares[e] = min(shares.get(e, 1.0), share_met(case, counts))
    return tuple((here.standing.events[e].name, share) for e, share in sorted(shares.items()))
