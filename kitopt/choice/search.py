"""The best kits of a problem: each alone first, then together, class by class.

What a kit needs alone bounds what all need together; where there is enough for the best of each, these
are the best together. A bus class that is worse alone than what is in hand allows can be left out; where
one class is left for each kit, no column has to choose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial
from typing import Any, Literal

from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice.classes import over_classes
from kitopt.choice.found import NOTHING, Brief, Found, Solved
from kitopt.choice.problem import Change, Problem
from kitopt.choice.program import Program, given
from kitopt.engine import Outcome, Plan
from kitopt.inventory.items import Inventory, Item
from kitopt.model.bus import BusClass, bus_classes, setters_of

_SHARED = ("cost", "bought")
"""What is bought for one kit may serve another; of all else all kits have what each has."""


@dataclass
class Search:
    """The kits of a problem, with what is to be made small.

    Attributes
    ----------
    names : sequence of str
        Quantities in order of importance: "cost", "mass", "items".
    allowed : mapping of item id to int
        How many of what is offered may be bought.
    at_most : mapping
        Other quantities that may not be larger.
    change : callable, optional
        Changes each case, such as to a share of its need.
    with_any_of : collection of str, optional
        Items of which each kit must hold one at least.
    skips : callable
        Whether a bus class is left out, nothing in it being of interest.
    """

    problem: Problem
    names: Sequence[str]
    budget: Budget = UNLIMITED
    allowed: Mapping[str, int] = field(default_factory=dict)
    at_most: Mapping[str, float] = field(default_factory=dict)
    forbidden: Sequence[Mapping[str, int]] = ()
    """Purchases none of which may be made whole."""
    change: Change | None = None
    told: Literal["all", "allowed", "none"] = "all"
    """Which classes are kept, since something is told of them: all, those alone that the rules allow where another has
    a kit, or none. What is not kept and cannot hold a kit is not looked at."""
    with_any_of: Collection[str] | None = None
    skips: Callable[[BusClass], bool] = lambda bus: False
    least: float = -math.inf
    """What is known of the first quantity of one kit alone: nothing below works."""
    enough: float = -math.inf
    """A kit for which the first quantity is at most this will do, proved best or not."""
    has_ties: bool = False
    """Whether it is told of each class of one kit alone that it has none as good as the best, not only none better."""
    between: tuple[Search, Search] | None = None
    """Searches with no more allowed, and with no less."""
    like: Search | None = None
    """One with no less allowed: this is laid out like that, and closed for what is not allowed."""
    _alone: dict[int, Found] = field(default_factory=dict)
    _bounds: dict[tuple[int, int], float] = field(default_factory=dict)
    """Of the first quantity, by kit and class."""
    classes: list[BusClass] = field(default_factory=list)
    """Those of all batteries, owned or allowed to be bought."""

    def __post_init__(self) -> None:
        stock = self.problem.with_purchases(self.allowed)
        self.classes = bus_classes(stock.batteries)
        self._stock: Inventory = stock
        if self.like is not None:
            self._stock = self.like._stock
            self.classes = [one for one in self.like.classes if any(one.is_like(bus) for bus in self.classes)]

    def alone(self, o: int, cutoff: float = math.inf) -> Found:
        """The best kit of one number; of one bag, that of all."""
        if o not in self._alone and not self._is_told_by_others(o):
            numbers = range(len(self.problem.wanted)) if self.problem.is_one_bag else [o]
            tried: list[Solved] = []

            def attempt(k: int, most: float, before: Solved | None) -> Solved | None:
                if any(one.outcome.counts is not None and one.outcome.objective <= self.enough for one in tried):
                    return None
                self._bounds[o, k] = max(self._floor_of(numbers, self.classes[k]), self._with_more(o, k))
                if self.told == "none" and most < self._bounds[o, k] - 1e-6:
                    return None
                has_kit = any(one.outcome.counts is not None for one in tried)
                if has_kit and self.told != "all" and not all(self._is_allowed(n, self.classes[k]) for n in numbers):
                    self._bounds[o, k] = math.inf
                    return None
                if before is None:
                    solved = self._try({n: [k] for n in numbers}, most, least=known, may_put_off=len(asked) > 1)
                else:
                    solved = before.gone_on_with(most, known, self.budget, self.enough)
                self._bounds[o, k] = _bound(solved.outcome)
                if not solved.outcome.is_put_off:
                    tried.append(solved)
                return solved

            asked = [k for k, bus in enumerate(self.classes) if not self.skips(bus)]
            known = self._least(o)
            least = max(known, self._floor(numbers))
            # one of several kits is compared by what is made small alone
            is_one_of_many = bool(self.problem.offered) or len(numbers) < len(self.problem.wanted)
            has_ties = self.has_ties or len(self.names) > 1 or not is_one_of_many
            found = over_classes(asked, attempt, cutoff=cutoff, least=least, has_ties=has_ties)
            self._alone[o] = Found(found.best, found.bound, found.is_sure, () if self.told == "none" else found.tried)
        return self._alone[o]

    def _is_told_by_others(self, o: int) -> bool:
        """Whether what is found with no more allowed is as good as with no less; if so it is taken over."""
        if self.between is None:
            return False
        less, more = self.between
        poor, rich = less.alone(o), more.alone(o)
        if not poor.has_kits or rich.bound < poor.value - 1e-6:
            return False
        # what is had for nothing may make it better in what counts after that
        if len(self.names) > 1 and not all(self.problem.prices[i] for i in self.allowed):
            return False
        for k in range(len(self.classes)):
            self._bounds[o, k] = max(rich.bound, self._with_more(o, k))
        self._alone[o] = replace(poor, bound=poor.value, is_sure=True)
        return True

    def _with_more(self, o: int, k: int) -> float:
        """What is known of a kit of a class where no less is allowed."""
        if self.between is None:
            return -math.inf
        more = self.between[1]
        same = (m for m, one in enumerate(more.classes) if one.is_like(self.classes[k]))
        return max((more._bounds.get((o, m), -math.inf) for m in same), default=-math.inf)

    def _least(self, o: int) -> float:
        """What is known of the first quantity of one kit alone: nothing below works."""
        return self.least if self.between is None else max(self.least, self.between[1].alone(o).bound)

    def _is_allowed(self, o: int, bus: BusClass) -> bool:
        """Whether the rules alone allow any kit on a class."""
        return self.problem.layouts.allow_any(self.problem.dated(o, self._stock, bus))

    def adopt(self, o: int, other: Search) -> None:
        """Take over what another search found out about one kit under the very same conditions."""
        if o in other._alone:
            self._alone[o] = other._alone[o]
            self._bounds |= {key: bound for key, bound in other._bounds.items() if key[0] == o}

    def look_alone(self, numbers: Sequence[int], cutoff: float = math.inf) -> None:
        """Find the best kits of some numbers, each alone, at the same time.

        Parameters
        ----------
        cutoff : float
            Only up to this the first quantity of all together is of interest.
        """
        new = self.problem.longest_first(o for o in numbers if o not in self._alone and not self._is_told_by_others(o))
        if len(new) > 1 and self.told == "none":
            asked = [partial(self._alone_in_brief, o, self._room(o, numbers, cutoff)) for o in new]
            for o, brief in zip(new, at_once(asked), strict=True):
                self.take(o, brief)

    def _room(self, o: int, numbers: Sequence[int], cutoff: float) -> float:
        """What of a cutoff of all together the others leave to one kit."""
        if self.names[0] in _SHARED or self.problem.is_one_bag or math.isinf(cutoff):
            return cutoff
        return cutoff - sum(max(self._least(i), self._floor([i])) for i in numbers if i != o)

    def _alone_in_brief(self, o: int, cutoff: float) -> Brief:
        self.alone(o, cutoff)
        return self.in_brief(o)

    def in_brief(self, o: int) -> Brief:
        """What was found of one kit alone."""
        found = self._alone[o]
        bounds = tuple(self._bounds.get((o, k), found.bound) for k in range(len(self.classes)))
        best = None if found.best is None else (self.class_of(found), replace(found.best.outcome, memories=()))
        return Brief(self.allowed, best, found.bound, found.is_sure, bounds)

    def take(self, o: int, brief: Brief) -> Found:
        """Take over what the same search found of one kit in another process."""
        self._bounds |= {(o, k): bound for k, bound in enumerate(brief.bounds)}
        best = None
        if brief.best is not None:
            k, outcome = brief.best
            # what was found is not lost, however late it is
            best = Solved(*self._laid({o: [k]}, budget=UNLIMITED), outcome)
        self._alone[o] = Found(best, brief.bound, brief.is_sure)
        return self._alone[o]

    def know(self, o: int, found: Found) -> None:
        """Take over a best kit of one number, whatever stock it was looked for in; its bound holds for every class."""
        self._alone[o] = found
        self._bounds |= {(o, k): found.bound for k in range(len(self.classes))}

    def together(self, numbers: Sequence[int], cutoff: float = math.inf, *, is_any_enough: bool = False) -> Found:
        """The best kits of some numbers that may share the stock.

        Parameters
        ----------
        cutoff : float
            Only up to this the first quantity is of interest.
        is_any_enough : bool
            Whether it is enough to know that there are kits.
        """
        if not numbers:
            return Found(None, 0.0, is_sure=True)
        self.look_alone(numbers, cutoff)
        each = {o: self.alone(o, self._room(o, numbers, cutoff)) for o in numbers}
        least = self.least_of(each)
        if any(found.is_impossible for found in each.values()):
            return NOTHING
        if any(not found.has_kits for found in each.values()):
            return Found(None, least, is_sure=False)
        if len(numbers) == 1:
            return each[numbers[0]]
        if least > cutoff + 1e-6:
            return NOTHING
        try:
            return self._together(numbers, each, least, cutoff, is_any_enough)
        except OutOfTime:
            return Found(None, least, is_sure=False)

    def _together(
        self, numbers: Sequence[int], each: Mapping[int, Found], least: float, cutoff: float, is_any_enough: bool
    ) -> Found:
        first = self._side_by_side(each, cutoff, least)
        best = self._within(first, least)
        if best.has_kits and (is_any_enough or best.value <= least + 1e-6):
            return Found(best.best, best.value, is_sure=True)
        most = min(cutoff, best.value)
        try:
            classes = {o: self.viable(o, each, most) for o in numbers}
            if all(len(some) == 1 for some in classes.values()):
                return best
            second = self._try(classes, most, least=least)
        except OutOfTime:
            return Found(best.best, least, is_sure=False)
        found = self._within(second, least)
        if found.has_kits and found.value <= best.value:
            return found
        if found.is_impossible:
            return Found(best.best, best.value, is_sure=True)
        return Found(best.best, max(least, min(most, second.outcome.bound)), is_sure=False)

    def _side_by_side(self, each: Mapping[int, Found], cutoff: float, least: float) -> Solved:
        """Kits of the classes that are best alone; where there is enough for the best ones, these."""
        program, plan = self._laid({o: [self.class_of(found)] for o, found in each.items()})
        alone = {o: found.best for o, found in each.items() if found.best is not None}
        counts = program.of_kits({o: (one.kits[0], one.outcome.counts) for o, one in alone.items()})
        if counts is None or not plan.allows(counts) or plan.objectives[0].of(counts) > cutoff:
            return self._solved(program, plan, cutoff, least)
        outcomes = [one.outcome for one in alone.values()]
        reached = {
            one.name: (
                float(one.of(counts)),
                _in_all(one.name, [outcome.reached.get(one.name, (math.inf, 0.0))[1] for outcome in outcomes]),
            )
            for one in plan.objectives
        }
        value, bound = reached[plan.objectives[0].name]
        of_all = Outcome("found", counts, value, bound, reached=reached)
        # where something is bought, what counts after that need not be least of each kit where it is of all
        is_open = any(one.name in _SHARED and reached[one.name][0] for one in plan.objectives[:-1])
        if is_open or not of_all.is_settled:
            return self._solved(program, plan, cutoff, least, in_hand=counts)
        return Solved(program, plan, of_all)

    @staticmethod
    def _within(solved: Solved, least: float) -> Found:
        """What a plan came to, with what is known beside it."""
        outcome = solved.outcome
        if outcome.status == "no-kit":
            return NOTHING
        bound = max(least, outcome.bound)
        return Found(None if outcome.counts is None else solved, bound, is_sure=outcome.status == "found")

    def least_of(self, each: Mapping[int, Found]) -> float:
        """What all need together at the least: costs may be shared, mass may not."""
        return _in_all(self.names[0], [found.bound for found in each.values()])

    def _floor(self, numbers: Sequence[int]) -> float:
        """What is known before any work: what is packed whatever is chosen."""
        if self.names[0] not in ("mass", "items"):
            return 0.0
        by_id = self.problem.stock.by_id
        pieces = [given(self.problem.wanted[o].operation, self.problem.stock) for o in numbers]
        grams = [sum(n * self._measure(by_id[i]) for i, n in one.items()) for one in pieces]
        return float(max(grams) if self.problem.is_one_bag else sum(grams))

    def _floor_of(self, numbers: Sequence[int], bus: BusClass) -> float:
        """The same of a bus class: one battery is packed of those that make it what it is."""
        had = [[b for b in some if self.problem.owned(b.id) or self.allowed.get(b.id)] for some in setters_of(bus)]
        least = max(min(map(self._measure, some), default=math.inf) for some in had)
        return self._floor(numbers) + least * (1 if self.problem.is_one_bag else len(numbers))

    def _measure(self, item: Item) -> float:
        """What one piece adds to the first quantity; nothing where it may not add any."""
        if self.names[0] == "cost" and not self.problem.owned(item.id):
            return float(self.problem.prices[item.id])
        return float({"mass": item.mass_g, "items": 1}.get(self.names[0], 0))

    def class_of(self, found: Found) -> int:
        """The bus class of the best kit of one number, by its place."""
        return next(k for k, one in enumerate(self.classes) if one.is_like(found.bus))

    def viable(self, o: int, each: Mapping[int, Found], most: float) -> list[int]:
        """Classes in which a kit may still be part of something better than what is in hand."""
        others = 0.0 if self.names[0] == "cost" else sum(f.bound for i, f in each.items() if i != o)
        room = most - others
        viable = []
        for k in range(len(self.classes)):
            if self._bounds[o, k] <= room + 1e-6 and k != self.class_of(each[o]):
                # the bound may only say that the class is worse than another: look closer
                outcome = self._try({o: [k]}, room, names=self.names[:1]).outcome
                self._bounds[o, k] = max(self._bounds[o, k], _bound(outcome))
            if self._bounds[o, k] <= room + 1e-6 or k == self.class_of(each[o]):
                viable.append(k)
        return viable

    def _try(
        self,
        classes: Mapping[int, Sequence[int]],
        cutoff: float,
        names: Sequence[str] | None = None,
        least: float = -math.inf,
        may_put_off: bool = False,
    ) -> Solved:
        program, plan = self._laid(classes, names)
        return self._solved(program, plan, cutoff, least, may_put_off=may_put_off)

    def _solved(self, program: Program, plan: Plan, cutoff: float, least: float, **how: Any) -> Solved:
        outcome = program.solve(plan, cutoff=cutoff, least=least, enough=self.enough, budget=self.budget, **how)
        return Solved(program, plan, outcome)

    def _laid(
        self,
        classes: Mapping[int, Sequence[int]],
        names: Sequence[str] | None = None,
        budget: Budget | None = None,
    ) -> tuple[Program, Plan]:
        program = Program(
            self.problem,
            {o: [self.classes[k] for k in some] for o, some in classes.items()},
            (self.like or self).allowed,
            change=self.change,
            budget=budget or self.budget,
        )
        for bought in self.forbidden:
            program.forbid_purchase(bought)
        if len(classes) > 1 and self.names[0] in ("mass", "items") and not self.problem.is_one_bag:
            for o, of_kit in classes.items():
                for place, k in enumerate(of_kit):
                    row = program.least_row(o, place, self.names[0], self._bounds[o, k])
                    program.known += [] if row is None else [row]
        plan = program.plan(self.names if names is None else names, self.at_most)
        if self.like is not None:
            plan = program.closed(plan, self.allowed)
        if self.with_any_of is not None:
            plan = replace(plan, rows=(*plan.rows, *program.with_any_of(self.with_any_of)))
        return program, plan


def _in_all(name: str, least: Sequence[float]) -> float:
    return max(least) if name in _SHARED else sum(least)


def _bound(outcome: Outcome) -> float:
    """What is known of the first quantity."""
    return max(0.0, outcome.bound)
