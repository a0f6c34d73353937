"""The cheapest kits that are needed at the same time, each found by itself on a part of what there is.

What is bought for one of them is of no use to another, so what they cost adds up, and all that ties them together is
who has which of what is owned, and of what is on offer. Each is asked first what it costs with all of that. Where they
want more of something than there is, rents are looked for at which they share (`rents`): that bounds what all cost.
Then one of those that want it must do with less: it is asked again, and so on, always where all together may still
cost least.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections import Counter
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, field, replace
from functools import partial

from kitopt.at_once import at_once
from kitopt.budget import OutOfTime
from kitopt.choice.buying import Buying
from kitopt.choice.found import Found
from kitopt.choice.rents import OFFERED, OWNED, Limits, Rents, Taking, Thing, better_rents
from kitopt.inventory.items import Item

_Node = Mapping[int, Limits]

_ASKED_AT_ONCE = 2
"""So many kits are asked for before what they tell is used."""
_FEW_WANTED = 4
"""Where no more things are wanted by too many, kits that there is enough for most often cost little more."""
_MOST_WORTH = 8
"""Of so many things that are wanted by too many it is asked what kits cost without them."""
_MOST_ROUNDS = 16
"""So often at most are other rents tried."""
_REACH = 0.1
"""Rents differ by no more from the best so far than this share of the dearest at first, and half as much each time that
others tell less."""
_OF_TIME = 0.85
"""Of what is left: what is found then is still to be tried on other kits."""
_NO_RENTS: Rents = {}


@dataclass(frozen=True)
class _Bound:
    """What a kit costs with rents at the least within some limits."""

    limits: Limits
    rents: Rents
    least: float

    def holds_within(self, limits: Limits) -> bool:
        """Whether these limits are no wider, so that no kit within them costs less."""
        return all(limits.get(thing, math.inf) <= n for thing, n in self.limits.items())


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
    _best: Mapping[int, Taking] | None = field(default=None, init=False)
    _bounds: dict[int, list[_Bound]] = field(default_factory=dict, init=False)
    _kits: dict[int, list[Taking]] = field(default_factory=dict, init=False)
    _rents: list[Rents] = field(default_factory=lambda: [_NO_RENTS], init=False)
    """Those at which nodes are asked: where kits do not want too much at the first, at the next."""

    def __post_init__(self) -> None:
        self.numbers = list(self.known)
        self._step = max(1, math.gcd(*self.buying.problem.prices.values()))
        self._budget = self.buying.budget.part(_OF_TIME)
        for o, found in self.known.items():
            self._bounds[o], self._kits[o] = [_Bound({}, _NO_RENTS, found.bound)], [self._taking(o, found, {})]

    def kits(self) -> tuple[dict[int, Found], bool]:
        """The kits by number, none where there are none, and whether that is proved."""
        try:
            self._search()
            is_sure = True
        except OutOfTime:
            is_sure = False
        best = self._best or {}
        found = {o: self._made_of(o, kit) for o, kit in best.items()}
        return (found, is_sure) if all(one.has_kits for one in found.values()) else ({}, False)

    # -- who has what ----------------------------------------------------------------------

    def _search(self) -> None:
        node: _Node = {o: {} for o in self.numbers}
        kits = self._kits_in(node, _NO_RENTS)
        if len(kits) == len(self.numbers) and (wanted := self._wanted(kits)):
            self._find_rents(node, wanted)
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
            if least > self._of_interest or math.isinf(least):
                break
            self._budget.check()
            rents, kits, wanted = self._asked_of(node)
            if len(kits) < len(self.numbers):
                others = (other for _, _, other in heapq.nsmallest(_ASKED_AT_ONCE, waiting))
                self._ask([node, *others], rents)
                heapq.heappush(waiting, (least, next(serial), node))
                continue
            if not wanted:
                self._keep(kits)
                continue
            if self._best is None or len(wanted) <= _FEW_WANTED:
                self._ask_on_what_is_left(node, kits)
            thing = wanted[0]
            for o, kit in kits.items():
                if kit.takes.get(thing, 0):
                    less = {**node, o: {**node[o], thing: kit.takes[thing] - 1}}
                    heapq.heappush(waiting, (self._least(less), next(serial), less))
        self.least = max(self.least, self._cutoff)

    def _asked_of(self, node: _Node) -> tuple[Rents, dict[int, Taking], list[Thing]]:
        """At which rents kits of a node are not all known, or want too much: these kits, and what they want."""
        for rents in self._rents:
            kits = self._kits_in(node, rents)
            wanted = self._wanted(kits)
            if len(kits) < len(self.numbers) or wanted:
                break
        return rents, kits, wanted

    def _find_rents(self, node: _Node, wanted: Sequence[Thing]) -> None:
        """Look for rents that tell most of what all cost."""
        asked = [thing for thing in wanted if self._has_rent(thing)][:_MOST_WORTH]
        rents = self._worth(node, asked)
        if not asked or len(rents) < len(asked):
            # of what none can do without, no rent is too high
            return
        reach = self._rounded(_REACH * max(rents.values()))
        best = -math.inf
        for n in range(_MOST_ROUNDS):
            self._ask([node], rents)
            told = self._least_at(node, rents)
            if told > best:
                best, self._rents = told, [rents, _NO_RENTS]
            else:
                reach = self._rounded(reach / 2)
            self.least = max(self.least, min(self._least(node), self._cutoff))
            self._budget.check()
            if n == 0:
                self._ask_on_what_is_left(node, self._kits_in(node, rents))
            rents, most = better_rents(self._kits, self._scarce(), self._rents[0], reach, self._step)
            if most < best + self._step or self.least > self._of_interest:
                break
        self._ask_on_what_is_left(node, self._kits_in(node, self._rents[0]))

    def _worth(self, node: _Node, wanted: Sequence[Thing]) -> dict[Thing, int]:
        """What those that want a thing would have to pay without one of it, on the average."""
        kits = self._kits_in(node, _NO_RENTS)
        without = {
            (thing, o): {**node, o: {**node[o], thing: kit.takes[thing] - 1}}
            for thing in wanted
            for o, kit in kits.items()
            if kit.takes.get(thing, 0)
        }
        self._ask(list(without.values()), _NO_RENTS, len(without))
        worth: dict[Thing, list[float]] = {}
        for (thing, o), less in without.items():
            dearer = self._least_of(o, less[o], _NO_RENTS) - self._least_of(o, node[o], _NO_RENTS)
            worth.setdefault(thing, []).append(dearer)
        finite = {thing: [one for one in some if math.isfinite(one)] for thing, some in worth.items()}
        return {thing: self._rounded(sum(some) / len(some)) for thing, some in finite.items() if some}

    def _has_rent(self, thing: Thing) -> bool:
        """Whether a rent can be paid: what is owned and on offer too would have two prices."""
        kind, item_id = thing
        return kind == OFFERED or item_id not in self.buying.problem.offered

    def _scarce(self) -> dict[Thing, int]:
        """What the kits that are known want too much of if each takes most of it, and how much there is."""
        wanted: Counter[Thing] = Counter()
        for kits in self._kits.values():
            for thing in {thing for kit in kits for thing in kit.takes}:
                wanted[thing] += max(kit.takes.get(thing, 0) for kit in kits)
        there = {thing: self._there(thing) for thing in sorted(wanted) if self._has_rent(thing)}
        return {thing: n for thing, n in there.items() if wanted[thing] > n}

    def _rounded(self, cents: float) -> int:
        return self._step * max(1, round(cents / self._step))

    @property
    def _cutoff(self) -> float:
        """What kits of interest cost less than."""
        return self.most + 1.0 if self._best is None else sum(one.cents for one in self._best.values())

    @property
    def _of_interest(self) -> float:
        """The most that kits of interest cost: all prices are multiples of the same."""
        return self.most if self._best is None else self._cutoff - self._step

    def _least_of(self, o: int, limits: Limits, rents: Rents) -> float:
        """What a kit costs with rents at the least within some limits, by all that was told at any."""
        told = (one for one in self._bounds[o] if one.holds_within(limits))
        return max(one.least - self._less(one.rents, rents) for one in told)

    def _less(self, rents: Rents, others: Rents) -> int:
        """How much less a kit may pay at other rents. [1/100]"""
        return self._of_all({thing: max(0, rent - others.get(thing, 0)) for thing, rent in rents.items()})

    def _of_all(self, rents: Rents) -> int:
        """The rents of all that there is. [1/100]"""
        return sum(rent * self._there(thing) for thing, rent in rents.items())

    def _least_at(self, node: _Node, rents: Rents) -> float:
        return sum(self._least_of(o, limits, rents) for o, limits in node.items()) - self._of_all(rents)

    def _least(self, node: _Node) -> float:
        return max(self._least_at(node, rents) for rents in self._rents)

    def _kits_in(self, node: _Node, rents: Rents) -> dict[int, Taking]:
        """The cheapest kits with rents within the limits of a node, by number, where they are known."""
        found = {o: self._best_of(o, limits, rents) for o, limits in node.items()}
        return {o: kit for o, kit in found.items() if kit is not None}

    def _best_of(self, o: int, limits: Limits, rents: Rents) -> Taking | None:
        kit = self._cheapest_known(o, limits, rents)
        # prices are multiples of the same
        is_best = kit is not None and kit.pays(rents) - self._step < self._least_of(o, limits, rents)
        return kit if is_best else None

    def _cheapest_known(self, o: int, limits: Limits, rents: Rents) -> Taking | None:
        fitting = (kit for kit in self._kits[o] if kit.fits(limits))
        return min(fitting, key=lambda kit: kit.pays(rents), default=None)

    def _there(self, thing: Thing) -> int:
        """How many of a thing there are for all."""
        problem, (kind, item_id) = self.buying.problem, thing
        return problem.owned(item_id) if kind == OWNED else problem.offered.get(item_id, 0)

    def _wanted(self, kits: Mapping[int, Taking]) -> list[Thing]:
        """Of what kits want more than there is, what costs most first."""
        things = {thing for kit in kits.values() for thing in kit.takes}
        short = [t for t in things if sum(kit.takes.get(t, 0) for kit in kits.values()) > self._there(t)]
        by_id = self.buying.problem.stock.by_id
        return sorted(short, key=lambda t: (-(by_id[t[1]].price_cents or 0), -by_id[t[1]].mass_g, t))

    # -- asking ------------------------------------------------------------------------------

    def _ask(self, nodes: Sequence[_Node], rents: Rents, most: int = _ASKED_AT_ONCE) -> None:
        """Ask at the same time for kits that are not known, of the first of some nodes and then of the next."""
        best = "none known" if self._best is None else f"{self._cutoff / 100:.2f} known"
        self._budget.say(f"kits at the same time: {self.least / 100:.2f} at least, {best}")
        asked: list[tuple[int, Limits, float, float]] = []
        for node in nodes:
            for o, limits in node.items():
                if self._best_of(o, limits, rents) is None and all(one[:2] != (o, limits) for one in asked):
                    mine = self._least_of(o, limits, rents)
                    known = self._cheapest_known(o, limits, rents)
                    cents = self._of_interest - (self._least_at(node, rents) - mine)
                    cents = cents if known is None else min(cents, known.pays(rents) - self._step)
                    asked.append((o, limits, mine, cents))
        asked = [one for one in asked if one[2] <= one[3] + 1e-6][:most]
        each = at_once([partial(self._asked, *one, rents) for one in asked])
        for (o, limits, _, _), (least, kit, _) in zip(asked, each, strict=True):
            self._bounds[o].append(_Bound(limits, rents, least))
            if kit is not None:
                self._kits[o].append(kit)
                self._combine(o, kit)
        if not all(is_sure for _, _, is_sure in each):
            raise OutOfTime

    def _asked(
        self, o: int, limits: Limits, least: float, most: float, rents: Rents
    ) -> tuple[float, Taking | None, bool]:
        """What one kit costs with rents at the least within some limits, up to a sum; the kit; whether it is proved."""
        _, found = self._within(limits, rents).cheapest_alone(o, most, least)
        if found.is_impossible:
            return self._step * (most // self._step + 1) if math.isfinite(most) else math.inf, None, True
        return max(least, found.bound), self._taking(o, found, limits) if found.has_kits else None, found.is_sure

    def _within(self, limits: Limits, rents: Rents) -> Buying:
        """Searches on what is left within some limits; what a rent is paid for is on offer for that."""
        problem = self.buying.problem
        offered = {i: min(n, limits.get((OFFERED, i), n)) for i, n in problem.offered.items()}
        prices = {i: price + rents.get((OFFERED, i), 0) for i, price in problem.prices.items()}

        def count_of(item: Item) -> int | None:
            owned = problem.owned(item.id)
            n = min(owned, limits.get((OWNED, item.id), owned))
            rent = rents.get((OWNED, item.id), 0)
            if n > 0 and rent:
                prices[item.id], offered[item.id] = rent, n
                return n
            n += offered.get(item.id, 0)
            return n if n > 0 else None

        stock = problem.stock.counting(count_of)
        offered = {i: n for i, n in offered.items() if n > 0}
        return Buying(replace(problem, stock=stock, offered=offered, prices=prices), self._budget)

    def _made_of(self, o: int, kit: Taking) -> Found:
        """A kit of what one takes."""
        stock = self.buying.problem.stock.chosen_from
        limits = {(kind, item.id): kit.takes.get((kind, item.id), 0) for kind in (OWNED, OFFERED) for item in stock}
        made_of = replace(self._within(limits, _NO_RENTS), budget=self.buying.budget)
        return made_of.cheapest_alone(o, float(kit.cents))[1]

    def _taking(self, o: int, found: Found, limits: Limits) -> Taking:
        """What a kit takes of what is owned, and beyond that of what is offered, within some limits."""
        problem, cents = self.buying.problem, 0
        takes: dict[Thing, int] = {}
        for item_id, n in found.used[o].items():
            owned = min(n, limits.get((OWNED, item_id), n), problem.owned(item_id))
            takes |= {thing: k for thing, k in (((OWNED, item_id), owned), ((OFFERED, item_id), n - owned)) if k}
            cents += (n - owned) * problem.prices.get(item_id, 0)
        return Taking(takes, cents)

    def _ask_on_what_is_left(self, node: _Node, kits: Mapping[int, Taking]) -> None:
        """Let each have what it takes, and ask for the others, one after another on what is left."""
        chains = [(o, dict(node), self._left({}, kit)) for o, kit in kits.items()]
        for place in range(1, len(self.numbers)):
            for o, chain, left in chains:
                chain[self._after(o, place)] = left
            self._ask([chain for _, chain, _ in chains], _NO_RENTS, len(chains))
            found = [(one, self._cheapest_known(self._after(one[0], place), one[2], _NO_RENTS)) for one in chains]
            chains = [(o, chain, self._left(left, kit)) for (o, chain, left), kit in found if kit is not None]

    def _after(self, o: int, place: int) -> int:
        """The number that comes so many places after another, the first again after the last."""
        return self.numbers[(self.numbers.index(o) + place) % len(self.numbers)]

    def _left(self, left: Limits, kit: Taking) -> Limits:
        """What is left within some limits beside a kit."""
        return {thing: left.get(thing, self._there(thing)) - kit.takes.get(thing, 0) for thing in {*left, *kit.takes}}

    def _combine(self, o: int, kit: Taking) -> None:
        """Keep a kit with the cheapest of the others that are known and leave it what it takes, if they cost less."""
        some, left = {o: kit}, self._left({}, kit)
        for other in self.numbers:
            if other == o:
                continue
            known = self._cheapest_known(other, left, _NO_RENTS)
            if known is None:
                return
            some[other], left = known, self._left(left, known)
        self._keep(some)

    def _keep(self, kits: Mapping[int, Taking]) -> None:
        """Keep kits that there is enough for, if they cost less."""
        if sum(kit.cents for kit in kits.values()) <= self._of_interest:
            self._best = dict(kits)
