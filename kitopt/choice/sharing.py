"""One stock for several operators: every item in one place at a time, and nobody left short more than need be.

Where not all can succeed, the smallest share of any operation's need that is met is made as large as
can be, then the next, in steps of half a percent.
"""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace

from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice.found import Found
from kitopt.choice.handovers import Handover, handovers
from kitopt.choice.measure import margin_at, part_of
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.program import Program, given
from kitopt.choice.search import Search
from kitopt.choice.terms import Choice, Proof, Status
from kitopt.engine import Case
from kitopt.engine.halving import last_that_holds
from kitopt.engine.strongest import scaled
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.operation.extras import shared_out, wanted_extras
from kitopt.operation.plans import Programme, hang_together
from kitopt.operation.terms import Operation
from kitopt.operation.ways import Ways
from kitopt.sky.windows import SkyOf

STEPS = 200
"""Shares are told to half of a percent."""


@dataclass(frozen=True)
class Sheet:
    """What one outing gets.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
        A kit, whole or short; nothing fits together for it; or that is not known.
    share : float or None
        Share of its need that is met with the confidence asked for; 1 is all of it. [0–1]
    shortfall_wh : float or None
        What it falls short in the last window that would have to be survived. [Wh]
    choice : Choice or None
        Its kit.
    lacks : tuple of str
        Extras that others have meanwhile.
    """

    outing: int
    status: Status
    share: float | None = None
    shortfall_wh: float | None = None
    choice: Choice | None = None
    lacks: tuple[str, ...] = ()


@dataclass(frozen=True)
class Shared:
    """What came of sharing one stock out.

    Attributes
    ----------
    status : {"found", "no-kit", "time-limit"}
        All have what they need; they cannot; or that is not known.
    is_fairest : bool
        Whether it is proved that no larger share can be had for those who are short.
    """

    programme: Programme
    inventory: Inventory
    status: Status
    proof: Proof
    sheets: tuple[Sheet, ...] = ()
    handovers: tuple[Handover, ...] = ()
    is_fairest: bool = True

    @property
    def mass_g(self) -> int:
        """Mass of all kits. [g]"""
        return sum(sheet.choice.mass_g for sheet in self.sheets if sheet.choice is not None)


def share(programme: Programme, inventory: Inventory, sky_of: SkyOf, *, budget: Budget = UNLIMITED) -> Shared:
    """Share one inventory out over operations whose dates may overlap; nice loads stay at home.

    What one has had another can have later, where there is a way and the time for it.
    """
    ways = Ways(programme)
    together = ways.at_once()
    outings = programme.musts.outings
    extras = shared_out([outing.operation for outing in outings], inventory, together)
    operations = [replace(one.operation, extras=extras[o]) for o, one in enumerate(outings)]
    wanted = tuple(Wanted((operation,)) for operation in operations)
    problem = Problem(wanted, inventory, sky_of, tuple(together))
    each: list[tuple[Found, list[int], Mapping[int, float | None]]] = []
    value, bound, is_fairest = 0.0, 0.0, True
    for group in ways.hang_together():
        budget.say(", ".join(programme.outings[o].operation.name for o in group))
        search = Search(problem, ["mass", "items"], budget, told="none")
        apart = _apart(search, group, programme)
        if apart:
            value += sum(found.value for found, _ in apart)
            bound += sum(found.bound for found, _ in apart)
            each += [(found, part, dict.fromkeys(part, 1.0)) for found, part in apart]
            continue
        table = _Table(problem, group, budget)
        found = search.together(group)
        value += found.value
        bound += found.bound
        shares: Mapping[int, float | None] = dict.fromkeys(group, 1.0)
        if not found.has_kits:
            found, shares = table.fairest()
            is_fairest &= table.is_sure
        each.append((found, group, shares))
    proof = Proof.reached("mass", value, bound)
    used: dict[int, dict[str, int]] = {}
    sheets: list[Sheet] = []
    for found, group, shares in each:
        sheets += _sheets(found, group, shares, proof.status)
        if found.best is not None and found.best.outcome.counts is not None:
            used |= found.best.program.used(found.best.outcome.counts)
    sheets = [
        replace(one, lacks=_lacks(outings[one.outing].operation, extras[one.outing], inventory)) for one in sheets
    ]
    sheets.sort(key=lambda sheet: sheet.outing)
    carried = {o: given(operations[o], inventory) for o in used}
    all_used = {o: {**counts, **carried[o]} for o, counts in used.items()}
    return Shared(programme, inventory, proof.status, proof, tuple(sheets), handovers(ways, all_used), is_fairest)


def _apart(search: Search, group: Sequence[int], programme: Programme) -> list[tuple[Found, list[int]]]:
    """The best kits of those that overlap, chosen without the others; nothing where these then lack a piece.

    Where a handover has no way, outings of different days share the stock too; mostly there is enough of everything.
    """
    parts = [part for part in hang_together(programme.outings) if set(part) <= set(group)]
    if len(parts) < 2:
        return []
    used: dict[int, dict[str, int]] = {}
    found = []
    for part in parts:
        one = search.together(part)
        if one.best is None or one.best.outcome.counts is None or not one.is_settled:
            return []
        used |= one.best.program.used(one.best.outcome.counts)
        found.append((one, part))
    problem = search.problem
    for together in problem.at_once:
        needs = sum((Counter(used.get(o, {})) for o in together), Counter[str]())
        if any(n > problem.owned(item_id) for item_id, n in needs.items()):
            return []
    return found


