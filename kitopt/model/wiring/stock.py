"""Leads with all that says what they may carry, by value: what is asked of the same stock again is known."""

from __future__ import annotations

from dataclasses import dataclass
from functools import cached_property

from kitopt.inventory.items import Inventory, Lead
from kitopt.model.wiring.conductors import Contacts
from kitopt.model.wiring.fitting import Fuses


@dataclass(frozen=True)
class LeadStock:
    """Leads, what is known of connectors, and the fuses for holders.

    Each bus class, and each question that leaves the leads as they are, asks for the same chains; so what finds
    chains is kept by its stock and demand.
    """

    leads: tuple[Lead, ...]
    contacts: Contacts
    fuses: Fuses | None = None

    @classmethod
    def of(cls, inventory: Inventory) -> LeadStock:
        """What an inventory has of them."""
        return cls(inventory.leads, Contacts(inventory.contact_ohm, inventory.contact_a), inventory.fuses)

    def __hash__(self) -> int:
        return self._hash

    @cached_property
    def _hash(self) -> int:
        return hash(self.leads)
