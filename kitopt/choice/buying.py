"""Searches for the cheapest purchases: first among the cheapest types on offer, and then among ever more."""

from __future__ import annotations

import itertools
import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from typing import Any

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.found import Brief, Found
from kitopt.choice.problem import Problem, n_within
from kitopt.choice.search import Search

FEW_TYPES = 24
"""Of so many types on offer all are looked at together."""


@dataclass(frozen=True)
class Buying:
    """Kits of a problem, and what may be bought for them."""

    problem: Problem
    budget: Budget = UNLIMITED

    def search(self, allowed: Mapping[str, int], names: Sequence[str], **more: Any) -> Search:
        """Outings on what is owned and some purchases."""
        return Search(self.problem, names, self.budget, allowed, told="none", **more)

    def affordable(self, most: float) -> dict[str, int]:
        """Types of which one piece at least is within a sum, and how many."""
        found: dict[str, int] = {}
        for item_id, n in self.problem.offered.items():
            pieces = n_within(most, self.problem.prices[item_id], n)
            if pieces > 0:
                found[item_id] = pieces
        return found

    def cheapest(
        self, ask: Callable[[Search, float], Found], most: float, least: float = -math.inf
    ) -> tuple[Search, Found]:
        """A search within a sum and what it finds.

        What costs no more than the cheapest type that was left out has none of those in it.

        Parameters
        ----------
        least : float
            What is known already: nothing costs less.
        """
        known = least
        for sum_cents in (*(one for one in self._sums_below(most) if one >= least), most):
            over = self.search(self.affordable(sum_cents), ["cost"], least=known)
            found = ask(over, sum_cents)
            if found.has_kits or not found.is_sure:
                break
            known = sum_cents
        return over, found if found.is_impossible else replace(found, bound=max(known, found.bound))

    def cheapest_alone(self, o: int, most: float, least: float = -math.inf) -> tuple[Search, Found]:
        """The cheapest kit of one outing, and the search that found it."""
        return self.cheapest(lambda over, most: over.alone(o, most), most, least)

    def taken(self, o: int, brief: Brief) -> Found:
        """That kit, where it was found in another process."""
        return self.search(brief.allowed, ["cost"]).take(o, brief)

    @property
    def has_many_types(self) -> bool:
        """Whether they are too many to be looked at together."""
        return len(self.problem.offered) > FEW_TYPES

    def _sums_below(self, most: float) -> list[float]:
        """Sums that twice as many types each are within as within the one before."""
        prices = sorted(self.problem.prices[i] for i in self.affordable(most))
        places = (FEW_TYPES << n for n in itertools.count())
        return [float(prices[at] - 1) for at in itertools.takewhile(lambda at: at < len(prices), places)]
