"""One stock for several operators: every item in one place at a time, and nobody left short more than need be.

Where not all can succeed, the smallest share of any operation's need that is met is made as large as
can be, then the next, in steps of a thousandth.
"""

from __future__ import annotations

import math
import time
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kitopt.choose import Case, Outcome, Reporter
from kitopt.choose.strongest import scaled
from kitopt.inventory.items import Inventory
from kitopt.many.joint import Bench, Joint, SkyOf
from kitopt.many.terms import Outing, Programme, at_once
from kitopt.pack import Choice, Proof, Status
from kitopt.simulate import simulate

STEPS = 1000
"""Shares are told to a thousandth."""


@dataclass(frozen=True)
class Handover:
    """Pieces of an item that go from one outing to a later one.

    Attributes
    ----------
    giver : int or None
        The outing that they come from; None for the store.
    """

    id: str
    count: int
    giver: int | None
    taker: int


@dataclass(frozen=True)
class Sheet:
    """What one outing gets.

    Attributes
    ----------
    share : float
        Share of its need that is met with the confidence asked for; 1 is all of it. [0–1]
    shortfall_wh : float
        What it falls short in the last window that would have to be survived. [Wh]
    choice : Choice or None
        Its kit; None where nothing fits together for it.
    """

    outing: int
    share: float
    shortfall_wh: float
    choice: Choice | None


@dataclass(frozen=True)
class Shared:
    """What came of sharing one stock out."""

    programme: Programme
    inventory: Inventory
    status: Status
    proof: Proof
    sheets: tuple[Sheet, ...] = ()
    handovers: tuple[Handover, ...] = ()
    is_fairest: bool = True
    """Whether it is proved that no larger share can be had for those who are short."""

    @property
    def mass_g(self) -> int:
        """Mass of all kits. [g]"""
        return sum(sheet.choice.mass_g for sheet in self.sheets if sheet.choice is not None)


