"""Chains of at most three leads between two connectors."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass
from functools import cached_property, lru_cache

from kitopt.inventory.items import Connector, Lead
from kitopt.model.wiring.conductors import Contacts, ampacity_a, loop_ohm

MOST_PIECES = 3


@dataclass(frozen=True)
class Piece:
    """One lead in a chain, laid either way: copper does not mind."""

    lead: Lead
    is_reversed: bool = False

    @property
    def near(self) -> Connector:
        """The end towards the source."""
        return self.lead.to_connector if self.is_reversed else self.lead.from_connector

    @property
    def far(self) -> Connector:
        """The end towards the sink."""
        return self.lead.from_connector if self.is_reversed else self.lead.to_connector

    @property
    def fuse_at_m(self) -> float | None:
        """Distance of the fuse from the near end; None without a fuse. [m]"""
        if self.lead.fuse_a is None:
            return None
        at_m = self.lead.length_m if self.lead.fuse_at_m is None else self.lead.fuse_at_m
        return self.lead.length_m - at_m if self.is_reversed else at_m


@dataclass(frozen=True)
class Chain:
    """Leads end to end from a source's connector to a sink's; none where the two mate directly."""

    source: Connector
    sink: Connector
    pieces: tuple[Piece, ...]

    @cached_property
    def uses(self) -> dict[str, int]:
        """Pieces of stock that it takes, by id."""
        return dict(Counter(p.lead.id for p in self.pieces))

    @property
    def ids(self) -> tuple[str, ...]:
        """Ids of its leads in order."""
        return tuple(p.lead.id for p in self.pieces)

    @property
    def length_m(self) -> float:
        """Length of all pieces. [m]"""
        return sum(p.lead.length_m for p in self.pieces)

    @property
    def mass_g(self) -> int:
        """Mass of all pieces. [g]"""
        return sum(p.lead.mass_g for p in self.pieces)

    def ohm(self, contacts: Contacts) -> float:
        """Resistance of both conductors and every mated pair. [Ω]"""
        families = [self.source.family, *(p.far.family for p in self.pieces)]
        return sum(loop_ohm(p.lead) for p in self.pieces) + sum(contacts.pair_ohm(f) for f in families)

    def rated_a(self, contacts: Contacts) -> float:
        """Current that its weakest lead or connector may carry. [A]"""
        families = [self.source.family, *(p.far.family for p in self.pieces)]
        return min([math.inf, *(ampacity_a(p.lead) for p in self.pieces), *(contacts.rated_a(f) for f in families)])

    @property
    def fuses_a(self) -> tuple[float, ...]:
        """Ratings of the fuses in it. [A]"""
        return tuple(p.lead.fuse_a for p in self.pieces if p.lead.fuse_a is not None)


def chains(
    leads: Iterable[Lead],
    source: Connector,
    sink: Connector,
    *,
    min_length_m: float = 0.0,
    suits: Callable[[Chain], bool] = lambda _: True,
) -> tuple[Chain, ...]:
    """Every useful chain from one connector to another.

    A chain is useful when no part of its own pieces would do: a chain that takes more of the
    same stock can never be the better choice. Chains of other pieces are all kept, since the
    lighter one's leads may be needed elsewhere.

    Parameters
    ----------
    min_length_m : float
        Distance to be covered. [m]
    suits : callable
        Further conditions, such as a rating or a fuse.
    """
    if source.mates_with(sink) and min_length_m <= 0.0:
        direct = Chain(source, sink, ())
        if suits(direct):
            return (direct,)
    every = _every_chain(tuple(leads), source, sink)
    return _minimal([c for c in every if c.length_m >= min_length_m - 1e-9 and suits(c)])


@lru_cache(maxsize=1024)
def _every_chain(leads: tuple[Lead, ...], source: Connector, sink: Connector) -> tuple[Chain, ...]:
    """Every chain of one to three leads; kept, since each bus class asks for the same ones."""
    found: list[Chain] = []
    single = [lead for lead in sorted(leads, key=lambda lead: lead.id) if lead.ways == 1 and lead.count > 0]
    laid = [Piece(lead) for lead in single]
    # turned round, a lead is another piece only if its ends differ or its fuse moves
    laid += [Piece(lead, True) for lead in single if lead.from_connector != lead.to_connector or lead.fuse_a]
    by_near: dict[Connector, list[Piece]] = {}
    for piece in laid:
        by_near.setdefault(piece.near, []).append(piece)

    def extend(end: Connector, pieces: tuple[Piece, ...]) -> None:
        if pieces and end.mates_with(sink):
            found.append(Chain(source, sink, pieces))
        if len(pieces) == MOST_PIECES:
            return
        for near, options in by_near.items():
            if end.mates_with(near):
                for piece in options:
                    if sum(p.lead.id == piece.lead.id for p in pieces) < piece.lead.count:
                        extend(piece.far, (*pieces, piece))

    extend(source, ())
    return tuple(found)


def _minimal(found: Sequence[Chain]) -> tuple[Chain, ...]:
    """Drop chains whose stock includes another's; of equal stock keep the first."""
    ordered = sorted(found, key=lambda c: (len(c.pieces), c.ids))
    kept: list[Chain] = []
    for chain in ordered:
        if not any(all(chain.uses.get(i, 0) >= n for i, n in other.uses.items()) for other in kept):
            kept.append(chain)
    return tuple(kept)
