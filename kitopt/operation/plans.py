"""What the files for many kits say, as frozen values."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import UTC, datetime, timedelta
from typing import Literal

from kitopt.operation.terms import Operation


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
    """Operations that draw on one stock: a season, or a club's weekend."""

    file: str
    name: str
    outings: tuple[Outing, ...]
    warnings: tuple[str, ...] = ()

    @property
    def musts(self) -> Programme:
        """The same with nothing but the loads that must run: nobody lends or buys for what is only nice."""
        musts = (replace(outing, operation=outing.operation.running()) for outing in self.outings)
        return replace(self, outings=tuple(musts))


def at_once(outings: tuple[Outing, ...]) -> list[tuple[int, ...]]:
    """Every largest set of outings that need their kits at the same time, by number, in order.

    Of intervals each such set is met at the beginning of one of them.
    """
    found: list[tuple[int, ...]] = []
    for one in outings:
        found.append(tuple(i for i, other in enumerate(outings) if other.begins <= one.begins < other.ends))
    largest = [s for s in found if not any(set(s) < set(other) for other in found)]
    return sorted(set(largest))


def hang_together(outings: tuple[Outing, ...]) -> list[list[int]]:
    """Outings in groups, by number, such that none overlaps one of another group."""
    merged: list[set[int]] = []
    for together in at_once(outings):
        group = set(together)
        touching = [one for one in merged if one & group]
        merged = [one for one in merged if not one & group]
        merged.append(group.union(*touching))
    return sorted(sorted(one) for one in merged)
