"""Which purchases within a sum make the kits of all groups lightest together, and of these which cost least.

More to choose from makes no kit heavier. So where so much may be bought that a group takes some of it, less of that is
tried, and having bought it: what is then left of the sum bounds what else there is.
"""

from __future__ import annotations

import heapq
import itertools
import math
from collections.abc import Callable, Iterator, Mapping
from dataclasses import dataclass, field
from functools import reduce

from kitopt.choice.problem import cost_of, most_of_each, n_within
from kitopt.choice.trials import TOLERANCE_G, Trials

_AT_ONCE = 4
"""So many questions are asked before what they tell is used for others."""
_MOST_ROUNDS = 200
"""So often they are asked."""
_FEW_ROUNDS, _EACH = 10, 3
"""After so many each third is of the sets in which most is had: what is lightest may for long be more than the sum."""


@dataclass(frozen=True, order=True)
class _Part:
    """Sets of purchases with so much of each at the least and at the most.

    Attributes
    ----------
    mass_g : float
        No kits weigh less with any of them. [g]
    cents : int
        What is bought in all of them costs. [1/100]
    """

    mass_g: float
    cents: int
    number: int
    least: Mapping[str, int] = field(compare=False)
    most: Mapping[str, int] = field(compare=False)


class Spending:
    """The sets of purchases within a sum.

    Parameters
    ----------
    prices : mapping of item id to int
        [1/100]
    most_cents : float
        The sum. [1/100]
    """

    def __init__(self, trials: Trials, prices: Mapping[str, int], most_cents: float) -> None:
        self.trials, self.prices, self.most_cents = trials, prices, most_cents
        self._groups = range(len(trials.groups))
        self._best: tuple[float, int, Mapping[str, int]] | None = None
        self._numbers = itertools.count()

    def lightest(self, allowed: Mapping[str, int], in_hand: Mapping[str, int]) -> tuple[dict[str, int], bool]:
        """The set with the lightest kits, of these the cheapest; and whether that is proved.

        Parameters
        ----------
        allowed : mapping of item id to int
            What is on offer.
        in_hand : mapping of item id to int
            A set with which there are kits.
        """
        is_told = self.trials.ask([(g, in_hand, math.inf) for g in self._groups])
        self._take(in_hand)
        parts = [self._part({}, allowed)]
        untold: list[tuple[int, _Part]] = []
        for n in range(_MOST_ROUNDS):
            if n >= _FEW_ROUNDS and n % _EACH == 0:
                untold = [(g, one) for _, one in self._next(parts, _most_had, 1) for g in self._untold_of(one)]
            else:
                untold = self._next(parts, heapq.heappop, _AT_ONCE)
            if not untold or not is_told:
                break
            is_told = self.trials.ask([(g, one.most, self._most_g(g, one)) for g, one in untold])
            for one in {one.number: one for _, one in untold}.values():
                self._take(one.most)
                heapq.heappush(parts, self._part(one.least, one.most))
        is_proved = is_told and not untold and self.trials.is_sure
        return (dict(in_hand), False) if self._best is None else (dict(self._best[2]), is_proved)

    def _part(self, least: Mapping[str, int], most: Mapping[str, int]) -> _Part:
        cents = cost_of(least, self.prices)
        left = self.most_cents - cents
        within: dict[str, int] = {}
        for item_id, n in most.items():
            had = least.get(item_id, 0)
            within[item_id] = had + n_within(left, self.prices[item_id], n - had)
        within = {i: n for i, n in within.items() if n}
        mass_g = sum(self.trials.least_g(g, within) for g in self._groups)
        return _Part(mass_g, cents, next(self._numbers), least, within)

    def _next(self, parts: list[_Part], take_out: Callable[[list[_Part]], _Part], most: int) -> list[tuple[int, _Part]]:
        """Parts to be asked, in some order, and a group of which they are not known; what is known falls apart."""
        found: list[tuple[int, _Part]] = []
        while parts and len(found) < most:
            part = take_out(parts)
            if not self._is_better(part.mass_g, part.cents):
                continue
            untold = next(self._untold_of(part), None)
            if untold is not None:
                found.append((untold, part))
            else:
                for half in self._halves(part):
                    heapq.heappush(parts, half)
        return found

    def _untold_of(self, part: _Part) -> Iterator[int]:
        """The groups of which it is not known what they weigh with that."""
        return (g for g in self._groups if self.trials.told(g, part.most) is None)

    def _most_g(self, g: int, part: _Part) -> float:
        """What a group may weigh where a part is to be better than what is in hand. [g]"""
        if self._best is None:
            return math.inf
        return self._best[0] + TOLERANCE_G - (part.mass_g - self.trials.least_g(g, part.most))

    def _is_better(self, mass_g: float, cents: int) -> bool:
        """Whether that is better than what is in hand."""
        if self._best is None:
            return True
        best_g, best_cents, _ = self._best
        return mass_g < best_g - TOLERANCE_G or (mass_g < best_g + TOLERANCE_G and cents < best_cents)

    def _halves(self, part: _Part) -> Iterator[_Part]:
        """The sets with less of something that is taken of the most, and those with as much of it at the least."""
        taken = self._take(part.most)
        more = [i for i, n in taken.items() if n > part.least.get(i, 0)]
        if not more:
            return
        item_id = max(more, key=lambda i: (self.prices[i], i))
        yield self._part(part.least, {**part.most, item_id: taken[item_id] - 1})
        least = {**part.least, item_id: taken[item_id]}
        if cost_of(least, self.prices) <= self.most_cents:
            yield self._part(least, part.most)

    def _take(self, bought: Mapping[str, int]) -> Mapping[str, int]:
        """What is taken of some purchases, kept where it is the best so far; nothing where there are no kits."""
        told = [one for g in self._groups if (one := self.trials.told(g, bought)) is not None]
        mass_g = sum(one.mass_g for one in told)
        if len(told) < len(self._groups) or math.isinf(mass_g):
            return {}
        nothing: Mapping[str, int] = {}
        taken = reduce(most_of_each, (one.taken for one in told), nothing)
        cents = cost_of(taken, self.prices)
        if cents <= self.most_cents and self._is_better(mass_g, cents):
            self._best = mass_g, cents, taken
        return taken


def _most_had(parts: list[_Part]) -> _Part:
    """The part in which most is bought, taken out of them."""
    part = max(parts, key=lambda one: (one.cents, -one.mass_g, -one.number))
    parts.remove(part)
    heapq.heapify(parts)
    return part
