"""The standing grab-kit: the smallest kit that passes every event at every one of its dates.

One bag of items, wired at each event as that event asks; what an event does not need is taken out. Batteries are as
full as the events say, less what they lose by themselves in the days between two charges.
"""

from __future__ import annotations

import math
from collections.abc import Sequence
from dataclasses import dataclass, replace

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.bags import fill_bags
from kitopt.choice.found import Found, Solved
from kitopt.choice.measure import listed, margin_at, part_of
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.search import Search
from kitopt.choice.serving import most_served, nice_of
from kitopt.choice.side_by_side import Placed
from kitopt.choice.strongest import strongest_over
from kitopt.choice.terms import Choice, Floats, Nice, Packed, Proof, Status
from kitopt.engine.halving import last_that_holds
from kitopt.engine.joint import places_of_missing, simulate
from kitopt.engine.strongest import share_met
from kitopt.inventory.items import Inventory
from kitopt.model.bus import SELF_DISCHARGE_PER_MONTH, BusClass
from kitopt.operation.plans import Event, Standing
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky, SkyOf

LONGEST_STORED_DAYS = 365

NiceAt = tuple[int, str]
"""A nice load at an event, by number and id."""


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
    filled : tuple of tuple of Packed, or None
        What goes into each bag; empty where the pieces do not go in, None where it is not known.
    short : tuple of (event, share) or None
        Where no kit works: what the strongest meets of each event's need.
    nices : tuple of tuple of Nice
        What becomes of the nice loads of each event; ``standing`` has those that run.
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
    filled: tuple[tuple[Packed, ...], ...] | None = ()
    short: tuple[tuple[str, float], ...] = ()
    nices: tuple[tuple[Nice, ...], ...] = ()

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
    """Choose the smallest kit that passes every event at every date, with most nice loads of the first, and so on.

    Parameters
    ----------
    sky_of : callable
        Gives the windows of an operation.
    mass_g : float
        Only kits up to this are of interest. [g]
    """

    def best(running: Sequence[NiceAt], most_g: float, part: Budget) -> _Tried:
        at = _running(standing, running)
        problem = Problem(
            tuple(Wanted(_stored(standing, event)) for event in at.events),
            inventory,
            sky_of,
            is_one_bag=True,
        )
        at_most = {"mass": min(most_g, _most_g(standing, mass_g))}
        found = Search(problem, in_order(standing.least), part, at_most=at_most).alone(0)
        return _Tried(at, found, Proof.reached(standing.least, found.value, found.bound))

    nices = [(e, one) for e, event in enumerate(standing.events) for one in event.dates[0].nices]
    limits = [g for event in standing.events if (g := event.dates[0].nice_at_most_g) is not None]
    tried, left = most_served(nices, min(limits, default=None), best, budget)
    each = tuple(
        tuple(nice_of(one, (e, one), left) for one in event.dates[0].nices) for e, event in enumerate(standing.events)
    )
    is_settled = all(nice.runs is not None for some in each for nice in some)
    proof = tried.proof if is_settled else replace(tried.proof, proved=False)
    made = GrabKit(tried.standing, inventory, proof.status, proof, nices=each)
    if tried.found.best is not None:
        return _described(replace(made, packed=tried.packed), tried.found.best, budget)
    if tried.found.is_impossible:
        made = replace(made, short=_short(standing, tried.found.tried, budget))
    return made


@dataclass(frozen=True)
class _Tried:
    """The smallest bag for some loads, or that there is none."""

    standing: Standing
    found: Found
    proof: Proof

    @property
    def packed(self) -> tuple[Packed, ...]:
        """What is in it; empty where there is none."""
        if self.found.best is None:
            return ()
        program, counts = self.found.best.program, self.found.best.outcome.counts
        assert counts is not None
        return listed(program.stock, program.in_all(counts) | program.carried())

    @property
    def mass_g(self) -> int:
        """Mass of everything. [g]"""
        by_id = {} if self.found.best is None else self.found.best.program.stock.by_id
        return sum(one.count * by_id[one.id].mass_g for one in self.packed)


def _running(standing: Standing, nices: Sequence[NiceAt]) -> Standing:
    """What the kit must be ready for, with some of the nice loads of some events."""
    events = []
    for e, event in enumerate(standing.events):
        ids = {one for i, one in nices if i == e}
        events.append(replace(event, dates=tuple(date.running(ids) for date in event.dates)))
    return replace(standing, events=tuple(events))


def _stored(standing: Standing, event: Event) -> tuple[Operation, ...]:
    """An event's dates, at each of which the kit has lain by the door for as long as it may."""
    return tuple(replace(date, stored_days=float(standing.recharge_days)) for date in event.dates)


def _most_g(standing: Standing, mass_g: float) -> float:
    """The least of all limits on the whole bag. [g]"""
    limits = [d.mass_limit_g for event in standing.events for d in event.dates if d.mass_limit_g is not None]
    if standing.bags:
        limits.append(sum(bag.mass_g for bag in standing.bags))
    return min([mass_g, *map(float, limits)])


