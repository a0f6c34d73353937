"""What kits weigh with one set of purchases after another, without solving for what is known."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping
from dataclasses import dataclass

from kitopt.choice.offers import bought_of
from kitopt.choice.search import Found, Search


@dataclass(frozen=True)
class Tried:
    """What kits of a group weigh with some purchases, and which of these they take."""

    offered: Mapping[str, int]
    taken: Mapping[str, int]
    mass_g: float


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
        self.is_sure = all(found.is_sure for found in widest)
        self.least_g = [found.bound for found in widest]
        self.tried: list[list[Tried]] = [[] for _ in groups]
        for g, found in enumerate(widest):
            self._keep(g, allowed, found)

    def mass_g(self, bought: Mapping[str, int], most: float) -> float:
        """Mass with these purchases; infinite where it is no less than `most`."""
        total = sum(self.least_g)
        for g in range(len(self.groups)):
            if total >= most - 0.5:
                return math.inf
            total += self._one(g, bought) - self.least_g[g]
        return total if total < most - 0.5 else math.inf

    def _one(self, g: int, bought: Mapping[str, int]) -> float:
        for one in self.tried[g]:
            # more was on offer, and what was taken of it is at hand
            if _is_within(one.taken, bought) and _is_within(bought, one.offered):
                return one.mass_g
        if not bought:
            found = self.group_with({}).together(self.groups[g])
            self.is_sure &= found.is_sure
            self._keep(g, bought, found)
            return found.value
        # nothing that is bought makes a kit heavier
        owned_g = self._one(g, {})
        found = self.group_with(bought).together(self.groups[g], owned_g - 1.0)
        self.is_sure &= found.is_sure
        if found.has_kits or not found.is_sure:
            self._keep(g, bought, found)
            return min(owned_g, found.value)
        self.tried[g].append(Tried(dict(bought), {}, owned_g))
        return owned_g

    def _keep(self, g: int, offered: Mapping[str, int], found: Found) -> None:
        taken = bought_of(found)
        if taken is not None or found.is_sure:
            self.tried[g].append(Tried(dict(offered), taken or {}, found.value))


def _is_within(part: Mapping[str, int], whole: Mapping[str, int]) -> bool:
    return all(whole.get(i, 0) >= n for i, n in part.items())
