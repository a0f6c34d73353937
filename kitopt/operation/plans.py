"""What the files for many kits say, as frozen values."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

from kitopt.operation.terms import Operation

Follows = Callable[[int, int], bool]
"""Whether the pieces of one outing, by number, can be at another."""


@dataclass(frozen=True)
class Event:
    """One thing that a standing kit must be able to do, at each of its dates.

    Attributes
    ----------
    dates : tuple of Operation
        The operation as written, or moved to the middle of each month named.
    labels : tuple of str
        "Jan" and so on; "" for an operation as written.
    """

    name: str
    dates: tuple[Operation, ...]
    labels: tuple[str, ...]


@dataclass(frozen=True)
class Bag:
    """Something to carry a kit in, and how much it may hold. [g]"""

    name: str
    mass_g: int


@dataclass(frozen=True)
class Standing:
    """A grab-kit: what it must be ready for."""

    file: str
    name: str
    events: tuple[Event, ...]
    bags: tuple[Bag, ...] = ()
    least: Literal["mass", "items"] = "mass"
    recharge_days: int = 90
    """Days that it lies by the door after each full charge, at the most."""
    warnings: tuple[str, ...] = ()


@dataclass(frozen=True)
class Outing:
    """One operation of several, and who goes."""

    operation: Operation
    operator: str = ""

    @property
    def begins(self) -> datetime:
        """When its kit is taken, UTC."""
        return self.operation.start.astimezone(UTC)

    @property
    def ends(self) -> datetime:
        """When its kit is free again, UTC."""
        return self.begins + timedelta(hours=self.operation.hours)

    @property
    def place(self) -> str:
        """Where it is, in degrees."""
        site = self.operation.site
        return f"{site.latitude_deg:.2f}, {site.longitude_deg:.2f}"


@dataclass(frozen=True)
class Programme:
    """Operations that draw on one stock: a season, or a club's weekend.

    Attributes
    ----------
    hours_between : float or None
        From the end of one outing until its pieces can be at another; None for what the distance tells. [h]
    """

    file: str
    name: str
    outings: tuple[Outing, ...]
    warnings: tuple[str, ...] = ()
    hours_between: float | None = None

    @property
    def musts(self) -> Programme:
        """The same with nothing but the loads that must run: nobody lends or buys for what is only nice."""
        musts = (replace(outing, operation=outing.operation.running()) for outing in self.outings)
        return replace(self, outings=tuple(musts))


def in_time(outings: tuple[Outing, ...]) -> Follows:
    """One outing follows another where it begins no earlier than that ends: the pieces are at hand."""
    return lambda giver, taker: outings[taker].begins >= outings[giver].ends


def at_once(outings: tuple[Outing, ...], follows: Follows | None = None) -> list[tuple[int, ...]]:
    """Every largest set of outings none of which can have another's pieces, by number, in order.

    Pieces pass along a partial order, so that what such sets hold together bounds what is needed (Dilworth).

    Parameters
    ----------
    follows : callable, optional
        Whether the pieces of one outing can be at another; whoever comes later has them when left out.
    """
    after = in_time(outings) if follows is None else follows
    numbers = range(len(outings))
    meets = {i: {j for j in numbers if i != j and not after(i, j) and not after(j, i)} for i in numbers}
    found: list[tuple[int, ...]] = []

    def extend(chosen: tuple[int, ...], open_: set[int], done: set[int]) -> None:
        if not open_ and not done:
            found.append(tuple(sorted(chosen)))
        while open_:
            o = min(open_)
            extend((*chosen, o), open_ & meets[o], done & meets[o])
            open_, done = open_ - {o}, done | {o}

    extend((), set(numbers), set())
    return sorted(found)


def hang_together(outings: tuple[Outing, ...], follows: Follows | None = None) -> list[list[int]]:
    """Outings in groups, by number, such that any two of different groups can have the same pieces; see `at_once`."""
    merged: list[set[int]] = []
    for together in at_once(outings, follows):
        group = set(together)
        touching = [one for one in merged if one & group]
        merged = [one for one in merged if not one & group]
        merged.append(group.union(*touching))
    return sorted(sorted(one) for one in merged)
