"""Fuses to fit before the station is switched on, join by join, and which of them are not there yet."""

from __future__ import annotations

from collections import Counter
from dataclasses import dataclass

from kitopt.choice import Choice
from kitopt.inventory.items import Lead


@dataclass(frozen=True)
class Fit:
    """A rating to be fitted into the holders of a lead.

    Attributes
    ----------
    source, sink : str
        Of the join that the lead is part of.
    count : int
        Leads that take one.
    lies_in_it : bool
        Whether the fuse that is in the lead now is the right one.
    is_owned : bool
        Whether it is there: in the lead, or in fuses.csv. Without that file it has to be bought.
    """

    source: str
    sink: str
    lead: str
    holder: str
    rating_a: float
    count: int
    lies_in_it: bool
    is_owned: bool


def fuses_to_fit(choice: Choice) -> tuple[Fit, ...]:
    """Every fuse that is fitted into a holder, in the order of the wiring."""
    found = []
    # batteries in turn may use the same leads: no more fuses are fitted than there are leads
    left = {one.id: one.count for one in choice.packed}
    for wire in choice.wiring:
        for lead_id, n in Counter(wire.leads).items():
            lead = choice.inventory.by_id[lead_id]
            if not isinstance(lead, Lead) or not lead.fuse_holder or wire.fit_a is None:
                continue
            count = min(n * (1 if wire.is_shared else wire.count), left.get(lead_id, 0))
            if not count:
                continue
            left[lead_id] -= count
            lies_in_it = lead.fuse_a == wire.fit_a
            is_owned = lies_in_it or choice.inventory.fuses is not None
            ends = (wire.source, wire.sink, lead_id, lead.fuse_holder)
            found.append(Fit(*ends, wire.fit_a, count, lies_in_it, is_owned))
    return tuple(found)
