"""What an answer about one kit is made of, as frozen values."""

from __future__ import annotations

import math
from dataclasses import dataclass, field, replace
from datetime import datetime
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.choice.found import Solved
from kitopt.choice.laid import cases_under, trial_under
from kitopt.engine import Case, Trial
from kitopt.engine.plant import Conditions
from kitopt.inventory.items import Inventory
from kitopt.model.bus import BusClass
from kitopt.model.kit import Block, Join, KitModel, Unit
from kitopt.model.wiring_list import Wire
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Floats = NDArray[np.float64]
Status = Literal["found", "no-kit", "time-limit"]


Quantity = Literal["mass", "price", "items", "unserved"]


@dataclass(frozen=True)
class Proof:
    """How sure an answer is, in one unit: bound ≤ optimum ≤ objective.

    Attributes
    ----------
    of : {"mass", "price", "items", "unserved"}
        What was made small: grams, hundredths of the currency, pieces, or operations that go without.
    objective : float or None
        Of the best that is known; None where there is nothing.
    bound : float or None
        Nothing below works; None where nothing works at all.
    proved : bool
        Whether nothing better exists, or nothing at all.
    """

    of: Quantity
    objective: float | None
    bound: float | None
    proved: bool

    @classmethod
    def reached(cls, of: Quantity, value: float, bound: float) -> Proof:
        """From a value, infinite without one, and a bound, infinite where nothing works."""
        if not math.isfinite(bound):
            return cls(of, None, None, True)
        if not math.isfinite(value):
            return cls(of, None, bound, False)
        return cls(of, value, min(value, bound), bound >= value - 1e-6)

    @property
    def gap(self) -> float | None:
        """Distance of the bound from the objective, as a share of the objective; None where one is not known."""
        if self.objective is None or self.bound is None:
            return None
        return (self.objective - self.bound) / max(1.0, self.objective)

    @property
    def status(self) -> Status:
        """Possible and proved best, impossible, or not known."""
        if not self.proved:
            return "time-limit"
        return "no-kit" if self.objective is None else "found"


@dataclass(frozen=True)
class Packed:
    """Some of one item in the kit."""

    id: str
    kind: str
    count: int


@dataclass(frozen=True)
class Survival:
    """Windows tried, survived, and needed for the confidence; then those never seen before, where any were tried.

    Last the same three numbers of many others that the kit must survive too, where the weather has any.
    """

    tried: int
    survived: int
    needed: int
    fresh_tried: int = 0
    fresh_survived: int | None = None
    others: tuple[int, int, int] | None = None


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
class Nice:
    """What becomes of a load that runs where it can.

    Attributes
    ----------
    runs : bool or None
        None where there was not the time to tell.
    in_the_way : tuple of Block
        Rules that keep this very load out; empty where it is the energy, the mass or other loads.
    """

    id: str
    runs: bool | None
    in_the_way: tuple[Block, ...] = ()


@dataclass(frozen=True)
class Loss:
    """How the kit fares without one unit, all but the loads that must run switched off."""

    kind: str
    what: str
    tried: int
    survived: int
    margin_wh: float
    """Lowest margin of the windows that are survived. [Wh]"""


@dataclass(frozen=True, eq=False)
class Made:
    """A kit as counts of its model, under the weather that it is judged by."""

    model: KitModel
    sky: Sky
    counts: Floats

    @cached_property
    def cases(self) -> tuple[Case, ...]:
        """All in order first, then each loss; good for these counts alone."""
        return cases_under(self.model, self.sky, counts=self.counts)

    @property
    def base(self) -> tuple[Conditions, Floats]:
        """What the kit meets with all in order, and its plant."""
        case = self.cases[0]
        return case.conditions, case.plant(self.counts)

    @cached_property
    def trial(self) -> Trial | None:
        """The many other windows that the kit must survive."""
        return trial_under(self.model, self.sky, "others")

    def __getstate__(self) -> dict[str, Any]:
        """Everything but the cases, which are made anew where they are asked for."""
        return {name: value for name, value in self.__dict__.items() if name not in ("cases", "trial")}


@dataclass(frozen=True)
class Shortfall:
    """The strongest kit when none works, and where it falls short; without any, what is short for it to fit."""

    packed: tuple[Packed, ...]
    joins: tuple[tuple[Join, Unit, int], ...]
    shortfall_wh: float
    time: datetime | None
    made: Made | None = field(default=None, repr=False, compare=False)
    in_the_way: tuple[Block, ...] = ()
    is_strongest: bool = True
    """Whether it is; else another may be stronger still."""


@dataclass(frozen=True)
class Choice:
    """What came of packing one kit.

    ``packed`` holds loads and extras too, sorted by kind and id; it is empty when no kit was found.
    ``operation`` has the loads that run, and ``nices`` every nice load that was asked for, in the file's order. The
    proof is about the kits for the loads that run; while a nice load is not settled, nothing is proved.
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
    nices: tuple[Nice, ...] = ()
    need_wh: float = 0.0
    peak_a: float = 0.0
    no_sun_hours: float | None = None
    blocks: tuple[tuple[BusClass, tuple[Block, ...]], ...] = ()
    shortfall: Shortfall | None = None
    banks: tuple[Choice, ...] = field(default=(), repr=False, compare=False)
    """Where two charge apart, each by itself: half the batteries, loads while it is on the air, else the sun."""
    circuits: tuple[tuple[str, Choice], ...] = ()
    """Where there are several, each by its name, wired and judged by itself; without a kit, what each is alone."""
    made: Made | None = field(default=None, repr=False, compare=False)
    solved: tuple[Solved, ...] = field(default=(), repr=False, compare=False)
    """Every bus class with what was learned, for questions asked again; not kept where a choice is pickled."""

    def __getstate__(self) -> dict[str, Any]:
        """Everything but what was learned."""
        return self.__dict__ | {"solved": ()}

    @property
    def light(self) -> Choice:
        """The choice without what was learned for it, which is most of its size."""
        return replace(self, solved=())

    @property
    def parts(self) -> tuple[Choice, ...]:
        """What is wired together: each circuit, or the whole."""
        return tuple(part for _, part in self.circuits) or (self,)

    @property
    def stores(self) -> tuple[Choice, ...]:
        """What has one store of charge: each bank of each circuit, or the whole."""
        return tuple(bank for part in self.parts for bank in part.banks or (part,))

    @property
    def hardest(self) -> Choice:
        """Of two banks that one which comes lowest in the spells survived; else the whole."""
        return min(self.banks, key=lambda one: one.lowest.margin_wh if one.lowest else 0.0) if self.banks else self

    @property
    def mass_g(self) -> int:
        """Mass of the whole kit. [g]"""
        return sum(p.count * self.inventory.by_id[p.id].mass_g for p in self.packed)

    @property
    def price_cents(self) -> int:
        """Price of what has one. [1/100]"""
        return sum(p.count * (self.inventory.by_id[p.id].price_cents or 0) for p in self.packed)
