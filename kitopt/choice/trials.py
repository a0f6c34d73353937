"""What kits weigh with one set of purchases after another, without solving for what is known."""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from functools import partial

from kitopt.at_once import at_once
from kitopt.choice.found import Found
from kitopt.choice.offers import bought_of
from kitopt.choice.problem import is_within
from kitopt.choice.search import Search

TOLERANCE_G = 0.5


@dataclass(frozen=True)
class Tried:
    """What kits of a group weigh with some purchases, or that they weigh more, and which of these they take."""

    offered: Mapping[str, int]
    taken: Mapping[str, int]
    mass_g: float
    is_sure: bool
    is_exact: bool = True


class Trials:
    """Mass of the kits of some groups of outings with different purchases.

    Parameters
    ----------
    group_with : callable
        Outings on what is owned and given purchases; mass is to be made small.
    groups : sequence of sequence of int
        Outings by number; groups do not touch each other.
    allowed : mapping of item id to int
        What is on offer at all.
    widest : list of Found
        The lightest kits of each group with any of that within the limit.
    """

    def __init__(
        self,
        group_with: Callable[[Mapping[str, int]], Search],
        groups: Sequence[Sequence[int]],
        allowed: Mapping[str, int],
        widest: list[Found],
    ) -> None:
        self.group_with, self.groups = group_with, groups
        self.is_sure = True
        self.tried: list[list[Tried]] = [[] for _ in groups]
        self._least_g: list[list[tuple[Mapping[str, int], float]]] = [[(allowed, found.bound)] for found in widest]
        for g, found in enumerate(widest):
            self._keep(g, _tried(allowed, found))
        # what one outing needs of what is owned is known
        self.ask([(g, {}, math.inf) for g, some in enumerate(groups) if len(some) == 1])

    def told(self, g: int, bought: Mapping[str, int]) -> Tried | None:
        """What is known of a group with these purchases."""
        lightest = self._lightest(g, bought)
        if lightest is not None and lightest.mass_g <= self.least_g(g, bought) + TOLERANCE_G:
            return lightest
        # there was no time for more
        unsure = (one for one in self.tried[g] if not one.is_sure and is_within(bought, one.offered))
        return next((one for one in unsure if is_within(one.taken, bought)), None)

    def least_g(self, g: int, bought: Mapping[str, int]) -> float:
        """What a group weighs at the least with no more than these purchases, as far as it is known. [g]"""
        return max(mass_g for offered, mass_g in self._least_g[g] if is_within(bought, offered))

    def _lightest(self, g: int, bought: Mapping[str, int]) -> Tried | None:
        """The lightest kits of a group that are known and take no more than these purchases."""
        known = (one for one in self.tried[g] if is_within(one.taken, bought))
        return min(known, key=lambda one: one.mass_g, default=None)

    def ask(self, questions: Sequence[tuple[int, Mapping[str, int], float]]) -> bool:
        """Find out at the same time what some groups weigh with some purchases, up to a mass that is of interest.

        Returns
        -------
        bool
            Whether all is told, or that they weigh more; not so where the time is up.
        """
        asked = [one for n, one in enumerate(questions) if one not in questions[:n]]
        asked = [one for one in asked if self.told(*one[:2]) is None]
        for (g, *_), told in zip(asked, at_once([partial(self._asked, *one) for one in asked]), strict=True):
            self._keep(g, told)
        return all(self.told(g, bought) is not None or self.least_g(g, bought) >= most_g for g, bought, most_g in asked)

    def _asked(self, g: int, bought: Mapping[str, int], most_g: float) -> Tried:
        known = self._lightest(g, bought)
        known_g = math.inf if known is None else known.mass_g
        # nothing that is bought makes a kit heavier
        found = self.group_with(bought).together(self.groups[g], min(most_g, known_g - 1.0))
        if known is not None and not found.has_kits and known_g <= most_g:
            return replace(known, offered=dict(bought), is_sure=found.is_sure)
        return _tried(bought, found, most_g)

    def _keep(self, g: int, told: Tried) -> None:
        self.is_sure &= told.is_sure
        if told.is_sure:
            self._least_g[g].append((told.offered, told.mass_g))
        # that none were found in time says nothing
        if told.is_exact and (told.is_sure or math.isfinite(told.mass_g)):
            self.tried[g].append(told)


def _tried(offered: Mapping[str, int], found: Found, most_g: float = math.inf) -> Tried:
    """What kits weigh; where none are found up to a mass, that it is more."""
    mass_g = found.value if found.has_kits else most_g
    return Tried(
        dict(offered), bought_of(found) or {}, mass_g, found.is_sure, is_exact=found.has_kits or math.isinf(most_g)
    )
