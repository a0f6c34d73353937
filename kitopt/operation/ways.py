"""Which outings can have the same pieces one after another: a handover needs a way and the time for it."""

from __future__ import annotations

import math
from functools import cached_property

from kitopt.operation.distance import distance_km
from kitopt.operation.plans import Programme, at_once, hang_together
from kitopt.operation.terms import Site

MEETING_H = 1.0
"""To meet, count and pack; common practice, no source. [h]"""

WAY_KMH = 50.0
"""By road, measured as the crow flies; common practice, no source. [km/h]"""

FARTHEST_KM = 300.0
"""Farther nobody drives for a piece of kit, unless the owner says how long it takes; common practice. [km]"""


class Ways:
    """The outings of a programme, and who can hand over to whom.

    One operator's own pieces travel along with the operator.
    """

    def __init__(self, programme: Programme) -> None:
        self.outings, self.hours_between = programme.outings, programme.hours_between

    def way_h(self, giver: int, taker: int) -> float:
        """Hours from the end of one outing until its pieces can be at another; infinite without a way. [h]"""
        one, other = self.outings[giver], self.outings[taker]
        if one.operator and one.operator == other.operator:
            return 0.0
        if self.hours_between is not None:
            return self.hours_between
        km = km_between(one.operation.site, other.operation.site)
        return MEETING_H + km / WAY_KMH if km <= FARTHEST_KM else math.inf

    def is_in_time(self, giver: int, taker: int) -> bool:
        """Whether pieces of one outing can be handed to another without a third between them."""
        waits_h = (self.outings[taker].begins - self.outings[giver].ends).total_seconds() / 3600.0
        return giver != taker and waits_h >= self.way_h(giver, taker) - 1e-9

    @cached_property
    def _next(self) -> dict[tuple[int, int], int]:
        """For each pair that pieces can go between, through others if need be, the first stop."""
        n = range(len(self.outings))
        found = {(i, j): j for i in n for j in n if self.is_in_time(i, j)}
        for k in n:
            for i in n:
                for j in n:
                    if (i, k) in found and (k, j) in found:
                        found.setdefault((i, j), found[i, k])
        return found

    def follows(self, giver: int, taker: int) -> bool:
        """Whether pieces of one outing can be at another, through others if need be."""
        return (giver, taker) in self._next

    def stops(self, giver: int, taker: int) -> list[int]:
        """The outings that pieces go through from one to another, both among them."""
        found = [giver]
        while found[-1] != taker:
            found.append(self._next[found[-1], taker])
        return found

    def at_once(self) -> list[tuple[int, ...]]:
        """Every largest set of outings none of which can have another's pieces."""
        return at_once(self.outings, self.follows)

    def hang_together(self) -> list[list[int]]:
        """Outings in groups such that any two of different groups can use the same pieces."""
        return hang_together(self.outings, self.follows)


def km_between(one: Site, other: Site) -> float:
    """As the crow flies. [km]"""
    return float(distance_km(one.latitude_deg, one.longitude_deg, other.latitude_deg, other.longitude_deg))
