"""What to buy for a season: the purchases that make its operations possible, at least cost.

Each operation is first solved alone: what it needs at least bounds what the season needs. Where the
purchases of all together cost no more than the dearest alone, that is the answer; otherwise those
that call for most are solved in one plan, or each by itself on a part of what there is, and with
them others only as they are failed.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Any

from kitopt.at_once import at_once
from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice.apart import Apart
from kitopt.choice.buying import Buying
from kitopt.choice.found import NOTHING, Brief, Found, Solved
from kitopt.choice.measure import listed, part_of
from kitopt.choice.offers import bought_of, needed, problem_with, unpriced
from kitopt.choice.problem import Problem, cost_of, is_within
from kitopt.choice.program import Program
from kitopt.choice.purchase import Purchase
from kitopt.choice.search import Search
from kitopt.choice.singles import singles
from kitopt.choice.spending import Spending
from kitopt.choice.terms import Choice, Proof, Status
from kitopt.choice.trials import Trials
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.operation.plans import Programme, hang_together
from kitopt.sky.windows import SkyOf

LIGHTEST = ("mass", "cost", "items")

_MOST_SETS = 60
"""So many purchases of one price are tried one by one."""
_FOR_SETS = 0.8
"""Of the time that is left so much may be spent on which purchases make the kits lightest."""


def buy(
    programme: Programme,
    inventory: Inventory,
    catalogue: Inventory,
    sky_of: SkyOf,
    *,
    budget_cents: int | None = None,
    budget: Budget = UNLIMITED,
    with_singles: bool = True,
) -> Purchase:
    """Find the purchases that serve a whole season at least cost, or most of it within a budget.

    Only the loads that must run count.

    Parameters
    ----------
    budget_cents : int, optional
        Without it all operations are to be served, whatever it costs. [1/100]
    """
    problem = problem_with(programme.musts, inventory, catalogue, sky_of)
    season = _Season(programme, problem, budget_cents, budget)
    season.look_alone()
    parts: list[Callable[[], Any]] = [season.solve]
    if with_singles:
        affordable = season.buying.affordable(season.most)
        parts = [partial(singles, season.with_owned, affordable, season.hands), *parts]
    *ranked, found = at_once(parts)
    purchase: Purchase = replace(found, unpriced=tuple(sorted(unpriced(catalogue.chosen_from))))
    for some, is_complete in ranked:
        purchase = replace(purchase, singles=some, has_all_singles=is_complete)
    return purchase


@dataclass
class _Season:
    programme: Programme
    problem: Problem
    most_cents: int | None
    budget: Budget

    def __post_init__(self) -> None:
        self.numbers = list(range(len(self.problem.wanted)))
        self.most = math.inf if self.most_cents is None else float(self.most_cents)
        self.buying = Buying(self.problem, self.budget)
        self.hands: dict[int, Found] = {}
        """The cheapest way to serve each outing alone; the bound is a cost."""
        self.left_out: set[int] = set()
        """Outings that are proved to go without a kit."""
        self._in_hand: dict[int, Found] = {}
        """A kit for each outing; of those at the same time, where that was found, what there is enough of for all."""
        self._calling: list[int] = []
        """The outings that call for what the purchases cost."""
        self._searches: dict[tuple[tuple[str, int], ...], Search] = {}
        self.with_owned = self.lightest_with({})

    def lightest_with(self, bought: Mapping[str, int], wide: Search | None = None) -> Search:
        """The lightest kits on what is owned and given purchases, looked for once; those of more purchases help."""
        between = None if wide is None else (self.with_owned, wide)
        key = tuple(sorted(bought.items()))
        return self._searches.setdefault(key, self.buying.search(bought, LIGHTEST, between=between))

    def _mass_with(self, buying: Buying, wide: Search, bought: Mapping[str, int]) -> Search:
        known = self._searches.get(tuple(sorted(bought.items())))
        if known is not None:
            return known
        at_most = {} if self._cost(bought) <= self.most else wide.at_most
        return buying.search(bought, ["mass"], at_most=at_most, between=(self.with_owned, wide), like=wide)

    # -- alone ---------------------------------------------------------------------------

    def _alone_in_brief(self, o: int) -> list[Brief]:
        """The lightest kit of one outing on what is owned; where there is none, the cheapest with purchases too."""
        name = self.problem.wanted[o].operation.name
        self.budget.say(f"{name}: what is owned")
        if self.with_owned.alone(o).has_kits:
            return [self.with_owned.in_brief(o)]
        self.budget.say(f"{name}: with purchases")
        over, found = self.buying.cheapest_alone(o, self.most)
        return [self.with_owned.in_brief(o), replace(over.in_brief(o), bound=found.bound)]

    def _alone_from(self, o: int, briefs: list[Brief]) -> Found:
        """The cheapest way to serve one outing; the value and bound are costs."""
        owned = self.with_owned.take(o, briefs[0])
        if owned.has_kits:
            return replace(owned, bound=0.0, is_sure=True)
        return self.buying.taken(o, briefs[1])

    def look_alone(self) -> None:
        """Find the cheapest way to serve each outing: what one needs is told without the others."""
        numbers = self.problem.longest_first(self.numbers)
        briefs = at_once([partial(self._alone_in_brief, o) for o in numbers])
        self.hands = {o: self._alone_from(o, brief) for o, brief in sorted(zip(numbers, briefs, strict=True))}
        self._in_hand = dict(self.hands)
        self.left_out = {o for o, hand in self.hands.items() if hand.bound > self.most + 1e-6 or hand.is_impossible}

    # -- together ------------------------------------------------------------------------

    def solve(self) -> Purchase:
        """Serve as many as can be, then at least cost or within the budget, then with least mass."""
        served = [o for o in self.numbers if self.hands[o].has_kits and o not in self.left_out]
        if not served:
            return self._described([], math.inf, 0.0, is_lightest=False)
        chosen, cost, bound = self._cheapest(served)
        if chosen is None:
            return self._most_served(served)
        return self._lightest(served, chosen, cost, bound)

    def _cheapest(self, served: Sequence[int]) -> tuple[Mapping[str, int] | None, float, float]:
        """Purchases that serve all of some outings, their cost and a bound on it; None where nothing does."""
        least = max(self.hands[o].bound for o in served)
        union = self._union(served)
        cost = math.inf if union is None else float(self._cost(union))
        if union is not None and cost <= least + 1e-6:
            self._calling = [max(served, key=lambda o: (self.hands[o].bound, -o))]
            return union, cost, least
        bought, bound, is_sure = self._cheapest_for_all(served, min(self.most, cost))
        if bought is not None:
            return bought, float(self._cost(bought)), max(least, bound)
        union = None if is_sure else self._union(served)
        if union is not None and self._cost(union) <= self.most:
            return union, float(self._cost(union)), max(least, min(self._cost(union), bound))
        return None, math.inf, least

    def _cheapest_for_all(self, served: Sequence[int], most: float) -> tuple[Mapping[str, int] | None, float, bool]:
        """The cheapest purchases that serve some outings, some of them first and others as they are failed.

        What the outings that call for most cannot do without often serves the others too; then it is
        cheapest for all, since all need no less than some.

        Returns
        -------
        bought : mapping or None
            None where nothing serves them.
        bound : float
            Nothing costs less.
        is_sure : bool
            Whether that is proved.
        """
        waiting = sorted(self._groups(served), key=lambda group: (max(self.hands[o].bound for o in group), -group[0]))
        self._calling = [max(waiting[-1], key=lambda o: self.hands[o].bound)]
        while True:
            waiting = [group for group in waiting if not {*group} <= {*self._calling}]
            self.budget.say(f"the cheapest for {len(self._calling)} operations")
            bought, bound, is_sure = self._cheapest_for_calling(most)
            if bought is None:
                return None, bound, is_sure
            with_these = self.lightest_with(bought)
            with_these.look_alone(served)
            failing = [g for g in waiting if not with_these.together(g, is_any_enough=True).has_kits]
            if not failing:
                return bought, bound, is_sure
            waiting = [g for g in waiting if g not in failing] + failing
            self._calling = sorted({*self._calling, *waiting[-1]})

    def _cheapest_for_calling(self, most: float) -> tuple[Mapping[str, int] | None, float, bool]:
        """The cheapest purchases for the outings that call for most, from what is known of each alone."""
        hands = {o: self.hands[o] for o in self._calling}
        if len(hands) == 1:
            (found,) = hands.values()
        elif self.buying.has_many_types and any(hands.keys() <= {*some} for some in self.problem.at_once):
            apart = Apart(self.buying, hands, most)
            kits, is_sure = apart.kits()
            self._in_hand |= kits
            return self._union(self._calling) if kits else None, apart.least, is_sure
        else:
            _, found = self.buying.cheapest(self._together, most)
        return bought_of(found), found.bound, found.is_sure

    def _together(self, over: Search, most: float) -> Found:
        for o in self._calling:
            if self.hands[o].bound > most + 1e-6:
                return NOTHING
            over.know(o, self.hands[o])
        return over.together(self._calling, most)

    def _union(self, served: Sequence[int]) -> dict[str, int] | None:
        """What has to be bought for the kits in hand; None where there is not enough on offer."""
        needs = self.problem.beyond_owned({o: self._in_hand[o].used[o] for o in served})
        return None if any(n > self.problem.offered.get(i, 0) for i, n in needs.items()) else needs

    def _most_served(self, served: Sequence[int]) -> Purchase:
        """As many outings as the budget and the stock can serve, which of them being open too."""
        self.budget.say("as many as can be")
        allowed = self.buying.affordable(self.most)
        classes = dict.fromkeys(served, bus_classes(self.problem.with_purchases(allowed).batteries))
        names = ["cost", "mass", "items"] if self.most_cents is None else ["mass", "cost", "items"]
        try:
            program = Program(self.problem, classes, allowed, may_skip=True, budget=self.budget)
        except OutOfTime:
            return self._described(self._at_hand(served), math.inf, 0.0, is_lightest=False)
        plan = program.plan(["unserved", *names], {"cost": self.most})
        outcome = program.solve(plan, budget=self.budget)
        if outcome.counts is None:
            at_hand = self._at_hand(served)
            return self._described(at_hand, math.inf, 0.0, is_lightest=False, n_without=outcome.bound)
        if outcome.proved:
            self.left_out |= set(served) - set(program.made(outcome.counts))
        cost, bound = outcome.reached.get("cost", (math.inf, 0.0))
        is_lightest = outcome.is_settled
        part = Solved(program, plan, outcome)
        return self._described([part], cost, bound, is_lightest=is_lightest, n_without=outcome.bound)

    def _lightest(self, served: list[int], chosen: Mapping[str, int], cost: float, bound: float) -> Purchase:
        """The lightest kits for what is served, at that cost or within the budget."""
        if self.most_cents is None:
            parts, is_lightest = self._lightest_for(served, dict(chosen), cost, is_least=cost <= bound + 1e-6)
            return self._described(parts, cost, bound, is_lightest=is_lightest)
        allowed = self.buying.affordable(self.most)
        best, is_lightest = dict(chosen), True
        if self.most > 0 and dict(allowed) != dict(chosen):
            best, is_lightest = self._best_set(served, best, allowed)
        parts, is_sure = self._with(served, best)
        return self._described(parts, cost, bound, is_lightest=is_lightest and is_sure)

    def _lightest_for(
        self, served: list[int], chosen: dict[str, int], cost: float, *, is_least: bool
    ) -> tuple[list[Solved], bool]:
        """The lightest kits among all purchases that serve these outings at the least cost, where that is proved.

        Such purchases have nothing in them that could be left out, so they are few: they are found one
        after another, for the outings that call for that cost, and the kits are chosen with each.
        """
        free = {i: n for i, n in self.problem.offered.items() if self.problem.prices[i] == 0}
        parts, is_sure = self._with(served, chosen | free)
        if cost <= 0 or not is_least:
            return parts, is_sure and is_least
        best, tried = self._order_of(parts, served), [{i: n for i, n in chosen.items() if i not in free}]
        while len(tried) < _MOST_SETS:
            self.budget.say("other purchases at that price")
            found = self.buying.search(self.buying.affordable(cost), ["cost"], forbidden=tried).together(
                self._calling, cost
            )
            if not found.has_kits:
                return parts, is_sure and found.is_sure
            another = {i: n for i, n in (bought_of(found) or {}).items() if i not in free}
            if not another or another in tried:
                return parts, False
            tried.append(another)
            other, is_known = self._with(served, another | free)
            is_sure &= is_known or not other
            order = self._order_of(other, served)
            if order < best:
                parts, best = other, order
        return parts, False

    @staticmethod
    def _order_of(parts: list[Solved], served: Sequence[int]) -> tuple[float, list[str]]:
        """By what purchases are compared: the mass of all kits, infinite where an outing has none; then the ids."""
        if sorted(o for part in parts for o in part.program.numbers) != sorted(served):
            return math.inf, []
        bought = {i for part in parts for i in _needed(part)}
        return sum(part.outcome.objective for part in parts), sorted(bought)

    def _described(
        self, parts: list[Solved], cost: float, bound: float, *, is_lightest: bool, n_without: float = 0.0
    ) -> Purchase:
        """What is bought and what kits that makes.

        Parameters
        ----------
        n_without : float
            How many go without a kit at the least, beside those that cannot be served even alone.
        """
        unserved = tuple(sorted(self.left_out))
        made = {
            o: (part, kit)
            for part in parts
            if part.outcome.counts is not None
            for o, kit in sorted(part.program.made(part.outcome.counts).items())
        }
        unknown = tuple(o for o in self.numbers if o not in made and o not in self.left_out)
        proof, status = self._proof(len(made), unknown, cost, bound, n_without)
        choices: dict[int, Choice] = {}
        used: dict[int, dict[str, int]] = {}
        for o, (part, kit) in sorted(made.items()):
            counts = part.outcome.counts
            assert counts is not None
            used[o] = part.program.used(counts)[o]
            sky = self.problem.skies(o)[0]
            choices[o] = part_of(kit.model, kit.counts(counts), sky, status, is_settled=is_lightest)
        bought = self.problem.beyond_owned(used)
        return Purchase(
            self.programme,
            self.problem.stock,
            status,
            proof,
            self.most_cents,
            bought=tuple(sorted(listed(self.problem.stock, bought), key=lambda one: one.id)),
            cost_cents=self._cost(bought),
            choices=choices,
            unserved=unserved,
            unknown=unknown,
            is_lightest=is_lightest,
        )

    def _proof(
        self, n_served: int, unknown: Sequence[int], cost: float, bound: float, n_without: float
    ) -> tuple[Proof, Status]:
        """Of the cost where all are to be served, of how many go without where money is short."""
        if not n_served and not unknown:
            of: Any = "price" if self.most_cents is None else "unserved"
            return Proof(of, None, None, True), "no-kit"
        if self.most_cents is None:
            # what serves some of them only costs nothing that could be compared
            proof = Proof.reached("price", math.inf, 0.0) if unknown else Proof.reached("price", cost, bound)
            return proof, "no-kit" if proof.proved and self.left_out else proof.status
        n_alone = sum(1 for o in self.left_out if self.hands[o].bound > self.most + 1e-6)
        without = float(len(self.numbers) - n_served)
        proof = Proof.reached("unserved", without, max(float(len(self.left_out)), n_alone + max(0.0, n_without)))
        return proof, proof.status

    def _with(self, served: Sequence[int], chosen: Mapping[str, int]) -> tuple[list[Solved], bool]:
        """The lightest kits with given purchases: groups of outings that overlap do not touch each other."""
        parts: list[Solved] = []
        is_sure = True
        over = self.lightest_with(chosen)
        over.look_alone(served)
        for group in self._groups(served):
            self.budget.say("the lightest kits")
            found = over.together(group)
            is_sure &= found.is_settled and found.has_kits
            if found.best is not None:
                parts.append(found.best)
            else:
                parts += self._at_hand_with(group, chosen)
        return parts, is_sure

    def _at_hand_with(self, group: Sequence[int], chosen: Mapping[str, int]) -> list[Solved]:
        """The kits in hand, where the purchases serve them all: when there is no time for better ones."""
        needs = self._union(group)
        is_enough = needs is not None and is_within(needs, chosen)
        return self._these(group) if is_enough else []

    def _at_hand(self, served: Sequence[int]) -> list[Solved]:
        """The kits in hand, of one outing after another while the stock is enough.

        Within a budget there are none: who goes without is then open, not only unknown.
        """
        some: list[int] = []
        for o in served if self.most_cents is None else ():
            if self._union([*some, o]) is not None:
                some.append(o)
        return self._these(some)

    def _these(self, some: Sequence[int]) -> list[Solved]:
        return [best for o in some if (best := self._in_hand[o].best) is not None]

    def _best_set(
        self, served: Sequence[int], chosen: dict[str, int], allowed: Mapping[str, int]
    ) -> tuple[dict[str, int], bool]:
        """The purchases within the budget that make all kits together lightest, then the cheapest of these."""
        groups = self._groups(served)
        self.budget.say("the lightest kits, whatever is bought")
        # what they take is told, and with that the kits themselves are looked for after it
        buying = replace(self.buying, budget=self.budget.part(_FOR_SETS))
        wide = buying.search(allowed, ["mass"], at_most={"cost": self.most}, has_ties=True)
        wide.look_alone(served)
        widest = [wide.together(one) for one in groups]
        trials = Trials(partial(self._mass_with, buying, wide), groups, allowed, widest)
        best, is_lightest = Spending(trials, self.problem.prices, self.most).lightest(allowed, chosen)
        self.lightest_with(best, wide)
        return best, is_lightest

    def _cost(self, bought: Mapping[str, int]) -> int:
        return cost_of(bought, self.problem.prices)

    def _groups(self, served: Sequence[int]) -> list[list[int]]:
        """Outings that hang together by overlaps."""
        groups = hang_together(tuple(self.programme.outings[o] for o in served))
        return [[served[i] for i in group] for group in groups]


def _needed(part: Solved) -> dict[str, int]:
    assert part.outcome.counts is not None
    return needed(part.program, part.outcome.counts)
