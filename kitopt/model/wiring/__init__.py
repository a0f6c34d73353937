"""Connectors to chains of leads, with resistance, mass and ampacity."""

from kitopt.model.wiring.chains import FUSE_WITHIN_M, Chain, Piece, chains
from kitopt.model.wiring.conductors import Contacts, ampacity_a, loop_ohm, ohm_per_m
from kitopt.model.wiring.fitting import Fuses, fits
from kitopt.model.wiring.refusals import Demand, Missing, missing, why_no_chain
from kitopt.model.wiring.stock import LeadStock

__all__ = [
    "FUSE_WITHIN_M",
    "Chain",
    "Contacts",
    "Demand",
    "Fuses",
    "LeadStock",
    "Missing",
    "Piece",
    "ampacity_a",
    "chains",
    "fits",
    "loop_ohm",
    "missing",
    "ohm_per_m",
    "why_no_chain",
]
