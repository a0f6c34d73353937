"""What few pieces of a catalogue would do: of every type one in turn, or the best few of all in one program."""

from __future__ import annotations

import math
from collections.abc import Iterator, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from kitopt.at_once import at_once
from kitopt.budget import Budget, OutOfTime
from kitopt.choice.found import Found
from kitopt.choice.offers import needed, problem_with
from kitopt.choice.program import Program
from kitopt.choice.purchase import Single
from kitopt.choice.search import Search
from kitopt.engine import Outcome
from kitopt.engine.learned import CaseMemory
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.operation.plans import Outing, Programme
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

MOST_RANKED = 8


def with_few(
    operation: Operation,
    inventory: Inventory,
    catalogue: Inventory,
    sky: Sky,
    names: Sequence[str],
    *,
    pieces: int = 1,
    cutoff: float = math.inf,
    budget: Budget,
) -> Found:
    """The best kit with no more than so many pieces of a catalogue, which of them being open: one program.

    Parameters
    ----------
    names : sequence of str
        Quantities in order of importance, such as "mass", or "cost" for what is bought.
    cutoff : float
        Only up to this the first is of interest.

    Raises
    ------
    BadInput
        If an id means one kind of thing in the inventory and another in the catalogue.
    """
    problem = problem_with(Programme("", "", (Outing(operation),)), inventory, catalogue, lambda _: sky)
    some = {item_id: min(n, pieces) for item_id, n in problem.offered.items()}
    return Search(problem, names, budget, some, {"bought": float(pieces)}, told="none").alone(0, cutoff)


def singles(
    with_owned: Search, offered: Mapping[str, int], hands: Mapping[int, Found]
) -> tuple[tuple[Single, ...], bool]:
    """What one piece of each type would do, best first, and whether all could be looked at.

    Parameters
    ----------
    with_owned : Search
        The kits of what is owned; mass is to be made small.
    offered : mapping of item id to int
        What can be had.
    hands : mapping of outing to Found
        The cheapest kit of each; what costs less than its bound cannot serve the outing.
    """
    problem = with_owned.problem
    # what needs most to be carried takes longest
    numbers = sorted(range(len(problem.wanted)), key=lambda o: -with_owned.alone(o).value)
    found = at_once([partial(_one_each, with_owned, o, offered, hands[o]) for o in numbers])
    serves: dict[str, list[int]] = {}
    saved_g: dict[str, float] = {}
    is_complete = True
    for of_outing in sorted(found, key=lambda one: one.outing):
        is_complete &= of_outing.is_sure
        for item_id, mass_g in of_outing.masses_g.items():
            if math.isfinite(of_outing.now_g):
                saved_g[item_id] = saved_g.get(item_id, 0.0) + of_outing.now_g - mass_g
            else:
                serves.setdefault(item_id, []).append(of_outing.outing)
    ranked = [
        Single(i, problem.prices[i], tuple(serves.get(i, ())), round(saved_g.get(i, 0.0)))
        for i in sorted({*serves, *saved_g})
    ]
    ranked.sort(key=lambda one: (-len(one.serves), -one.saved_g / max(1, one.cents), one.cents, one.id))
    return tuple(ranked[:MOST_RANKED]), is_complete


@dataclass(frozen=True)
class _OneEach:
    """What one piece of each type does for one outing; infinite where what is owned does not serve it. [g]"""

    outing: int
    now_g: float
    masses_g: Mapping[str, float]
    is_sure: bool


def _one_each(with_owned: Search, o: int, offered: Mapping[str, int], hand: Found) -> _OneEach:
    problem = with_owned.problem
    with_owned.budget.say(f"{problem.wanted[o].operation.name}: one piece at a time")
    owned = with_owned.alone(o)
    cheapest = 0.0 if owned.has_kits else hand.bound
    worth = [i for i in sorted(offered) if problem.prices[i] >= cheapest - 1e-6]
    likely = owned if owned.has_kits else hand
    masses_g, is_sure = _with_one_each(with_owned, o, worth, owned.value, likely)
    return _OneEach(o, owned.value, masses_g, owned.is_sure and is_sure)


def _with_one_each(
    search: Search, o: int, offered: list[str], now_g: float, likely: Found
) -> tuple[dict[str, float], bool]:
    """Mass of a kit with one piece of each type that makes it lighter, or possible at all.

    On the class of a kit that is known most types help little or not at all: one program says which single piece helps
    most, then which but for that, until none does. On another most are ruled out at a glance, one at a time.
    """
    problem, budget = search.problem, search.budget
    one_each = dict.fromkeys(offered, 1)
    found: dict[str, float] = {}
    is_sure = True
    try:
        classes = bus_classes(problem.with_purchases(one_each).batteries) if offered else []
        for bus in classes:
            is_known = likely.has_kits and bus.is_like(likely.bus)
            program = Program(problem, {o: [bus]}, one_each, budget=budget)
            here = _OfClass(search, program, {"bought": 1.0} if is_known else {})
            if is_known:
                asked = here.one_after_another(now_g - 1.0)
            # a class in which one piece of every type does not help is done with
            elif here.lightest_with(one_each, now_g - 1.0)[0].status != "no-kit":
                asked = (here.lightest_with({i: 1}, found.get(i, now_g) - 1.0) for i in offered)
            else:
                continue
            for outcome, bought in asked:
                budget.check()
                is_sure &= outcome.proved
                found |= {i: min(outcome.objective, found.get(i, math.inf)) for i in bought}
    except OutOfTime:
        return found, False
    return found, is_sure


class _OfClass:
    """The plan of a kit with one piece of every type, closed again for all but some."""

    def __init__(self, search: Search, program: Program, at_most: Mapping[str, float]) -> None:
        self.search, self.program = search, program
        self.plan = program.plan(["mass"], at_most)
        self.memories: dict[str, CaseMemory] = {}
        """What holds whatever is bought."""

    def one_after_another(self, cutoff: float) -> Iterator[tuple[Outcome, Mapping[str, int]]]:
        """The lightest kit of all types, then that without what it buys, and so on."""
        left, least = dict.fromkeys(self.program.buys, 1), -math.inf
        while left:
            outcome, bought = self.lightest_with(left, cutoff, least)
            yield outcome, bought
            if not bought:
                return
            # less to choose from makes no kit lighter
            left, least = {i: n for i, n in left.items() if i not in bought}, outcome.bound

    def lightest_with(
        self, bought: Mapping[str, int], cutoff: float, least: float = -math.inf
    ) -> tuple[Outcome, Mapping[str, int]]:
        """The lightest kit with some of the purchases that the plan allows, and which of them it takes."""
        program, plan = self.program, self.program.closed(self.plan, bought)
        # what is learned rests on the cases alone, so it holds whatever is bought
        outcome = program.solve(plan, cutoff=cutoff, least=least, memories=self.memories, budget=self.search.budget)
        return outcome, {} if outcome.counts is None else needed(program, outcome.counts)
