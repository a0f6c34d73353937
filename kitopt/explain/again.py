"""The best kit once more, under a rule more: what reasons are made of.

A rule more allows no kit that was not allowed before. So every row that the choice has learned still holds,
and its objective is a bound: only what the rule changes has to be found anew.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Made, Packed, Shortfall, Solved, Status, packed_of, strongest_of
from kitopt.choice.classes import over_classes
from kitopt.engine import Plan, Row, choose
from kitopt.engine.learned import CaseMemory
from kitopt.model.kit import KitModel
from kitopt.sky.windows import Sky


@dataclass(frozen=True)
class Again:
    """What came of choosing again.

    Attributes
    ----------
    objective : int or None
        Of the best kit, in grams, cents or pieces; None without a kit.
    packed : tuple of Packed
        The best kit, or none.
    solved : tuple of Solved
        Every bus class under the rule.
    """

    status: Status
    objective: int | None
    packed: tuple[Packed, ...]
    solved: tuple[Solved, ...]
    best: Solved | None = None

    def made(self, sky: Sky) -> Made:
        """The best kit, to be measured."""
        assert self.best is not None
        assert self.best.outcome.counts is not None
        return Made(self.best.model, sky, self.best.outcome.counts)

    def strongest(self, choice: Choice, budget: Budget = UNLIMITED) -> Shortfall:
        """The strongest kit under the rule, when none works."""
        return strongest_of(choice, self.solved, budget)


Rule = Callable[[KitModel], Sequence[Row] | None]
"""The rows that a rule adds to the plan of a class; None where the class has no kit that keeps it."""


@dataclass
class _Free:
    """What is known of a class without any rule more: its best kit, or that none costs so little."""

    solved: Solved | None = None
    floor: float = -math.inf


class Resolver:
    """Chooses again from one choice, under one rule at a time, and keeps what it learns.

    Parameters
    ----------
    choice : Choice
        Proved, whether a kit was found or not.
    breaks_ties : bool
        Whether among equally light kits the cheapest is wanted, and so on.
    """

    def __init__(self, choice: Choice, *, breaks_ties: bool = False) -> None:
        self._breaks_ties = breaks_ties
        # the class of the chosen kit first: what it finds bounds the others
        self._solved = sorted(choice.solved, key=lambda s: s.model.bus != choice.bus)
        self._memories = [s.outcome.memories for s in self._solved]
        self._free = [_Free() for _ in self._solved]

    def under(self, rule: Rule, *, budget: Budget = UNLIMITED) -> Again:
        """The best kit under one rule more."""
        return self.under_each([rule], budget=budget)[0]

    def under_each(
        self, rules: Sequence[Rule], *, budget: Budget = UNLIMITED, say: Callable[[int], None] = lambda i: None
    ) -> list[Again]:
        """The best kit under each of some rules.

        The class of the chosen kit is asked first. Of another class one search without any rule then most
        often tells that it has nothing so good, whatever the rule.

        Parameters
        ----------
        say : callable
            Is told the index of the rule before it is asked.
        """
        firsts: list[Solved | None] = []
        for i, rule in enumerate(rules):
            say(i)
            is_late = budget.is_over or not self._solved
            firsts.append(None if is_late else self._choose(0, rule, math.inf, budget))
        objectives = [s.outcome.objective for s in firsts if s is not None and s.outcome.counts is not None]
        highest = max(objectives, default=-math.inf)
        return [self._complete(rule, first, highest, budget) for rule, first in zip(rules, firsts, strict=True)]

    def _complete(self, rule: Rule, first: Solved | None, highest: float, budget: Budget) -> Again:
        """The best over all classes, the first of them being known; it is None where the rule leaves it no kit."""

        def attempt(i: int, cutoff: float) -> Solved | None:
            if i == 0:
                if first is None:
                    budget.check()
                return first
            budget.check()
            if math.isinf(cutoff):
                return self._choose(i, rule, math.inf, budget)
            return self._at_most(i, rule, cutoff, highest, budget)

        found = over_classes(range(len(self._solved)), attempt)
        if found.best is None:
            return Again("no-kit" if found.is_sure else "time-limit", None, (), found.tried)
        counts = found.best.outcome.counts
        assert counts is not None
        status: Status = "found" if found.is_sure else "time-limit"
        return Again(status, round(found.value), packed_of(found.best.model, counts), found.tried, found.best)

    def _at_most(self, i: int, rule: Rule, cutoff: float, highest: float, budget: Budget) -> Solved | None:
        """The best kit of a class that costs no more than a cutoff; None where there is none."""
        free = self._free[i]
        if free.solved is None and free.floor < cutoff:
            solved = self._choose(i, lambda _: (), max(cutoff, highest), budget)
            assert solved is not None
            if not solved.outcome.proved:
                return solved
            if solved.outcome.counts is None:
                free.floor = max(cutoff, highest)
            else:
                free.solved, free.floor = solved, solved.outcome.objective
        if free.floor > cutoff or (free.solved is None and free.floor >= cutoff):
            return None
        assert free.solved is not None
        assert free.solved.outcome.counts is not None
        rows = rule(free.solved.model)
        if rows is None:
            return None
        if not replace(free.solved.plan, rows=tuple(rows)).broken_rows(free.solved.outcome.counts):
            return free.solved
        return self._choose(i, rule, cutoff, budget)

    def _choose(self, i: int, rule: Rule, cutoff: float, budget: Budget) -> Solved | None:
        before = self._solved[i]
        rows = rule(before.model)
        if rows is None:
            return None
        plan = replace(before.plan, rows=(*before.plan.rows, *rows))
        outcome = choose(
            plan if self._breaks_ties else _in_one_go(plan),
            budget=budget,
            cutoff=cutoff,
            memories=tuple(memory.fork(is_restriction=True) for memory in self._memories[i]),
        )
        self._memories[i] = tuple(
            _with_pure(old, new) for old, new in zip(self._memories[i], outcome.memories, strict=True)
        )
        return replace(before, plan=plan, outcome=outcome)


def _in_one_go(plan: Plan) -> Plan:
    """The plan to be solved for a lightest kit: which of several equally light ones comes is of no matter.

    By price or pieces ties are common, and their masses differ: there they are broken as ever.
    """
    first = plan.objectives[0]
    return replace(plan, objectives=(first,), tie_break=()) if first.name == "mass" else plan


def _with_pure(old: CaseMemory, new: CaseMemory) -> CaseMemory:
    """What one rule has taught that holds without it, and what was known before."""
    merged = new.fork(is_restriction=False)
    merged.free_rows += [row for row in old.free_rows if not row.is_pure]
    return merged


def at_most(item_id: str, most: int) -> Rule:
    """The rule that no more than some of an item are packed."""
    return _bounded(item_id, upper=float(most), text=f"at most {most} × {item_id}")


def at_least(item_id: str, least: int) -> Rule:
    """The rule that some of an item are packed; a class that cannot hold it has no kit."""
    bounded = _bounded(item_id, lower=float(least), text=f"at least {least} × {item_id}")
    return lambda model: bounded(model) or None


def _bounded(
    item_id: str, *, lower: float = -math.inf, upper: float = math.inf, text: str
) -> Callable[[KitModel], Sequence[Row]]:
    def rows(model: KitModel) -> Sequence[Row]:
        terms = tuple((j, float(c.uses[item_id])) for j, c in enumerate(model.columns) if c.uses.get(item_id))
        return (Row(terms, lower, upper, "asked", text),) if terms else ()

    return rows