def _lacks(operation: Operation, got: Sequence[tuple[str, int]], inventory: Inventory) -> tuple[str, ...]:
    """Extras of which an outing gets none, because others have them."""
    has = dict(got)
    wanted = wanted_extras(operation, inventory)
    return tuple(sorted(extra.id for extra in wanted if extra.count > 0 and not has.get(extra.id)))


def _sheets(found: Found, group: Sequence[int], shares: Mapping[int, float | None], status: Status) -> list[Sheet]:
    counts = None if found.best is None else found.best.outcome.counts
    made = {} if found.best is None or counts is None else found.best.program.made(counts)
    sheets = []
    for o in group:
        share = shares[o]
        if o not in made or counts is None or share is None:
            sheets.append(Sheet(o, "time-limit") if share is None else Sheet(o, "no-kit", 0.0, 0.0))
            continue
        assert found.best is not None
        sky = found.best.program.problem.skies(o)[0]
        kit = made[o]
        choice = part_of(kit.model, kit.counts(counts), sky, status, is_settled=found.is_settled)
        assert choice.made is not None
        own = choice.made.counts
        short_wh = [-margin_at(case, own)[0] for case in choice.made.cases if case.is_asked(own)]
        sheets.append(Sheet(o, "found", share, max(0.0, *short_wh) if share < 1.0 else 0.0, choice))
    return sheets


@dataclass
class _Table:
    """One group of outings that overlap, of which not all can have what they need."""

    problem: Problem
    group: Sequence[int]
    budget: Budget
    is_sure: bool = True
    skipped: dict[int, float | None] = field(default_factory=dict)
    """Outings for which nothing fits together: 0, or None where others may be meant."""
    best: tuple[list[int], dict[int, int], Found] | None = None
    """The fairest kits known, with their levels in order and by outing."""
    known: dict[tuple[tuple[int, int], ...], bool] = field(default_factory=dict)
    searches: dict[tuple[int, int], Search] = field(default_factory=dict)
    """Where each outing has been looked at alone, by its level."""

    def fairest(self) -> tuple[Found, dict[int, float | None]]:
        """The kits whose smallest share is as large as can be, then the next, and so on; a share is None if unknown."""
        try:
            self._leave_out()
        except OutOfTime:
            self.is_sure = False
            return Found(None, 0.0, is_sure=False), dict.fromkeys(self.group, None)
        numbers = [o for o in self.group if o not in self.skipped]
        fixed = self._raised(numbers, {})
        found = self._at(fixed, ["mass", "items"]).together(numbers)
        if not found.has_kits and self.best is not None:
            _, fixed, found = self.best
            found = replace(found, is_sure=False)
        if not found.has_kits:
            return found, dict.fromkeys(numbers, None) | self.skipped
        return found, {o: n / STEPS for o, n in fixed.items()} | self.skipped

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
        classes = dict.fromkeys(self.group, bus_classes(self.problem.stock.batteries))
        program = Program(
            self.problem, classes, may_skip=True, change=lambda _, case: scaled(case, 0.0), budget=self.budget
        )
        outcome = program.solve(program.plan(["unserved"]), budget=self.budget)
        if outcome.counts is None:
            raise OutOfTime
        self.is_sure &= outcome.status == "found"
        made = program.made(outcome.counts)
        share = 0.0 if outcome.status == "found" else None
        self.skipped = {o: share for o in self.group if o not in made}

    def _level(self, numbers: Sequence[int], fixed: Mapping[int, int], rest: Sequence[int]) -> int:
        """The largest share that all of the rest can have, the others keeping theirs."""
        if self._works(numbers, {**fixed, **dict.fromkeys(rest, STEPS)}):
            return STEPS
        return last_that_holds(
            lambda level: self._works(numbers, {**fixed, **dict.fromkeys(rest, level)}),
            max(fixed.values(), default=0),
            STEPS,
        )

    def _works(self, numbers: Sequence[int], levels: Mapping[int, int]) -> bool:
        key = tuple(sorted((o, levels[o]) for o in numbers))
        if key not in self.known:
            over = self._at(levels, ["mass"])
            for o in numbers:
                if (o, levels[o]) in self.searches:
                    over.adopt(o, self.searches[o, levels[o]])
            found = over.together(numbers, is_any_enough=True)
            self.searches |= {(o, levels[o]): over for o in numbers}
            self.is_sure &= found.has_kits or found.is_sure
            self.known[key] = found.has_kits
            order = sorted(levels[o] for o in numbers)
            if found.has_kits and (self.best is None or order > self.best[0]):
                self.best = order, {o: levels[o] for o in numbers}, found
        return self.known[key]

    def _at(self, levels: Mapping[int, int], names: Sequence[str]) -> Search:
        def at_share(o: int, case: Case) -> Case:
            return scaled(case, levels[o] / STEPS)

        return Search(self.problem, names, self.budget, change=at_share, told="none")
