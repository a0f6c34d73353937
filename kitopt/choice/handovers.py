"""What changes hands between outings that use the same pieces one after another."""

from __future__ import annotations

from collections import Counter
from collections.abc import Mapping
from dataclasses import dataclass
from itertools import pairwise

from kitopt.operation.ways import Ways

Piece = tuple[int, int]
"""One of the pieces that an outing uses: the outing, and which of them."""


@dataclass(frozen=True)
class Handover:
    """Pieces of an item that go from one outing to a later one.

    Attributes
    ----------
    giver : int or None
        The outing that they come from; None for the store.
    """

    id: str
    count: int
    giver: int | None
    taker: int


def handovers(ways: Ways, used: Mapping[int, Mapping[str, int]]) -> tuple[Handover, ...]:
    """What changes hands: as little comes from the store as can be.

    Each outing takes what its own operator has, then what was free first. What goes on by way of a third outing is
    handed over twice.

    Parameters
    ----------
    used : mapping of outing to counts by id
    """
    found: Counter[tuple[str, int | None, int]] = Counter()
    for item_id in sorted({item_id for counts in used.values() for item_id in counts}):
        pieces = [(o, n) for o, counts in used.items() for n in range(counts.get(item_id, 0))]
        came = _passed_on(ways, pieces)
        for taker in pieces:
            giver = came.get(taker)
            if giver is None:
                found[item_id, None, taker[0]] += 1
                continue
            for one, other in pairwise(ways.stops(giver[0], taker[0])):
                own = ways.outings[other].operator
                if not own or ways.outings[one].operator != own:
                    found[item_id, one, other] += 1
    handed = [Handover(item_id, n, giver, taker) for (item_id, giver, taker), n in found.items()]
    outings = ways.outings
    return tuple(sorted(handed, key=lambda h: (outings[h.taker].begins, h.taker, h.giver is None, h.giver or 0, h.id)))


def _passed_on(ways: Ways, pieces: list[Piece]) -> dict[Piece, Piece]:
    """For each piece that was used before, where: a largest matching, by augmenting paths."""
    outings = ways.outings
    came: dict[Piece, Piece] = {}
    gone: dict[Piece, Piece] = {}

    def take(taker: Piece, asked: set[Piece]) -> bool:
        own = outings[taker[0]].operator
        givers = [one for one in pieces if one not in asked and ways.follows(one[0], taker[0])]
        givers.sort(key=lambda g: (not own or outings[g[0]].operator != own, outings[g[0]].ends, g))
        for giver in sorted(givers, key=lambda g: g in gone):
            if giver in asked:
                continue
            asked.add(giver)
            if giver not in gone or take(gone[giver], asked):
                came[taker], gone[giver] = giver, taker
                return True
        return False

    for piece in sorted(pieces, key=lambda one: (outings[one[0]].begins, one)):
        take(piece, set())
    return came
