"""One stock for several operators: every item in one place at a time, and nobody left short more than need be.

Where not all can succeed, the smallest share of any operation's need that is met is made as large as
can be, then the next, in steps of half a percent.
"""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.engine import Case
from kitopt.engine.judge import simulate
from kitopt.engine.strongest import scaled
from kitopt.inventory.items import Inventory
from kitopt.many.group import Found, Group
from kitopt.many.joint import Bench, Joint
from kitopt.many.terms import Outing, Programme, at_once, hang_together
from kitopt.pack import Choice, Proof, Status
from kitopt.sky.windows import SkyOf

STEPS = 200
"""Shares are told to half of a percent."""


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
    budget: Budget = UNLIMITED,
) -> Shared:
    """Share one inventory out over operations whose dates may overlap."""
    stock = inventory
    if any(len(together) > 1 for together in at_once(programme.outings)):
        # who takes the meter and the pegs is for the operators to settle
        stock = replace(inventory, extras=())
    bench = Bench(programme.outings, stock, sky_of=sky_of)
    sheets: list[Sheet] = []
    is_proved, is_fairest, all_served = True, True, True
    mass, bound = 0.0, 0.0
    used: dict[int, dict[str, int]] = {}
    for group in hang_together(programme.outings):
        budget.say(", ".join(programme.outings[o].operation.name for o in group))
        table = _Table(bench, group, budget)
        found = table.all_served()
        shares = dict.fromkeys(group, 1.0)
        if found.has_kits:
            is_proved &= found.is_sure
            mass += found.value
            bound += found.bound
        else:
            all_served = False
            is_proved &= found.is_sure
            found, shares = table.fairest()
            is_fairest &= table.is_sure
        sheets += _sheets(found, group, shares)
        if found.joint is not None and found.outcome is not None and found.outcome.counts is not None:
            used |= found.joint.used(found.outcome.counts)
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


def _sheets(found: Found, group: Sequence[int], shares: Mapping[int, float]) -> list[Sheet]:
    if found.joint is None or found.outcome is None or found.outcome.counts is None:
        return [Sheet(o, 0.0, 0.0, None) for o in group]
    made = found.joint.choices(found.outcome.counts, Proof(None, None, True), "found")
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
    budget: Budget
    is_sure: bool = True
    skipped: set[int] = field(default_factory=set)
    known: dict[tuple[tuple[int, int], ...], bool] = field(default_factory=dict)
    groups: dict[tuple[int, int], Group] = field(default_factory=dict)
    """Where each outing has been looked at alone, by its level."""

    def all_served(self) -> Found:
        """The lightest kits that serve all."""
        over = Group(self.bench, {}, ["mass", "items"], self.budget)
        return over.together(self.group)

    def fairest(self) -> tuple[Found, dict[int, float]]:
        """The kits whose smallest share is as large as can be, then the next, and so on."""
        self._leave_out()
        numbers = [o for o in self.group if o not in self.skipped]
        fixed = self._raised(numbers, {})
        shares = {o: n / STEPS for o, n in fixed.items()} | dict.fromkeys(self.skipped, 0.0)
        over = self._at(fixed, ["mass", "items"])
        return over.together(numbers), shares

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
        joint = Joint(self.bench, self.group, {}, may_skip=True, change=lambda _, case: scaled(case, 0.0))
        outcome, _ = joint.solve(["unserved"], budget=self.budget)
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
        key = tuple(sorted((o, levels[o]) for o in numbers))
        if key not in self.known:
            over = self._at(levels, ["mass"])
            for o in numbers:
                if (o, levels[o]) in self.groups:
                    over.adopt(o, self.groups[o, levels[o]])
            found = over.together(numbers, is_any_enough=True)
            self.groups |= {(o, levels[o]): over for o in numbers}
            self.is_sure &= found.has_kits or found.is_sure
            self.known[key] = found.has_kits
        return self.known[key]

    def _at(self, levels: Mapping[int, int], names: Sequence[str]) -> Group:
        def at_share(o: int, case: Case) -> Case:
            return scaled(case, levels[o] / STEPS)

        return Group(self.bench, {}, names, self.budget, change=at_share)
