"""What an answer about one kit is made of, as frozen values."""

from __future__ import annotations

from dataclasses import dataclass, field
from datetime import datetime
from typing import Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import Outcome, Plan
from kitopt.inventory.items import Inventory
from kitopt.model.bus import BusClass
from kitopt.model.kit import Block, Join, KitModel, Unit
from kitopt.model.wiring_list import Wire
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Floats = NDArray[np.float64]
Status = Literal["found", "no-kit", "time-limit"]


@dataclass(frozen=True)
class Proof:
    """How sure the answer is. Objective and bound are in grams, cents or pieces."""

    objective: float | None
    bound: float | None
    proved: bool

    @property
    def gap(self) -> float | None:
        """Distance of the bound from the objective, as a share of the objective."""
        if self.objective is None or self.bound is None:
            return None
        return 0.0 if self.proved else max(0.0, (self.objective - self.bound) / max(1.0, self.objective))


@dataclass(frozen=True)
class Packed:
    """Some of one item in the kit."""

    id: str
    kind: str
    count: int


@dataclass(frozen=True)
class Survival:
    """Windows tried, survived, and needed for the confidence; then those never seen before."""

    tried: int
    survived: int
    needed: int
    fresh_tried: int = 0
    fresh_survived: int = 0


@dataclass(frozen=True)
class Lowest:
    """The hardest window that is survived, at its lowest step.

    ``charge_wh`` counts from the allowed depth up; ``charge_ah`` is that at the nominal voltage.
    """

    window: str
    number: int
    time: datetime
    charge_wh: float
    charge_ah: float
    margin_wh: float


@dataclass(frozen=True)
class Loss:
    """How the kit fares without one unit, all but the loads that must run switched off."""

    kind: str
    what: str
    tried: int
    survived: int
    margin_wh: float
    """Lowest margin of the windows that are survived. [Wh]"""


@dataclass(frozen=True)
class Shortfall:
    """The strongest kit when none works, and where it falls short."""

    packed: tuple[Packed, ...]
    joins: tuple[tuple[Join, Unit, int], ...]
    shortfall_wh: float
    time: datetime | None
    solved: Solved | None = field(default=None, repr=False, compare=False)
    counts: Floats | None = field(default=None, repr=False, compare=False)


@dataclass(frozen=True)
class Choice:
    """What came of packing one kit.

    ``packed`` holds loads and extras too, sorted by kind and id; it is empty when no kit was found.
    """

    operation: Operation
    inventory: Inventory
    sky: Sky
    status: Status
    proof: Proof
    packed: tuple[Packed, ...] = ()
    joins: tuple[tuple[Join, Unit, int], ...] = ()
    wiring: tuple[Wire, ...] = ()
    bus: BusClass | None = None
    survival: Survival | None = None
    lowest: Lowest | None = None
    losses: tuple[Loss, ...] = ()
    need_wh: float = 0.0
    peak_a: float = 0.0
    no_sun_hours: float | None = None
    blocks: tuple[tuple[BusClass, tuple[Block, ...]], ...] = ()
    shortfall: Shortfall | None = None
    solved: tuple[Solved, ...] = field(default=(), repr=False, compare=False)

    @property
    def mass_g(self) -> int:
        """Mass of the whole kit. [g]"""
        return sum(p.count * self.inventory.by_id[p.id].mass_g for p in self.packed)

    @property
    def price_cents(self) -> int:
        """Price of what has one. [1/100]"""
        return sum(p.count * (self.inventory.by_id[p.id].price_cents or 0) for p in self.packed)


@dataclass(frozen=True)
class Solved:
    """One bus class, solved: what reasons are drawn from."""

    model: KitModel
    plan: Plan
    outcome: Outcome
