"""Chains from panels to a controller: what they must carry, and over which distance."""

from __future__ import annotations

from functools import lru_cache

from kitopt.inventory.items import Connector, Panel
from kitopt.model.wiring.chains import Chain, chains
from kitopt.model.wiring.fitting import fits
from kitopt.model.wiring.refusals import Demand
from kitopt.model.wiring.stock import LeadStock

PV_FUSE_PER_ISC = 1.56
"""Fuses and conductors: NEC 690.8 and 690.9, 1.25 × 1.25, rounded as the code does."""


def panel_demand(distance_m: float, panel: Panel, n_joined: int = 1) -> Demand:
    """What the leads of some joined panels must do: carry their short-circuit current over the distance."""
    isc_a = n_joined * panel.isc_a
    least_a = PV_FUSE_PER_ISC * isc_a
    return Demand(isc_a, least_a, distance_m, wire_a=least_a)


@lru_cache(maxsize=1024)
def panel_chains(stock: LeadStock, source: Connector, sink: Connector, demand: Demand) -> tuple[Chain, ...]:
    """Every useful chain from panels to a controller, with each choice of fuses where it has holders."""
    found = chains(
        stock.leads,
        source,
        sink,
        min_length_m=demand.min_length_m,
        suits=lambda chain: demand.is_met(chain, stock.contacts, stock.fuses),
    )
    return tuple(fitted for chain in found for fitted in fits(chain, demand.fuse_a, stock.fuses))
