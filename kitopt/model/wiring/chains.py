"""Chains of at most three leads between two connectors."""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable
from dataclasses import dataclass, replace
from functools import cached_property, lru_cache
from itertools import combinations, groupby

from kitopt.budget import check_time
from kitopt.inventory.families import is_off_bus
from kitopt.inventory.items import Connector, Lead
from kitopt.model.wiring.conductors import Contacts, ampacity_a, loop_ohm

MOST_PIECES = 3
FUSE_WITHIN_M = 0.18
"""A fuse sits within 18 cm of battery plus, or of where a branch begins; common practice, after ABYC E-11. [m]"""


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
        """Distance of the fuse or its holder from the near end; None without one. [m]"""
        if not self.lead.has_fuse:
            return None
        at_m = self.lead.length_m if self.lead.fuse_at_m is None else self.lead.fuse_at_m
        return self.lead.length_m - at_m if self.is_reversed else at_m


@dataclass(frozen=True)
class Chain:
    """Leads end to end from a source's connector to a sink's; none where the two mate directly.

    ``fit_a`` is the rating put into its holders; None where it has none, or none was chosen yet. [A]
    """

    source: Connector
    sink: Connector
    pieces: tuple[Piece, ...]
    fit_a: float | None = None

    def fitted(self, fit_a: float) -> Chain:
        """The same with a rating in its holders, made once. [A]"""
        if fit_a not in self._fitted:
            self._fitted[fit_a] = replace(self, fit_a=fit_a)
        return self._fitted[fit_a]

    @cached_property
    def _fitted(self) -> dict[float, Chain]:
        return {}

    @cached_property
    def uses(self) -> dict[str, int]:
        """Pieces of stock that it takes, by id."""
        return dict(Counter(p.lead.id for p in self.pieces))

    @cached_property
    def ids(self) -> tuple[str, ...]:
        """Ids of its leads in order."""
        return tuple(p.lead.id for p in self.pieces)

    @cached_property
    def length_m(self) -> float:
        """Length of all pieces. [m]"""
        return sum(p.lead.length_m for p in self.pieces)

    @property
    def mass_g(self) -> int:
        """Mass of all pieces. [g]"""
        return sum(p.lead.mass_g for p in self.pieces)

    def ohm(self, contacts: Contacts) -> float:
        """Resistance of both conductors and every mated pair. [Ω]"""
        return self._wire_ohm + sum(contacts.pair_ohm(family) for family in self._families)

    @cached_property
    def _wire_ohm(self) -> float:
        return sum(loop_ohm(p.lead) for p in self.pieces)

    @cached_property
    def _families(self) -> tuple[str, ...]:
        return (self.source.family, *(p.far.family for p in self.pieces))

    @cached_property
    def end_families(self) -> frozenset[str]:
        """Families of both ends of each of its leads."""
        return frozenset(end.family for p in self.pieces for end in (p.near, p.far))

    @cached_property
    def wire_a(self) -> float:
        """Current that its weakest lead may carry; infinity without one. [A]"""
        return min((ampacity_a(p.lead) for p in self.pieces), default=math.inf)

    def plug_a(self, contacts: Contacts) -> float:
        """Current that its weakest connector may carry. [A]"""
        return min(contacts.rated_a(family) for family in self._families)

    def rated_a(self, contacts: Contacts) -> float:
        """Current that its weakest lead or connector may carry. [A]"""
        return min(self.wire_a, self.plug_a(contacts))

    @cached_property
    def holders(self) -> tuple[Lead, ...]:
        """Its leads in which a fuse can be changed."""
        return tuple(p.lead for p in self.pieces if p.lead.fuse_holder)

    @cached_property
    def holds(self) -> tuple[tuple[str, float | None], ...]:
        """Each holder in which a fuse can be changed, with the rating of what lies in it. [A]"""
        return tuple((lead.fuse_holder, lead.fuse_a) for lead in self.holders if lead.fuse_holder)

    @cached_property
    def most_fit_a(self) -> float:
        """The largest rating that may be put into its holders. [A]"""
        return min([self.wire_a, *(lead.fuse_max_a or 0.0 for lead in self.holders)])

    @cached_property
    def fixed_a(self) -> tuple[float, ...]:
        """Ratings of its fuses that cannot be changed. [A]"""
        return tuple(p.lead.fuse_a for p in self.pieces if p.lead.fuse_a is not None and not p.lead.fuse_holder)

    @cached_property
    def fuses_a(self) -> tuple[float, ...]:
        """Ratings of the fuses in it: fixed ones, and what is fitted into holders. [A]"""
        found = [p.lead.fuse_a if not p.lead.fuse_holder else self.fit_a for p in self.pieces]
        return tuple(a for a in found if a is not None)

    def stands_a(self, *, from_sink: bool = False) -> float:
        """The largest fuse or source before it that leaves all of it protected. [A]

        A fuse within reach of the end that power comes in at protects the whole; each wire before the first
        fuse must stand what comes. Infinity where there is no wire.
        """
        return self._ends_a[from_sink]

    @cached_property
    def _ends_a(self) -> tuple[float, float]:
        return self._from_end_a(from_sink=False), self._from_end_a(from_sink=True)

    def _from_end_a(self, *, from_sink: bool) -> float:
        least, at_m = math.inf, 0.0
        for piece in reversed(self.pieces) if from_sink else self.pieces:
            fuse_m = piece.fuse_at_m
            if fuse_m is not None:
                fuse_m = piece.lead.length_m - fuse_m if from_sink else fuse_m
                return least if at_m + fuse_m <= FUSE_WITHIN_M + 1e-9 else min(least, ampacity_a(piece.lead))
            least = min(least, ampacity_a(piece.lead))
            at_m += piece.lead.length_m
        return least

    @cached_property
    def is_for_bus(self) -> bool:
        """Whether no end of it is of a family that the bus's volts must not meet."""
        return not any(map(is_off_bus, self.end_families))


