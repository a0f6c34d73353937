"""What one piece of each type on offer would do: operations taken one at a time, each type solved for in each."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from kitopt.budget import OutOfTime
from kitopt.choice.program import Program
from kitopt.choice.purchase import Single
from kitopt.choice.search import Search
from kitopt.engine import Outcome
from kitopt.engine.learned import CaseMemory
from kitopt.model.bus import bus_classes

MOST_RANKED = 8


def singles(
    with_owned: Search, offered: Mapping[str, int], least: Mapping[int, float]
) -> tuple[tuple[Single, ...], bool]:
    """What one piece of each type would do, best first, and whether all could be looked at.

    Parameters
    ----------
    with_owned : Search
        The kits of what is owned; mass is to be made small.
    offered : mapping of item id to int
        What can be had.
    least : mapping of outing to float
        What costs less cannot serve it.
    """
    problem, budget = with_owned.problem, with_owned.budget
    serves: dict[str, list[int]] = {}
    saved_g: dict[str, float] = {}
    is_complete = True
    for o, wanted in enumerate(problem.wanted):
        budget.say(f"{wanted.operation.name}: one piece at a time")
        owned = with_owned.alone(o)
        is_complete &= owned.is_sure
        cheapest = 0.0 if owned.has_kits else least[o]
        worth = [i for i in sorted(offered) if problem.prices[i] >= cheapest - 1e-6]
        masses, is_sure = _with_one_each(with_owned, o, worth, owned.value)
        is_complete &= is_sure
        for item_id, mass_g in masses.items():
            if owned.has_kits:
                saved_g[item_id] = saved_g.get(item_id, 0.0) + owned.value - mass_g
            else:
                serves.setdefault(item_id, []).append(o)
    ranked = [
        Single(i, problem.prices[i], tuple(serves.get(i, ())), round(saved_g.get(i, 0.0)))
        for i in sorted({*serves, *saved_g})
    ]
    ranked.sort(key=lambda one: (-len(one.serves), -one.saved_g / max(1, one.cents), one.cents, one.id))
    return tuple(ranked[:MOST_RANKED]), is_complete


def _with_one_each(search: Search, o: int, offered: list[str], now_g: float) -> tuple[dict[str, float], bool]:
    """Mass of a kit with one piece of each type that makes it lighter, or possible at all."""
    problem, budget = search.problem, search.budget
    one_each = dict.fromkeys(offered, 1)
    found: dict[str, float] = {}
    is_sure = True
    viable: list[_OfClass] = []
    try:
        for bus in bus_classes(problem.with_purchases(one_each).batteries) if offered else ():
            # a class in which one piece of every type does not help is done with
            here = _OfClass(search, Program(problem, {o: [bus]}, one_each, budget=budget))
            if here.lightest_with(one_each, now_g - 1.0).status != "no-kit":
                viable.append(here)
        for item_id in offered:
            best = now_g - 1.0
            for here in viable:
                budget.check()
                outcome = here.lightest_with({item_id: 1}, best)
                is_sure &= outcome.proved
                if outcome.counts is not None and outcome.objective <= best:
                    best = found[item_id] = outcome.objective
    except OutOfTime:
        return found, False
    return found, is_sure


class _OfClass:
    """The plan of a kit with one piece of every type, closed again for all but some."""

    def __init__(self, search: Search, program: Program) -> None:
        self.search, self.program = search, program
        self.plan = program.plan(["mass"])
        self.memories: dict[str, CaseMemory] = {}
        """What holds whatever is bought."""

    def lightest_with(self, bought: Mapping[str, int], cutoff: float) -> Outcome:
        """The lightest kit with some of the purchases that the plan allows."""
        program, owned = self.program, self.search.problem.owned
        upper = np.array(self.plan.upper)
        for item_id, j in program.buys.items():
            upper[j] = min(upper[j], bought.get(item_id, 0))
            if not bought.get(item_id) and not owned(item_id):
                for kits in program.kits.values():
                    for kit in kits:
                        upper[[column for column, _ in kit.uses(item_id)]] = 0.0
        plan = replace(self.plan, upper=upper)
        # what is learned rests on the cases alone, so it holds whatever is bought
        return program.solve(plan, cutoff=cutoff, memories=self.memories, budget=self.search.budget)
