"""Connectors to chains of leads, with resistance, mass and ampacity."""

from kitopt.wiring.chains import Chain, Piece, beaten, chains
from kitopt.wiring.conductors import Contacts, ampacity_a, loop_ohm, ohm_per_m

__all__ = ["Chain", "Contacts", "Piece", "ampacity_a", "beaten", "chains", "loop_ohm", "ohm_per_m"]