@dataclass(frozen=True)
class _SetUp:
    """The kit of one event, as counts of its plan."""

    event: int
    kit: Placed
    counts: Floats
    skies: tuple[Sky, ...]
    is_settled: bool

    def trials(self) -> tuple[Trial, ...]:
        """How it fares at every date."""
        found: dict[int, Trial] = {}
        for d, case in zip(self.kit.dates, self.kit.cases, strict=True):
            if case.is_asked(self.counts):
                known = found.get(d)
                margin_wh, _ = margin_at(case, self.counts)
                if known is not None:
                    # the base case comes first: its survivors are told, the least margin of all counts
                    found[d] = replace(known, margin_wh=min(known.margin_wh, margin_wh))
                    continue
                survives = simulate(case.conditions, case.plant(self.counts)).survives
                n_survived = int(np.count_nonzero(survives))
                found[d] = Trial(self.event, d, len(survives), n_survived, case.n_needed, margin_wh)
        return tuple(found.values())

    def passes(self, days: float) -> bool:
        """Whether it passes all its dates when it has lain so many days longer."""
        model, counts = self.kit.model, self.kit.counts(self.counts)
        lost_wh = 0.0
        for j in model.battery_columns:
            battery = model.battery(j)
            rate = SELF_DISCHARGE_PER_MONTH[battery.chemistry] / 30.0
            lost_wh += rate * battery.measured_ah * battery.nominal_v * float(counts[j])
        for case in self.kit.cases:
            if case.is_asked(self.counts):
                plant = case.plant(self.counts)
                places = places_of_missing(case.conditions)
                plant[places] += days * lost_wh / len(places)
                if int(np.count_nonzero(simulate(case.conditions, plant).survives)) < case.n_needed:
                    return False
        return True


def _described(made: GrabKit, best: Solved, budget: Budget) -> GrabKit:
    """The grab-kit with what is in it, how it fares everywhere, and how it is set up at each event."""
    program = best.program
    setups = [_set_up(best, e, budget) for e in program.kits]
    trials = tuple(trial for one in setups for trial in one.trials())
    choices = []
    for one in setups:
        date = min((t for t in trials if t.event == one.event), key=lambda t: (t.margin_wh, t.date)).date
        operation = program.problem.wanted[one.event].dates[date]
        model = replace(one.kit.model, operation=operation, inventory=program.stock)
        counts = one.kit.counts(one.counts)
        choice = part_of(model, counts, one.skies[date], made.status, is_settled=one.is_settled)
        choices.append(replace(choice, nices=made.nices[one.event]))
    bags = made.standing.bags
    return replace(
        made,
        trials=trials,
        choices=tuple(choices),
        bus=program.kits[0][0].model.bus,
        recharge_days=_recharge_days(made.standing.recharge_days, setups),
        filled=fill_bags(made.packed, program.stock, bags, budget) if bags else (),
    )


def _set_up(best: Solved, e: int, budget: Budget) -> _SetUp:
    """The lightest kit for an event out of the bag; without the time for it, that which proved the bag."""
    program, counts = best.program, best.outcome.counts
    assert counts is not None
    bag, skies = program.in_all(counts), program.problem.skies(e)
    (kit,) = program.kits[e]
    # what is forced in is in the bag, and only there
    wanted = Wanted(tuple(replace(date, bounds=()) for date in program.problem.wanted[e].dates))
    in_bag = program.stock.counting(lambda item: bag.get(item.id, 0))
    by_date = {id(date): sky for date, sky in zip(wanted.dates, skies, strict=True)}
    problem = Problem((wanted,), in_bag, lambda date: by_date[id(date)])
    budget.say(f"{wanted.operation.name}: out of the bag")
    found = Search(problem, ["mass", "items"], budget).alone(0)
    if found.best is None or found.best.outcome.counts is None:
        return _SetUp(e, kit, counts, skies, is_settled=False)
    ((own,),) = found.best.program.kits.values()
    return _SetUp(e, own, found.best.outcome.counts, skies, is_settled=found.is_settled)


def _recharge_days(interval: int, setups: Sequence[_SetUp]) -> int | None:
    """Days in store, self-discharge as usual, after which everything is still passed."""

    def passes(days: int) -> bool:
        return all(one.passes(days - interval) for one in setups)

    if not passes(interval):
        return None
    return last_that_holds(passes, interval, max(LONGEST_STORED_DAYS, interval) + 1)


def _short(standing: Standing, tried: tuple[Solved, ...], budget: Budget) -> tuple[tuple[str, float], ...]:
    """What the strongest kit of all classes meets of each event's need."""
    best = strongest_over(tried, budget)
    if best is None:
        return ()
    solved, counts = best
    return tuple(
        (standing.events[e].name, min(share_met(case, counts) for case in kit.cases if case.is_asked(counts)))
        for e, (kit,) in solved.program.kits.items()
    )
