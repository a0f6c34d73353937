"""The cheapest kits that are needed at the same time, each found by itself on a part of what there is.

What is bought for one of them is of no use to another, so what they cost adds up, and all that ties them together is
who has which of what is owned, and of what is on offer. Each is asked first what it costs with all of that. Where they
want more of something than there is, one of them must do with less: it is asked again, and so on, always where all
together may still cost least.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from kitopt.at_once import at_once
from kitopt.budget import OutOfTime
from kitopt.choice.buying import Buying
from kitopt.choice.found import Brief, Found
from kitopt.choice.problem import Problem
from kitopt.inventory.items import Item

OWNED, OFFERED = "owned", "offered"
Thing = tuple[str, str]
"""Whether it is owned or offered, and its id."""
Limits = Mapping[Thing, int]
"""Of some things a kit may have no more than so many; of others, all that there are."""
_Node = Mapping[int, Limits]

_ASKED_AT_ONCE = 2
"""So many kits are asked for before what they tell is used."""
_FEW_WANTED = 4
"""Where no more things are wanted by too many, kits that there is enough for most often cost little more."""


@dataclass(frozen=True)
class _Told:
    """What a kit costs at the least within some limits, and, where one that costs that is known, what it takes."""

    limits: Limits
    least: float
    takes: Limits = field(default_factory=dict)
    is_known: bool = False
    brief: Brief | None = None

    def holds_within(self, limits: Limits) -> bool:
        """Whether these limits are no wider, so that no kit within them costs less."""
        return all(limits.get(thing, math.inf) <= n for thing, n in self.limits.items())

    def fits(self, limits: Limits) -> bool:
        """Whether what it takes is within these limits."""
        return self.is_known and all(self.takes.get(thing, 0) <= n for thing, n in limits.items())


@dataclass
class Apart:
    """Kits that are needed at the same time, at least cost.

    Attributes
    ----------
    known : mapping of int to Found
        By number, the cheapest kit with all that there is.
    most : float
        More than this is of no interest. [1/100]
    least : float
        Such kits do not cost less. [1/100]
    """

    buying: Buying
    known: Mapping[int, Found]
    most: float
    least: float = field(default=0.0, init=False)
    _best: Mapping[int, _Told] | None = field(default=None, init=False)
    _told: dict[int, list[_Told]] = field(default_factory=dict, init=False)

    def __post_init__(self) -> None:
        self.numbers = list(self.known)
        for o, found in self.known.items():
            takes = _taken(self.buying.problem, o, found)
            cost = sum(n * self.buying.problem.prices[i] for (kind, i), n in takes.items() if kind == OFFERED)
            self._told[o] = [_Told({}, found.bound, takes, is_known=cost <= found.bound + 1e-6)]

    def kits(self) -> tuple[dict[int, Found], bool]:
        """The kits by number, none where there are none, and whether that is proved."""
        try:
            self._search()
            is_sure = True
        except OutOfTime:
            is_sure = False
        best = self._best or {}
        found = {
            o: self.known[o] if one.brief is None else self._within(one.limits).taken(o, one.brief)
            for o, one in best.items()
        }
        return found, is_sure

    # -- who has what ----------------------------------------------------------------------

    def _search(self) -> None:
        node: _Node = {o: {} for o in self.numbers}
        serial = itertools.count()
        waiting = [(self._least(node), next(serial), node)]
        while waiting:
            least, _, node = heapq.heappop(waiting)
            again = self._least(node)
            if again > least:
                # what was asked since tells more
                heapq.heappush(waiting, (again, next(serial), node))
                continue
            self.least = max(self.least, min(least, self._cutoff))
            # prices are whole numbers
            if least >= self._cutoff - 1.0 + 1e-6:
                break
            self.buying.budget.check()
            kits = {o: kit for o in self.numbers if (kit := self._best_of(o, node[o])) is not None}
            if len(kits) < len(self.numbers):
                known = "none known" if self._best is None else f"{self._cutoff / 100:.2f} known"
                self.buying.budget.say(f"kits at the same time: {self.least / 100:.2f} at least, {known}")
                self._ask([node, *(other for _, _, other in heapq.nsmallest(_ASKED_AT_ONCE, waiting))])
                heapq.heappush(waiting, (least, next(serial), node))
                continue
            wanted = self._wanted(kits)
            if not wanted:
                return
            if self._best is None or len(wanted) <= _FEW_WANTED:
                self._ask_on_what_is_left(node, kits)
            thing = wanted[0]
            for o, kit in kits.items():
                if kit.takes.get(thing, 0):
                    less = {**node, o: {**node[o], thing: kit.takes[thing] - 1}}
                    heapq.heappush(waiting, (self._least(less), next(serial), less))
        self.least = max(self.least, self._cutoff)

    @property
    def _cutoff(self) -> float:
        """What kits of interest cost less than."""
        return self.most + 1.0 if self._best is None else sum(one.least for one in self._best.values())

    def _least_of(self, o: int, limits: Limits) -> float:
        return max(one.least for one in self._told[o] if one.holds_within(limits))

    def _least(self, node: _Node) -> float:
        return sum(self._least_of(o, limits) for o, limits in node.items())

    def _best_of(self, o: int, limits: Limits) -> _Told | None:
        """The cheapest kit of one number within some limits, where it is known."""
        return next((one for one in self._told[o] if one.holds_within(limits) and one.fits(limits)), None)

    def _there(self, thing: Thing) -> int:
        """How many of a thing there are for all."""
        problem, (kind, item_id) = self.buying.problem, thing
        return problem.owned(item_id) if kind == OWNED else problem.offered.get(item_id, 0)

    def _wanted(self, kits: Mapping[int, _Told]) -> list[Thing]:
        """Of what kits want more than there is, what costs most first."""
        things = {thing for kit in kits.values() for thing in kit.takes}
        short = [t for t in things if sum(kit.takes.get(t, 0) for kit in kits.values()) > self._there(t)]
        by_id = self.buying.problem.stock.by_id
        return sorted(short, key=lambda t: (-(by_id[t[1]].price_cents or 0), -by_id[t[1]].mass_g, t))

    # -- asking ------------------------------------------------------------------------------

    def _ask(self, nodes: Sequence[_Node], most: int = _ASKED_AT_ONCE) -> None:
        """Ask at the same time for kits that are not known, of the first of some nodes and then of the next."""
        asked: list[tuple[int, Limits, float, float]] = []
        for node in nodes:
            least = self._least(node)
            for o, limits in node.items():
                if self._best_of(o, limits) is None and all(one[:2] != (o, limits) for one in asked):
                    mine = self._least_of(o, limits)
                    asked.append((o, limits, mine, self._cutoff - 1.0 - (least - mine)))
        asked = [one for one in asked if one[2] <= one[3] + 1e-6][:most]
        for (o, *_), told in zip(asked, at_once([partial(self._asked, *one) for one in asked]), strict=True):
            self._told[o].append(told)
            if told.brief is not None and not told.is_known:
                raise OutOfTime
            self._combine(o, told)

    def _asked(self, o: int, limits: Limits, least: float, most: float) -> _Told:
        """What one kit costs within some limits, up to a sum."""
        within = self._within(limits)
        over, found = within.cheapest_alone(o, most, least)
        if found.is_impossible:
            return _Told(limits, most + 1.0)
        takes = _taken(within.problem, o, found) if found.has_kits else {}
        is_known = found.has_kits and found.is_sure
        return _Told(limits, max(least, found.bound), takes, is_known, over.in_brief(o))

    def _within(self, limits: Limits) -> Buying:
        """Searches on what is left within some limits."""
        problem = self.buying.problem
        offered = {i: min(n, limits.get((OFFERED, i), n)) for i, n in problem.offered.items()}

        def count_of(item: Item) -> int | None:
            owned = problem.owned(item.id)
            n = min(owned, limits.get((OWNED, item.id), owned)) + offered.get(item.id, 0)
            return n if n > 0 else None

        offered = {i: n for i, n in offered.items() if n > 0}
        return replace(self.buying, problem=replace(problem, stock=problem.stock.counting(count_of), offered=offered))

    def _ask_on_what_is_left(self, node: _Node, kits: Mapping[int, _Told]) -> None:
        """Let each have what it takes, and ask for the others, one after another on what is left."""
        chains = [(o, dict(node), self._left({}, kit)) for o, kit in kits.items()]
        for place in range(1, len(self.numbers)):
            for o, chain, left in chains:
                chain[self._after(o, place)] = left
            self._ask([chain for _, chain, _ in chains], len(chains))
            found = [(one, self._best_of(self._after(one[0], place), one[2])) for one in chains]
            chains = [(o, chain, self._left(left, kit)) for (o, chain, left), kit in found if kit is not None]

    def _after(self, o: int, place: int) -> int:
        """The number that comes so many places after another, the first again after the last."""
        return self.numbers[(self.numbers.index(o) + place) % len(self.numbers)]

    def _left(self, left: Limits, kit: _Told) -> Limits:
        """What is left within some limits beside a kit."""
        return {thing: left.get(thing, self._there(thing)) - kit.takes.get(thing, 0) for thing in {*left, *kit.takes}}

    def _combine(self, o: int, told: _Told) -> None:
        """Keep a kit with the cheapest of the others that are known and leave it what it takes, if they cost less."""
        some, left = {o: told}, self._left({}, told)
        for other in self.numbers:
            fit = [one for one in self._told[other] if one.fits(left)]
            if other != o and not fit:
                return
            if other != o:
                some[other] = min(fit, key=lambda one: one.least)
                left = self._left(left, some[other])
        if told.is_known and sum(one.least for one in some.values()) < self._cutoff - 1e-6:
            self._best = some


def _taken(problem: Problem, o: int, found: Found) -> Limits:
    """What a kit takes of what is owned, and beyond that of what is offered."""
    takes: dict[Thing, int] = {}
    for item_id, n in found.used[o].items():
        owned = min(n, problem.owned(item_id))
        takes |= {thing: k for thing, k in (((OWNED, item_id), owned), ((OFFERED, item_id), n - owned)) if k}
    return takes