def share(
    programme: Programme,
    inventory: Inventory,
    sky_of: SkyOf,
    *,
    seconds: float = math.inf,
    reporter: Reporter | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Shared:
    """Share one inventory out over operations whose dates may overlap.

    Parameters
    ----------
    seconds : float
        Time limit over everything. [s]
    """
    deadline = time.monotonic() + seconds
    stock = inventory
    if any(len(together) > 1 for together in at_once(programme.outings)):
        # who takes the meter and the pegs is for the operators to settle
        stock = replace(inventory, extras=())
    bench = Bench(programme.outings, stock, sky_of=sky_of)
    sheets: list[Sheet] = []
    is_proved, is_fairest, all_served = True, True, True
    mass, bound = 0.0, 0.0
    used: dict[int, dict[str, int]] = {}
    for group in _groups(programme.outings):
        say(", ".join(programme.outings[o].operation.name for o in group))
        table = _Table(bench, group, deadline, reporter)
        outcome, joint = table.all_served()
        shares = dict.fromkeys(group, 1.0)
        if outcome.counts is None:
            all_served = False
            is_proved &= outcome.status == "no-kit"
            outcome, joint, shares = table.fairest()
            is_fairest &= table.is_sure
        else:
            is_proved &= outcome.status == "found"
            mass += outcome.objective
            bound += outcome.bound
        sheets += _sheets(joint, outcome, group, shares)
        if outcome.counts is not None:
            used |= joint.used(outcome.counts)
    status: Status = "no-kit" if not all_served else "found"
    if not is_proved:
        status = "time-limit"
    proof = Proof(mass, mass if is_proved else bound, is_proved) if all_served else Proof(None, None, is_proved)
    sheets.sort(key=lambda sheet: sheet.outing)
    marked = [
        replace(s, choice=None if s.choice is None else replace(s.choice, status=status, proof=proof)) for s in sheets
    ]
    handed = handovers(programme.outings, used)
    return Shared(programme, stock, status, proof, tuple(marked), handed, is_fairest)


def handovers(outings: Sequence[Outing], used: Mapping[int, Mapping[str, int]]) -> tuple[Handover, ...]:
    """What changes hands: each outing takes what its own operator has, then what was free first, then from the store.

    Parameters
    ----------
    used : mapping of outing to counts by id
    """
    found: list[Handover] = []
    ids = sorted({item_id for counts in used.values() for item_id in counts})
    for item_id in ids:
        holders: list[int] = []  # one entry a piece that has left the store
        for taker in sorted(used, key=lambda o: (outings[o].begins, o)):
            wanted = used[taker].get(item_id, 0)
            free = [o for o in holders if outings[o].ends <= outings[taker].begins]
            own = outings[taker].operator
            free.sort(key=lambda o: (not own or outings[o].operator != own, outings[o].ends, o))
            taken = free[:wanted]
            for giver in sorted(set(taken)):
                if not own or outings[giver].operator != own:
                    found.append(Handover(item_id, taken.count(giver), giver, taker))
            if wanted > len(taken):
                found.append(Handover(item_id, wanted - len(taken), None, taker))
            for giver in taken:
                holders.remove(giver)
            holders += [taker] * wanted
    found.sort(key=lambda h: (outings[h.taker].begins, h.taker, h.giver is None, h.giver or 0, h.id))
    return tuple(found)


def _groups(outings: tuple[Outing, ...]) -> list[list[int]]:
    """Outings that hang together by overlaps."""
    merged: list[set[int]] = []
    for together in at_once(outings):
        group = set(together)
        touching = [one for one in merged if one & group]
        merged = [one for one in merged if not one & group]
        merged.append(group.union(*touching))
    return sorted(sorted(one) for one in merged)


def _sheets(joint: Joint, outcome: Outcome, group: Sequence[int], shares: Mapping[int, float]) -> list[Sheet]:
    if outcome.counts is None:
        return [Sheet(o, 0.0, 0.0, None) for o in group]
    made = joint.choices(outcome.counts, Proof(None, None, True), "found")
    sheets = []
    for o in group:
        choice = made.get(o)
        if choice is None:
            sheets.append(Sheet(o, 0.0, 0.0, None))
            continue
        solved = choice.solved[0]
        assert solved.outcome.counts is not None
        short_wh = 0.0
        for case in solved.plan.cases:
            if case.is_asked(solved.outcome.counts):
                margins = simulate(case.conditions, case.plant(solved.outcome.counts)).margin_wh
                short_wh = max(short_wh, -float(np.sort(margins)[::-1][case.n_needed - 1]))
        sheets.append(Sheet(o, shares[o], short_wh if shares[o] < 1.0 else 0.0, choice))
    return sheets


@dataclass
class _Table:
    """One group of outings that overlap."""

    bench: Bench
    group: Sequence[int]
    deadline: float
    reporter: Reporter | None
    is_sure: bool = True
    skipped: set[int] = field(default_factory=set)

    def all_served(self) -> tuple[Outcome, Joint]:
        """The lightest kits that serve all."""
        joint = Joint(self.bench, self.group, {})
        outcome, _ = joint.solve(["mass", "items"], deadline=self.deadline, reporter=self.reporter)
        return outcome, joint

    def fairest(self) -> tuple[Outcome, Joint, dict[int, float]]:
        """The kits whose smallest share is as large as can be, then the next, and so on."""
        self._leave_out()
        numbers = [o for o in self.group if o not in self.skipped]
        if not numbers:
            nothing = Outcome("no-kit", None, math.inf, math.inf, (), rounds=0)
            return nothing, Joint(self.bench, [], {}), dict.fromkeys(self.skipped, 0.0)
        fixed = self._raised(numbers, {})
        shares = {o: n / STEPS for o, n in fixed.items()} | dict.fromkeys(self.skipped, 0.0)
        joint = self._joint(numbers, fixed)
        outcome, _ = joint.solve(["mass", "items"], deadline=max(self.deadline, time.monotonic() + 10.0))
        return outcome, joint, shares

    def _raised(self, numbers: Sequence[int], fixed: Mapping[int, int]) -> dict[int, int]:
        """Shares of all, the smallest as large as can be, then the next; some are given."""
        rest = [o for o in numbers if o not in fixed]
        if not rest:
            return dict(fixed)
        level = self._level(numbers, fixed, rest)
        if level == STEPS:
            return {**fixed, **dict.fromkeys(rest, STEPS)}
        common = {**fixed, **dict.fromkeys(rest, level)}
        stuck = [o for o in rest if not self._works(numbers, {**common, o: level + 1})]
        if stuck:
            return self._raised(numbers, {**fixed, **dict.fromkeys(stuck, level)})
        # each could rise, but not all at once: try which of them stays
        tries = [self._raised(numbers, {**fixed, o: level}) for o in rest]
        return max(tries, key=lambda shares: sorted(shares.values()))

    def _leave_out(self) -> None:
        """Outings for which nothing fits together, even for no load at all; as few as can be."""
        if self._works(self.group, dict.fromkeys(self.group, 0)):
            return
        joint = self._joint(self.group, dict.fromkeys(self.group, 0), may_skip=True)
        outcome, _ = joint.solve(["unserved"], deadline=self.deadline, reporter=self.reporter)
        self.is_sure &= outcome.status == "found"
        made = set() if outcome.counts is None else set(joint.made(outcome.counts))
        self.skipped = set(self.group) - made

    def _level(self, numbers: Sequence[int], fixed: Mapping[int, int], rest: Sequence[int]) -> int:
        """The largest share that all of the rest can have, the others keeping theirs."""
        if self._works(numbers, {**fixed, **dict.fromkeys(rest, STEPS)}):
            return STEPS
        low, high = max(fixed.values(), default=0), STEPS
        while high - low > 1:
            middle = (low + high) // 2
            if self._works(numbers, {**fixed, **dict.fromkeys(rest, middle)}):
                low = middle
            else:
                high = middle
        return low

    def _works(self, numbers: Sequence[int], levels: Mapping[int, int]) -> bool:
        outcome, _ = self._joint(numbers, levels).solve(["mass"], deadline=self.deadline, reporter=self.reporter)
        self.is_sure &= outcome.status != "time-limit" or outcome.counts is not None
        return outcome.counts is not None

    def _joint(self, numbers: Sequence[int], levels: Mapping[int, int], *, may_skip: bool = False) -> Joint:
        def at_share(o: int, case: Case) -> Case:
            return scaled(case, levels[o] / STEPS)

        return Joint(self.bench, numbers, {}, may_skip=may_skip, change=at_share)
