"""The best kit once more under a rule more, with all that is known without it.

A rule more allows no kit that was not allowed before. So every row that the choice has learned still holds,
and its objective is a bound: only what the rule changes has to be found anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from functools import partial

from kitopt.ask.change import Change
from kitopt.budget import Budget
from kitopt.choice import Choice, Solved
from kitopt.choice.circuits import best_circuits, search_of
from kitopt.choice.classes import over_classes
from kitopt.choice.measure import of_found
from kitopt.choice.search import Search
from kitopt.engine import Plan, Row, choose
from kitopt.engine.plan import Floats

Rules = Sequence[Change]


@dataclass
class _Free:
    """What is known of a class without any rule more: its best kit, or that none costs so little."""

    solved: Solved | None = None
    floor: float = -math.inf


class Again:
    """Chooses again from one proved choice, under some rules at a time, and keeps what it learns."""

    def __init__(self, choice: Choice) -> None:
        self._choice = choice
        # the class of the chosen kit first: what it finds bounds the others
        self._circuits: dict[bool, Search] = {}
        is_one = len(choice.operation.circuits) == 1
        self._solved = sorted(choice.solved if is_one else (), key=lambda s: s.model.bus != choice.bus)
        self._memories = [s.outcome.memories for s in self._solved]
        # of a class that was looked at in vain it is known how much more than the chosen kit it asks for
        self._free = [_Free(floor=s.outcome.bound if s.outcome.status == "no-kit" else -math.inf) for s in self._solved]
        self._kits: list[list[Floats]] = [[] if s.outcome.counts is None else [s.outcome.counts] for s in self._solved]

    def under_each(
        self, asked: Sequence[Rules], budget: Budget, say: Callable[[int], None] = lambda i: None
    ) -> list[Choice]:
        """The best kit under each of some rules.

        The class of the chosen kit is asked first. Of another class one search without any rule then most
        often tells that it has nothing so good, whatever the rule.

        Parameters
        ----------
        say : callable
            Is told the index of the rules before they are asked.
        """
        if len(self._choice.operation.circuits) > 1:
            # of their classes only those are known that may be part of something better: with a rule others may be
            return [self._of_circuits(i, rules, budget, say) for i, rules in enumerate(asked)]
        firsts = self._in_first(asked, budget, say) if self._solved else [None] * len(asked)
        objectives = [s.outcome.objective for s in firsts if s is not None and s.outcome.counts is not None]
        highest = max(objectives, default=-math.inf)
        return [self._complete(rules, first, highest, budget) for rules, first in zip(asked, firsts, strict=True)]

    def _of_circuits(self, i: int, rules: Rules, budget: Budget, say: Callable[[int], None]) -> Choice:
        say(i)
        before, bound = self._choice, self._choice.proof.bound
        # as for one kit: of several equally light ones any one will do
        is_any_good = before.operation.least == "mass" and all(rule.family != "price cap" for rule in rules)
        if is_any_good not in self._circuits:
            self._circuits[is_any_good] = search_of(
                before.operation, before.inventory, before.sky, is_any_good=is_any_good
            )
        return best_circuits(
            before.operation,
            before.inventory,
            before.sky,
            budget=budget,
            rules=partial(rows_of, rules),
            search=self._circuits[is_any_good],
            least=-math.inf if bound is None else bound,
        )

    def _in_first(self, asked: Sequence[Rules], budget: Budget, say: Callable[[int], None]) -> list[Solved | None]:
        """The best kit of the first class under each of some rules; a known one that is not proved where time was up.

        The best that keeps any of some limits is the best under each that it keeps: so the limits are asked about
        together, until each is kept by one.
        """
        found: list[Solved | None] = [None] * len(asked)
        base = self._solved[0]
        each = {i: rows_of(rules, base) for i, rules in enumerate(asked)}
        limits = {i: rows[0] for i, rows in each.items() if rows is not None and [r.lower for r in rows] == [-math.inf]}
        for i, rules in enumerate(asked):
            if i not in limits and not budget.is_over:
                say(i)
                found[i] = self._choose(0, rules, math.inf, budget)
        least = self._least
        while limits and not budget.is_over:
            say(next(iter(limits)))
            plan = replace(base.plan, either=tuple(limits.values()))
            outcome = self._choose_within(0, plan, math.inf, budget, least=least).outcome
            least = max(least, outcome.bound)
            if not outcome.proved:
                break
            counts = outcome.counts
            for i, row in list(limits.items()):
                if counts is None or row.holds(counts):
                    found[i] = replace(base, plan=replace(base.plan, rows=(*base.plan.rows, row)), outcome=outcome)
                    del limits[i]
        for i, row in limits.items():
            found[i] = self._known_within(base, row, least)
        return found

    def _known_within(self, base: Solved, row: Row, least: float) -> Solved | None:
        """The best kit of the first class in hand that keeps a limit."""
        first = base.plan.objectives[0]
        counts = min((one for one in self._kits[0] if row.holds(one)), key=first.of, default=None)
        if counts is None:
            return None
        value = float(first.of(counts))
        outcome = replace(base.outcome, status="time-limit", counts=counts, objective=value, bound=least, reached={})
        return replace(base, outcome=outcome)

    def _complete(self, rules: Rules, first: Solved | None, highest: float, budget: Budget) -> Choice:
        """The best over all classes, the first of them being known; it is None where the rule leaves it no kit."""

        def attempt(i: int, cutoff: float, _: Solved | None) -> Solved | None:
            if i == 0:
                if first is None:
                    budget.check()
                return first
            budget.check()
            if math.isinf(cutoff):
                return self._choose(i, rules, math.inf, budget)
            return self._at_most(i, rules, cutoff, highest, budget)

        found = over_classes(range(len(self._solved)), attempt)
        before = self._choice
        after = of_found(before.operation, before.inventory, before.sky, found, found.tried)
        return replace(after, blocks=before.blocks)

    def _at_most(self, i: int, rules: Rules, cutoff: float, highest: float, budget: Budget) -> Solved | None:
        """The best kit of a class that costs no more than a cutoff; None where there is none."""
        free = self._free[i]
        if free.solved is None and free.floor <= cutoff:
            solved = self._choose(i, (), max(cutoff, highest), budget)
            assert solved is not None
            if not solved.outcome.proved:
                return solved
            if solved.outcome.counts is None:
                free.floor = solved.outcome.bound
            else:
                free.solved, free.floor = solved, solved.outcome.objective
        if free.floor > cutoff:
            return None
        assert free.solved is not None
        assert free.solved.outcome.counts is not None
        rows = rows_of(rules, free.solved)
        if rows is None:
            return None
        if not replace(free.solved.plan, rows=rows).broken_rows(free.solved.outcome.counts):
            return free.solved
        return self._choose(i, rules, cutoff, budget)

    def _choose(self, i: int, rules: Rules, cutoff: float, budget: Budget) -> Solved | None:
        before = self._solved[i]
        rows = rows_of(rules, before)
        if rows is None:
            return None
        plan = replace(before.plan, rows=(*before.plan.rows, *rows))
        breaks_ties = any(rule.family == "price cap" for rule in rules)
        return self._choose_within(i, plan, cutoff, budget, least=self._least, breaks_ties=breaks_ties)

    def _choose_within(
        self, i: int, plan: Plan, cutoff: float, budget: Budget, *, least: float, breaks_ties: bool = False
    ) -> Solved:
        # a kit that is known and keeps the rules is an answer, if not the best
        known = [float(plan.objectives[0].of(counts)) for counts in self._kits[i] if not plan.broken_rows(counts)]
        outcome = choose(
            plan if breaks_ties else _in_one_go(plan),
            budget=budget,
            cutoff=min([cutoff, *known]),
            # what is learned rests on the cases alone, so it holds with the rule and without
            memories=self._memories[i],
            least=least,
        )
        if outcome.counts is not None:
            self._kits[i].append(outcome.counts)
        return replace(self._solved[i], plan=plan, outcome=outcome)

    @property
    def _least(self) -> float:
        return -math.inf if self._choice.proof.bound is None else self._choice.proof.bound


def rows_of(rules: Rules, solved: Solved) -> tuple[Row, ...] | None:
    """What all rules add to the plan of a class; None where one of them leaves it no kit."""
    each = [rule.rows(solved) for rule in rules]
    return None if any(rows is None for rows in each) else tuple(row for rows in each for row in rows or ())


def _in_one_go(plan: Plan) -> Plan:
    """The plan to be solved for a lightest kit: which of several equally light ones comes is of no matter.

    By price or pieces ties are common, and their masses differ: there they are broken as ever.
    """
    first = plan.objectives[0]
    return replace(plan, objectives=(first,), tie_break=()) if first.name == "mass" else plan
