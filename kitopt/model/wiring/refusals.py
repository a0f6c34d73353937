"""Why no chain of leads will do, and what would."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable
from dataclasses import dataclass
from functools import lru_cache

from kitopt.inventory.items import Connector, Lead
from kitopt.model.wiring.chains import MOST_PIECES, Chain, Piece, chains
from kitopt.model.wiring.conductors import Contacts
from kitopt.model.wiring.fitting import Fuses, fits
from kitopt.model.wiring.stock import LeadStock


@dataclass(frozen=True)
class Demand:
    """What a chain must do besides joining.

    Attributes
    ----------
    amps : float
        Current that leads and connectors carry. [A]
    fuse_a : float
        The least rating of a fuse in it; a fuse is never above what the wire of the chain carries. [A]
    min_length_m : float
        Distance to be covered. [m]
    wire_a : float
        Current that the leads must be good for, where that is more. [A]
    is_on_bus : bool
        Whether it carries the bus's volts, which some families never meet.
    most_drop_v : float
        Drop allowed at that current, contacts included. [V]
    """

    amps: float
    fuse_a: float
    min_length_m: float = 0.0
    wire_a: float = 0.0
    is_on_bus: bool = False
    most_drop_v: float = math.inf

    def may_lie(self, chain: Chain) -> bool:
        """Whether none of its plugs belongs to other volts."""
        return not self.is_on_bus or chain.is_for_bus

    def is_carried(self, chain: Chain, contacts: Contacts) -> bool:
        """Whether leads and connectors carry the current."""
        least_a = max(self.amps, self.wire_a)
        return self.may_lie(chain) and chain.wire_a >= least_a - 1e-9 and chain.plug_a(contacts) >= self.amps - 1e-9

    def is_stout(self, chain: Chain, contacts: Contacts) -> bool:
        """Whether they carry it with no more drop than allowed; two that plug into each other are no lead."""
        drops_v = self.amps * chain.ohm(contacts) if chain.pieces and math.isfinite(self.most_drop_v) else 0.0
        return self.is_carried(chain, contacts) and drops_v <= self.most_drop_v + 1e-9

    def is_met(self, chain: Chain, contacts: Contacts, fuses: Fuses | None = None) -> bool:
        """Whether they do, and every fuse in it fits both the current and the wire."""
        return self.is_stout(chain, contacts) and bool(fits(chain, self.fuse_a, fuses))


@lru_cache(maxsize=1024)
def why_no_chain(stock: LeadStock, source: Connector, sink: Connector, demand: Demand) -> tuple[str, str] | None:
    """The rule that no chain obeys, and words to follow "A cannot reach B: "; None where some chain will do."""
    leads, contacts, fuses = stock.leads, stock.contacts, stock.fuses
    if not chains(leads, source, sink, suits=demand.may_lie):
        return "no-lead", "no leads of yours join them"
    least_m = demand.min_length_m
    if not chains(leads, source, sink, min_length_m=least_m, suits=demand.may_lie):
        return "no-lead", f"no leads of yours join them over {least_m:g} m"
    if not chains(leads, source, sink, min_length_m=least_m, suits=lambda c: demand.is_carried(c, contacts)):
        most_a = max(demand.amps, demand.wire_a)
        return "ampacity", f"no leads of yours that join them carry {most_a:.1f} A"
    if not chains(leads, source, sink, min_length_m=least_m, suits=lambda c: demand.is_stout(c, contacts)):
        return "lead-drop", f"all leads of yours that join them drop more than {demand.most_drop_v:.2f} V"
    if chains(leads, source, sink, min_length_m=least_m, suits=lambda c: demand.is_met(c, contacts, fuses)):
        return None
    return "fuse-size", (
        f"the fuses in your leads that join them are below {demand.fuse_a:.1f} A or above what the wire takes"
        f"{CHANGEABLE if any(lead.fuse_a and not lead.fuse_holder for lead in leads) else ''}"
    )


CHANGEABLE = "; where a fuse can be changed, write its fuse_holder"


def reached(leads: Iterable[Lead], start: Connector, most: int = MOST_PIECES - 1) -> list[Connector]:
    """Open ends that can be had from a connector with some leads, itself first, then the nearest."""
    single = [lead for lead in leads if lead.ways == 1 and lead.count > 0]
    ends = [start]
    frontier = [start]
    for _ in range(most):
        new: set[Connector] = set()
        for end in frontier:
            for lead in single:
                for piece in (Piece(lead), Piece(lead, True)):
                    if end.mates_with(piece.near) and piece.far not in ends:
                        new.add(piece.far)
        frontier = sorted(new, key=str)
        ends += frontier
    return ends


def mate(connector: Connector) -> Connector:
    """The end that plugs into a connector."""
    return Connector(connector.family, {"plug": "socket", "socket": "plug"}.get(connector.side, ""))  # type: ignore[arg-type]


@dataclass(frozen=True)
class Missing:
    """What one more lead would have to join.

    Attributes
    ----------
    from_source, from_sink : tuple of Connector
        Open ends within reach of each side, itself first.
    adapter : tuple of Connector, or None
        Ends of a single adapter that would do.
    """

    from_source: tuple[Connector, ...]
    from_sink: tuple[Connector, ...]
    adapter: tuple[Connector, Connector] | None


def missing(
    leads: Iterable[Lead],
    source: Connector,
    sink: Connector,
    *,
    min_length_m: float = 0.0,
    suits: Callable[[Chain], bool] = lambda _: True,
) -> Missing:
    """What can be reached from each side, and the first single adapter that would do.

    The adapter is a short stout one; the owner's leads still have to cover the distance.

    Parameters
    ----------
    min_length_m : float
        Distance to be covered. [m]
    suits : callable
        Further conditions on the chain, such as a rating.
    """
    stock = list(leads)
    near, far = reached(stock, source), reached(stock, sink)
    for one in near:
        for other in far:
            ends = (mate(one), mate(other))
            adapter = _adapter(*ends)
            if chains([*stock, adapter], source, sink, min_length_m=min_length_m, suits=suits):
                return Missing(tuple(near), tuple(far), ends)
    return Missing(tuple(near), tuple(far), None)


def _adapter(one: Connector, other: Connector) -> Lead:
    """An adapter that nobody owns."""
    return Lead(
        id="?",
        name="",
        mass_g=1,
        from_connector=one,
        to_connector=other,
        length_m=0.0,
        area_mm2=10.0,
        max_a=math.inf,
    )
