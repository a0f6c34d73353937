"""What to buy for a season: the purchases that make its operations possible, at least cost.

Each operation is first solved alone: what it needs at least bounds what the season needs. Where the
purchases of all together cost no more than the dearest alone, that is the answer; otherwise those
that call for most are solved in one plan, and with them others only as they are failed by it.
"""

from __future__ import annotations

import itertools
import math
from collections.abc import Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kitopt.budget import UNLIMITED, Budget
from kitopt.engine import Outcome
from kitopt.engine.learned import CaseMemory
from kitopt.inventory.items import CHOSEN_KINDS, Inventory
from kitopt.many.group import Found, Group
from kitopt.many.joint import Bench, Joint
from kitopt.many.offers import (
    MOST_SETS,
    bench_of,
    beyond_owned,
    bought_of,
    maximal_sets,
    most_of_each,
    needed,
    unpriced,
)
from kitopt.many.purchase import Purchase, Single
from kitopt.many.terms import Outing, Programme, hang_together
from kitopt.many.trials import Trials
from kitopt.model.bus import bus_classes
from kitopt.operation.terms import Operation
from kitopt.pack import Choice, Packed, Proof, Status, kind_of
from kitopt.sky.windows import Sky, SkyOf

Part = tuple[Joint, Outcome]

LIGHTEST = ("mass", "cost", "items")
MOST_RANKED = 8


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

    Parameters
    ----------
    budget_cents : int, optional
        Without it all operations are to be served, whatever it costs. [1/100]
    """
    season = _Season(bench_of(programme, inventory, catalogue, sky_of), budget_cents, budget)
    found = season.solve()
    without_price = tuple(sorted(i for kind in CHOSEN_KINDS for i in unpriced(getattr(catalogue, kind))))
    found = replace(found, programme=programme, inventory=season.bench.stock, unpriced=without_price)
    if not with_singles:
        return found
    singles, is_complete = season.singles()
    return replace(found, singles=singles, has_all_singles=is_complete)


def cheapest_single(
    operation: Operation, inventory: Inventory, catalogue: Inventory, sky: Sky, *, budget: Budget
) -> tuple[str | None, bool]:
    """The cheapest piece of a catalogue that alone makes an operation possible, and whether that is sure.

    Raises
    ------
    BadInput
        If an id means one kind of thing in the inventory and another in the catalogue.
    """
    bench = bench_of(Programme("", "", (Outing(operation),)), inventory, catalogue, lambda _: sky)
    one_each = dict.fromkeys(bench.offered, 1)
    found = Group(bench, one_each, ["cost"], budget, at_most={"bought": 1.0}).alone(0)
    bought = bought_of(found)
    return (next(iter(bought)) if bought else None), found.is_sure


@dataclass
class _Season:
    bench: Bench
    most_cents: int | None
    budget: Budget

    def __post_init__(self) -> None:
        self.numbers = list(range(len(self.bench.outings)))
        self.most = math.inf if self.most_cents is None else float(self.most_cents)
        self.is_proved = True
        self._hands: dict[int, Found] = {}
        """The cheapest way to serve each outing alone."""
        self._calling: list[int] = []
        """The outings that call for what the purchases cost."""
        self.with_owned = self.group({}, LIGHTEST)

    def group(self, allowed: Mapping[str, int], names: Sequence[str], **more: Any) -> Group:
        """Outings on what is owned and some purchases."""
        return Group(self.bench, allowed, names, **({"budget": self.budget} | more))

    def _lightest_with(self, bought: Mapping[str, int]) -> Group:
        return self.group(bought, ["mass"]) if bought else self.with_owned

    # -- alone ---------------------------------------------------------------------------

    def affordable(self, most: float) -> dict[str, int]:
        """Types of which one piece at least is within a sum, and how many."""
        found: dict[str, int] = {}
        for item_id, n in self.bench.offered.items():
            price = self.bench.prices[item_id]
            pieces = n if price == 0 or not math.isfinite(most) else min(n, int(most // price))
            if pieces > 0:
                found[item_id] = pieces
        return found

    def alone(self, o: int) -> Found:
        """The cheapest way to serve one outing; the value and bound are costs."""
        name = self.bench.outings[o].operation.name
        self.budget.say(f"{name}: what is owned")
        owned = self.with_owned.alone(o)
        if owned.has_kits:
            assert owned.outcome is not None
            return replace(owned, outcome=replace(owned.outcome, objective=0.0, bound=0.0), bound=0.0, is_sure=True)
        self.budget.say(f"{name}: with purchases")
        most = self._pilot(o)
        found = self.group(self.affordable(most), ["cost"]).alone(o, most)
        if found.is_sure and not found.has_kits:
            return replace(found, bound=math.inf)
        return replace(found, bound=max(0.0, found.bound))

    def _pilot(self, o: int) -> float:
        """A sum that is known to be enough, from a few cheap types of each kind; else the budget."""
        few = self._few(self.bench.offered)
        if len(few) >= len(self.bench.offered) * 0.6:
            return self.most
        allowed = {i: n for i, n in self.affordable(self.most).items() if i in few}
        found = self.group(allowed, ["cost"]).alone(o, self.most)
        return found.value if found.has_kits else self.most

    def _few(self, offered: Mapping[str, int]) -> set[str]:
        """A few types of each kind, from cheap to dear."""
        few: set[str] = set()
        for kind in CHOSEN_KINDS:
            ids = [item.id for item in getattr(self.bench.stock, kind) if item.id in offered]
            ids.sort(key=lambda i: (self.bench.prices[i], i))
            few |= set(ids[:: max(1, len(ids) // 6)])
        return few

    # -- together ------------------------------------------------------------------------

    def solve(self) -> Purchase:
        """Serve as many as can be, then at least cost or within the budget, then with least mass."""
        hands = self._hands = {o: self.alone(o) for o in self.numbers}
        served = [o for o in self.numbers if math.isfinite(hands[o].bound) and hands[o].bound <= self.most + 1e-6]
        self.is_proved &= all(hands[o].has_kits for o in served)
        served = [o for o in served if hands[o].has_kits]
        if not served:
            return self._nothing()
        chosen, cost, bound = self._cheapest(served)
        if chosen is None:
            return self._most_served(served)
        return self._lightest(served, chosen, cost, bound)

    def _nothing(self) -> Purchase:
        status: Status = "no-kit" if self.is_proved else "time-limit"
        return self._purchase(status, Proof(None, None, self.is_proved), unserved=tuple(self.numbers))

    def _purchase(self, status: Status, proof: Proof, **more: Any) -> Purchase:
        nowhere = Programme("", "", self.bench.outings)
        return Purchase(nowhere, self.bench.stock, status, proof, self.most_cents, **more)

    def _cheapest(self, served: Sequence[int]) -> tuple[Mapping[str, int] | None, float, float]:
        """Purchases that serve all of some outings, their cost and a bound on it; None where nothing does."""
        least = max(self._hands[o].bound for o in served)
        union = self._union(served)
        if union is None:
            union = self._at_hand(served)
        cost = math.inf if union is None else float(self._cost(union))
        if union is not None and cost <= least + 1e-6:
            self._calling = [max(served, key=lambda o: (self._hands[o].bound, -o))]
            return union, cost, least
        found = self._cheapest_for_all(served, min(self.most, cost))
        bought = bought_of(found)
        if bought is not None:
            return bought, found.value, max(least, found.bound)
        if not found.is_sure and union is not None and cost <= self.most:
            return union, cost, max(least, min(cost, found.bound))
        self.is_proved &= found.is_sure
        return None, math.inf, least

    def _cheapest_for_all(self, served: Sequence[int], most: float) -> Found:
        """The cheapest purchases that serve some outings, some of them first and others as they are failed.

        What the outings that call for most cannot do without often serves the others too; then it is
        cheapest for all, since all need no less than some.
        """
        over = self.group(self.affordable(most), ["cost"])
        waiting = sorted(self._groups(served), key=lambda group: (max(self._hands[o].bound for o in group), -group[0]))
        self._calling = []
        while True:
            self._calling = sorted(self._calling + waiting.pop())
            self.budget.say(f"the cheapest for {len(self._calling)} operations")
            found = self._hands[self._calling[0]] if len(self._calling) == 1 else over.together(self._calling, most)
            bought = bought_of(found)
            if bought is None:
                return found
            with_these = self._lightest_with(bought)
            failing = [g for g in waiting if not with_these.together(g, is_any_enough=True).has_kits]
            if not failing:
                return found
            waiting = [g for g in waiting if g not in failing] + failing

    def _at_hand(self, served: Sequence[int]) -> dict[str, int] | None:
        """Purchases that serve all of some outings, from a few types; None where these do not suffice.

        Outings that overlap may call for the same piece when each is looked at alone. What they can do
        with what they call for and a few other types bounds what the whole catalogue has to be asked.
        """
        few = self._few(self.bench.offered) | {i for o in served for i in bought_of(self._hands[o]) or {}}
        allowed = {i: n for i, n in self.affordable(self.most).items() if i in few}
        over = self.group(allowed, ["cost"], budget=self.budget.slice(share=0.5))
        needs: dict[str, int] = {}
        for group in self._groups(served):
            self.budget.say("a first answer")
            found = self._hands[group[0]] if len(group) == 1 else over.together(group, self.most)
            bought = bought_of(found)
            if bought is None:
                return None
            needs = most_of_each(needs, bought)
        return needs

    def _union(self, served: Sequence[int]) -> dict[str, int] | None:
        """What has to be bought for the kits that were found alone; None where there is not enough on offer."""
        used: dict[int, dict[str, int]] = {}
        for o in served:
            found = self._hands[o]
            assert found.joint is not None
            assert found.outcome is not None
            assert found.outcome.counts is not None
            used |= found.joint.used(found.outcome.counts)
        needs = beyond_owned(self.bench, used)
        return None if any(n > self.bench.offered.get(i, 0) for i, n in needs.items()) else needs

    def _most_served(self, served: Sequence[int]) -> Purchase:
        """As many outings as the budget and the stock can serve, which of them being open too."""
        self.budget.say("as many as can be")
        joint = Joint(self.bench, served, self.affordable(self.most), may_skip=True)
        rest = ["cost", "mass", "items"] if self.most_cents is None else ["mass", "cost", "items"]
        outcome, reached = joint.solve(["unserved", *rest], budget=self.budget, at_most={"cost": self.most})
        self.is_proved &= outcome.status != "time-limit"
        if outcome.counts is None:
            return self._nothing()
        left = [o for o in served if o in joint.made(outcome.counts)]
        cost, bound = reached.get("cost", (0.0, 0.0))
        proof = self._proof(left, cost, bound)
        status: Status = "found" if proof.proved else "time-limit"
        if proof.proved and (self.most_cents is None or not left):
            status = "no-kit"
        is_lightest = all(least >= value - 1e-6 for value, least in reached.values())
        return self._described([(joint, outcome)], proof, status, is_lightest=is_lightest)

    def _lightest(self, served: list[int], chosen: Mapping[str, int], cost: float, bound: float) -> Purchase:
        """The lightest kits for what is served, at that cost or within the budget."""
        proof = self._proof(served, cost, bound)
        status: Status = "found" if proof.proved else "time-limit"
        if self.most_cents is None:
            if proof.proved and len(served) < len(self.numbers):
                status = "no-kit"
            parts, is_lightest = self._lightest_for(served, dict(chosen), cost)
            return self._described(parts, proof, status, is_lightest=is_lightest)
        allowed = self.affordable(self.most)
        best, is_lightest = dict(chosen), True
        if self.most > 0 and dict(allowed) != dict(chosen):
            best, is_lightest = self._best_set(served, best, allowed)
        parts, is_sure = self._with(served, best)
        return self._described(parts, proof, status, is_lightest=is_lightest and is_sure)

    def _lightest_for(self, served: list[int], chosen: dict[str, int], cost: float) -> tuple[list[Part], bool]:
        """The lightest kits among all purchases that serve these outings at the least cost.

        Such purchases have nothing in them that could be left out, so they are few: they are found one
        after another, for the outings that call for that cost, and the kits are chosen with each.
        """
        free = {i: n for i, n in self.bench.offered.items() if self.bench.prices[i] == 0}
        parts, is_sure = self._with(served, chosen | free)
        if cost <= 0:
            return parts, is_sure
        best, tried = self._order_of(parts, served), [{i: n for i, n in chosen.items() if i not in free}]
        while len(tried) < MOST_SETS:
            self.budget.say("other purchases at that price")
            found = self.group(self.affordable(cost), ["cost"], forbidden=tried).together(self._calling, cost)
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
    def _order_of(parts: list[Part], served: Sequence[int]) -> tuple[float, list[str]]:
        """By what purchases are compared: the mass of all kits, infinite where an outing has none; then the ids."""
        if sorted(o for joint, _ in parts for o in joint.numbers) != sorted(served):
            return math.inf, []
        bought = {i for joint, outcome in parts if outcome.counts is not None for i in needed(joint, outcome.counts)}
        return sum(outcome.objective for _, outcome in parts), sorted(bought)

    def _described(self, parts: list[Part], proof: Proof, status: Status, *, is_lightest: bool) -> Purchase:
        bought: dict[str, int] = {}
        choices: dict[int, Choice] = {}
        for joint, outcome in parts:
            assert outcome.counts is not None
            bought = most_of_each(bought, needed(joint, outcome.counts))
            choices |= joint.choices(outcome.counts, proof, status)
        return self._purchase(
            status,
            proof,
            bought=tuple(Packed(i, kind_of(self.bench.stock, i), n) for i, n in bought.items()),
            cost_cents=self._cost(bought),
            choices=dict(sorted(choices.items())),
            unserved=tuple(o for o in self.numbers if o not in choices),
            is_lightest=is_lightest,
        )

    def _with(self, served: Sequence[int], chosen: Mapping[str, int]) -> tuple[list[Part], bool]:
        """The lightest kits with given purchases: groups of outings that overlap do not touch each other."""
        parts: list[Part] = []
        is_sure = True
        for group in self._groups(served):
            self.budget.say("the lightest kits")
            over = self.group(chosen, LIGHTEST) if chosen else self.with_owned
            found = over.together(group)
            is_sure &= found.is_lightest and found.has_kits
            if found.joint is not None and found.outcome is not None:
                parts.append((found.joint, found.outcome))
        return parts, is_sure

    def _best_set(
        self, served: Sequence[int], chosen: dict[str, int], allowed: Mapping[str, int]
    ) -> tuple[dict[str, int], bool]:
        """The purchases within the budget that make all kits together lightest, then the cheapest of these.

        With purchases given, groups of outings do not touch each other. So where the sets of purchases
        are few they are tried, each bounded by what each group could do with whatever it likes best.
        """
        groups = self._groups(served)
        sets = maximal_sets(allowed, self.bench.prices, self.most)
        if sets is None:
            return self._best_set_in_one(served, chosen, allowed)
        self.budget.say("the lightest kits, whatever is bought")
        wide = self.group(allowed, ["mass"], at_most={"cost": self.most})
        widest = [wide.together(one) for one in groups]
        trials = Trials(self._lightest_with, [tuple(group) for group in groups], allowed, widest)
        best, best_g = chosen, trials.mass_g(chosen, math.inf)
        for one in sets:
            mass_g = trials.mass_g(one, best_g)
            if mass_g < best_g - 0.5:
                best, best_g = one, mass_g
        # what is not needed for that is not bought
        for item_id in sorted(best, key=lambda i: (-self.bench.prices[i], i)):
            while best.get(item_id, 0):
                less = {i: n - (i == item_id) for i, n in best.items()}
                less = {i: n for i, n in less.items() if n}
                if trials.mass_g(less, best_g + 1.0) > best_g + 0.5:
                    break
                best = less
        for one in sets:
            best = self._cheaper(one, best, best_g, trials)
        return best, trials.is_sure

    def _cheaper(
        self, within: Mapping[str, int], best: dict[str, int], mass_g: float, trials: Trials
    ) -> dict[str, int]:
        """The cheapest part of a set of purchases with which the kits are as light as known."""
        if trials.mass_g(within, mass_g + 1.0) > mass_g + 0.5:
            return best
        ranges = [range(n + 1) for n in within.values()]
        parts = [dict(zip(within, numbers, strict=True)) for numbers in itertools.product(*ranges)]
        parts = [{i: n for i, n in part.items() if n} for part in parts]
        for part in sorted(parts, key=lambda part: (self._cost(part), sorted(part.items()))):
            if self._cost(part) >= self._cost(best):
                break
            if trials.mass_g(part, mass_g + 1.0) <= mass_g + 0.5:
                return part
        return best

    def _cost(self, bought: Mapping[str, int]) -> int:
        return sum(n * self.bench.prices[i] for i, n in bought.items())

    def _best_set_in_one(
        self, served: Sequence[int], chosen: dict[str, int], allowed: Mapping[str, int]
    ) -> tuple[dict[str, int], bool]:
        """The same in one plan, where the sets of purchases are many."""
        found = self.group(allowed, LIGHTEST, at_most={"cost": self.most}).together(served)
        bought = bought_of(found)
        return (chosen, False) if bought is None else (bought, found.is_lightest)

    def _groups(self, served: Sequence[int]) -> list[list[int]]:
        """Outings that hang together by overlaps."""
        groups = hang_together(tuple(self.bench.outings[o] for o in served))
        return [[served[i] for i in group] for group in groups]

    def _proof(self, served: Sequence[int], cost: float, bound: float) -> Proof:
        if self.most_cents is None:
            is_proved = self.is_proved and bound >= cost - 1e-6
            return Proof(cost, cost if is_proved else bound, is_proved)
        unserved = float(len(self.numbers) - len(served))
        return Proof(unserved, unserved if self.is_proved else 0.0, self.is_proved)

    # -- one piece at a time ------------------------------------------------------------

    def singles(self) -> tuple[tuple[Single, ...], bool]:
        """What one piece of each type would do, best first, and whether all could be looked at.

        Operations are taken one at a time; each type is solved for in each of them.
        """
        serves: dict[str, list[int]] = {}
        saved_g: dict[str, float] = {}
        offered = dict.fromkeys(self.affordable(self.most), 1)
        is_complete = True
        for o in self.numbers:
            self.budget.say(f"{self.bench.outings[o].operation.name}: one piece at a time")
            owned = self.with_owned.alone(o)
            is_complete &= owned.is_sure
            # what costs less than the cheapest way to serve an outing cannot serve it
            least = 0.0 if owned.has_kits else self._hands[o].bound
            worth = {i: n for i, n in offered.items() if self.bench.prices[i] >= least - 1e-6}
            masses, is_sure = self._with_one_each(o, worth, owned.value)
            is_complete &= is_sure
            for item_id, mass_g in masses.items():
                if owned.has_kits:
                    saved_g[item_id] = saved_g.get(item_id, 0.0) + owned.value - mass_g
                else:
                    serves.setdefault(item_id, []).append(o)
        ranked = [
            Single(i, self.bench.prices[i], tuple(serves.get(i, ())), round(saved_g.get(i, 0.0)))
            for i in sorted({*serves, *saved_g})
        ]
        ranked.sort(key=lambda one: (-len(one.serves), -one.saved_g / max(1, one.cents), one.cents, one.id))
        return tuple(ranked[:MOST_RANKED]), is_complete

    def _with_one_each(self, o: int, offered: Mapping[str, int], now_g: float) -> tuple[dict[str, float], bool]:
        """Mass of an outing's lightest kit with one piece of each type that makes it lighter, or possible at all."""
        stock = self.bench.with_purchases(offered)
        plans = [
            (Joint(self.bench, [o], offered, classes={o: [bus]}), dict[str, CaseMemory]())
            for bus in bus_classes(stock.batteries)
        ]
        found: dict[str, float] = {}
        is_sure = True
        viable = []
        for joint, memories in plans if offered else ():
            # a class in which one piece of every type does not help is done with
            outcome = joint.least_mass_with(offered, memories, budget=self.budget, cutoff=now_g - 1.0)
            if outcome.status != "no-kit":
                viable.append((joint, memories))
        for item_id in sorted(offered):
            best = now_g - 1.0
            for joint, memories in viable:
                if self.budget.is_over:
                    return found, False
                outcome = joint.least_mass_with({item_id: 1}, memories, budget=self.budget, cutoff=best)
                is_sure &= outcome.status != "time-limit"
                if outcome.counts is not None and outcome.objective <= best:
                    best = found[item_id] = outcome.objective
        return found, is_sure