def chains(
    leads: Iterable[Lead],
    source: Connector,
    sink: Connector,
    *,
    min_length_m: float = 0.0,
    suits: Callable[[Chain], bool] = lambda _: True,
    worth: Callable[[Chain], float] | None = None,
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
    worth : callable, optional
        A chain that takes more than another is useful all the same where this is higher.
    """
    best: dict[int, float] = {}
    found: list[Chain] = []

    def is_needless(one: _Taking, worth_of_it: float) -> bool:
        others = [best[i] for i in one.takes if i in best]
        return bool(others) and max(others) >= worth_of_it

    # most of the longer ones take what a shorter one takes: of these nothing else is asked
    for _, alike in groupby(_every_chain(tuple(leads), source, sink), key=lambda one: len(one.chain.pieces)):
        check_time()
        long_enough = [one for one in alike if one.chain.length_m >= min_length_m - 1e-9]
        each = [(0.0 if worth is None else worth(one.chain), one) for one in long_enough]
        new = [(value, one) for value, one in each if not is_needless(one, value) and suits(one.chain)]
        # of equal ones the first is kept
        for value, one in sorted(new, key=lambda of: (-of[0], of[1].chain.ids)):
            if not is_needless(one, value):
                best[one.takes[-1]] = value
                found.append(one.chain)
        if worth is None and any(not chain.pieces for chain in found):
            break
    return tuple(found)


@dataclass(frozen=True)
class _Taking:
    """A chain, and the stock that it takes by a number, after that of each part of it that is enough for a chain."""

    chain: Chain
    takes: tuple[int, ...]


@lru_cache(maxsize=1024)
def _every_chain(leads: tuple[Lead, ...], source: Connector, sink: Connector) -> tuple[_Taking, ...]:
    """Every chain of no to three leads, the shortest first; kept, since each bus class asks for the same ones."""
    found: list[Chain] = []
    single = [lead for lead in sorted(leads, key=lambda lead: lead.id) if lead.ways == 1 and lead.count > 0]
    laid = [Piece(lead) for lead in single]
    # turned round, a lead is another piece only if its ends differ or its fuse moves
    laid += [Piece(lead, True) for lead in single if lead.from_connector != lead.to_connector or lead.has_fuse]
    by_near: dict[Connector, list[Piece]] = {}
    for piece in laid:
        by_near.setdefault(piece.near, []).append(piece)

    def extend(end: Connector, pieces: tuple[Piece, ...]) -> None:
        if end.mates_with(sink):
            found.append(Chain(source, sink, pieces))
        if len(pieces) == MOST_PIECES:
            return
        check_time()
        for near, options in by_near.items():
            if end.mates_with(near):
                for piece in options:
                    if sum(p.lead.id == piece.lead.id for p in pieces) < piece.lead.count:
                        extend(piece.far, (*pieces, piece))

    extend(source, ())
    number: dict[tuple[str, ...], int] = {}
    taking = []
    for chain in sorted(found, key=lambda chain: len(chain.pieces)):
        ids = sorted(chain.ids)
        number.setdefault(tuple(ids), len(number))
        parts = {part for n in range(len(ids) + 1) for part in combinations(ids, n)}
        # what takes more has a higher number, so its own comes last
        taking.append(_Taking(chain, tuple(sorted(number[part] for part in parts if part in number))))
    return tuple(taking)
