"""What changes hands between outings that use the same pieces one after another."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

from kitopt.operation.plans import Outing


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


def handovers(outings: Sequence[Outing], used: Mapping[int, Mapping[str, int]]) -> tuple[Handover, ...]:
    """What changes hands: each outing takes what its own operator has, then what was free first, then from the store.

    Parameters
    ----------
    used : mapping of outing to counts by id
    """
    found: list[Handover] = []
    ids = sorted({item_id for counts in used.values() for item_id in counts})
    for item_id in ids:
        holders: list[int] = []  # one entry a piece that has left the store
        for taker in sorted(used, key=lambda o: (outings[o].begins, o)):
            wanted = used[taker].get(item_id, 0)
            free = [o for o in holders if outings[o].ends <= outings[taker].begins]
            own = outings[taker].operator
            free.sort(key=lambda o: (not own or outings[o].operator != own, outings[o].ends, o))
            taken = free[:wanted]
            for giver in sorted(set(taken)):
                if not own or outings[giver].operator != own:
                    found.append(Handover(item_id, taken.count(giver), giver, taker))
            if wanted > len(taken):
                found.append(Handover(item_id, wanted - len(taken), None, taker))
            for giver in taken:
                holders.remove(giver)
            holders += [taker] * wanted
    found.sort(key=lambda h: (outings[h.taker].begins, h.taker, h.giver is None, h.giver or 0, h.id))
    return tuple(found)
