"""What kits weigh with one set of purchases after another, without solving for what is known."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass
from functools import partial

from kitopt.at_once import at_once
from kitopt.choice.found import Found
from kitopt.choice.offers import bought_of
from kitopt.choice.search import Search

_AT_ONCE = 4
"""So many sets are asked for before what they tell is used for others."""


@dataclass(frozen=True)
class Tried:
    """What kits of a group weigh with some purchases, and which of these they take."""

    offered: Mapping[str, int]
    taken: Mapping[str, int]
    mass_g: float
    is_sure: bool


class Trials:
    """Mass of the kits of some groups of outings with different purchases.

    Parameters
    ----------
    group_with : callable
        Outings on what is owned and given purchases; mass is to be made small.
    allowed : mapping of item id to int
        What is on offer at all.
    widest : list of Found
        The lightest kits of each group with any of that within the limit.
    """

    def __init__(
        self,
        group_with: Callable[[Mapping[str, int]], Search],
        groups: list[tuple[int, ...]],
        allowed: Mapping[str, int],
        widest: list[Found],
    ) -> None:
        self.group_with, self.groups = group_with, groups
        self.is_sure = True
        self.least_g = [found.bound for found in widest]
        self.tried: list[list[Tried]] = [[] for _ in groups]
        for g, found in enumerate(widest):
            self._keep(g, _tried(allowed, found, math.inf))

    def mass_g(self, bought: Mapping[str, int], most: float) -> float:
        """Mass with these purchases; infinite where it is no less than `most`."""
        g, total = self._next(bought, most)
        while g is not None:
            if math.isinf(self._one(g, bought)):
                return math.inf
            g, total = self._next(bought, most)
        return total

    def look_at(self, sets: Sequence[Mapping[str, int]], most: float) -> None:
        """Ask at the same time what will be asked first of some sets of purchases, a few of them at a time."""
        for first in range(0, len(sets), _AT_ONCE):
            some = [(self._next(bought, most)[0], bought) for bought in sets[first : first + _AT_ONCE]]
            asked = [(g, bought) for g, bought in some if g is not None]
            for (g, _), told in zip(asked, at_once([partial(self._asked, *one) for one in asked]), strict=True):
                self._keep(g, told)

    def _next(self, bought: Mapping[str, int], most: float) -> tuple[int | None, float]:
        """The first group of which it is to be asked what it weighs with some purchases, None where that is not needed.

        Then also what all weigh; infinite where it is no less than `most`.
        """
        total = sum(self.least_g)
        for g, least_g in enumerate(self.least_g):
            if total >= most - 0.5:
                break
            known = self._known(g, bought)
            if known is None:
                return g, total
            total += known - least_g
        return None, total if total < most - 0.5 else math.inf

    def _known(self, g: int, bought: Mapping[str, int]) -> float | None:
        for one in self.tried[g]:
            # more was on offer, and what was taken of it is at hand
            if _is_within(one.taken, bought) and _is_within(bought, one.offered):
                return one.mass_g
        return None

    def _one(self, g: int, bought: Mapping[str, int]) -> float:
        known = self._known(g, bought)
        if known is not None:
            return known
        told = self._asked(g, bought)
        self._keep(g, told)
        return told.mass_g

    def _asked(self, g: int, bought: Mapping[str, int]) -> Tried:
        if not bought:
            return _tried(bought, self.group_with({}).together(self.groups[g]), math.inf)
        # nothing that is bought makes a kit heavier
        owned_g = self._one(g, {})
        return _tried(bought, self.group_with(bought).together(self.groups[g], owned_g - 1.0), owned_g)

    def _keep(self, g: int, told: Tried) -> None:
        self.is_sure &= told.is_sure
        # that none were found in time says nothing
        if told.is_sure or math.isfinite(told.mass_g):
            self.tried[g].append(told)


def _tried(offered: Mapping[str, int], found: Found, otherwise_g: float) -> Tried:
    """What kits weigh; where none are found, or heavier ones, what they weigh otherwise."""
    taken = bought_of(found)
    return Tried(dict(offered), taken or {}, min(otherwise_g, found.value), found.is_sure)


def _is_within(part: Mapping[str, int], whole: Mapping[str, int]) -> bool:
    return all(whole.get(i, 0) >= n for i, n in part.items())
