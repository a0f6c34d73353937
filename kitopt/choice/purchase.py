"""What came of buying for a season, as frozen values."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, field

from kitopt.choice.terms import Choice, Packed, Proof, Status
from kitopt.inventory.items import Inventory
from kitopt.operation.plans import Programme


@dataclass(frozen=True)
class Single:
    """One piece of one type, and what it alone would do.

    Attributes
    ----------
    serves : tuple of int
        Outings that nothing owned can serve, and that it makes possible.
    saved_g : int
        Mass that it saves over the other outings, each with its own lightest kit. [g]
    """

    id: str
    cents: int
    serves: tuple[int, ...]
    saved_g: int


@dataclass(frozen=True)
class Purchase:
    """What came of a season.

    Attributes
    ----------
    bought : tuple of Packed
        What to buy; nothing when nothing is worth buying.
    choices : mapping of outing to Choice
        A kit for each operation that is served.
    unserved : tuple of int
        Outings of which it is proved that they go without a kit.
    unknown : tuple of int
        Outings of which that is not known.
    proof : Proof
        Of the cost, or, within a budget, of how many outings go without.
    is_lightest : bool
        Whether no less mass is proved to do, all kits together, at that cost or within the budget.
    """

    programme: Programme
    inventory: Inventory
    status: Status
    proof: Proof
    budget_cents: int | None = None
    bought: tuple[Packed, ...] = ()
    cost_cents: int = 0
    choices: Mapping[int, Choice] = field(default_factory=dict)
    unserved: tuple[int, ...] = ()
    unknown: tuple[int, ...] = ()
    is_lightest: bool = False
    singles: tuple[Single, ...] = ()
    has_all_singles: bool = False
    """Whether every type was looked at."""
    unpriced: tuple[str, ...] = ()
    """Ids in the catalogue that have no price, so that they cannot be compared."""

    @property
    def mass_g(self) -> int:
        """Mass of all kits. [g]"""
        return sum(choice.mass_g for choice in self.choices.values())
