"""What came of looking for kits: a plan that was solved, the best of some, and that in brief."""

from __future__ import annotations

import math
from collections.abc import Mapping
from dataclasses import dataclass, replace

from kitopt.budget import Budget
from kitopt.choice.program import Program
from kitopt.choice.side_by_side import Placed
from kitopt.engine import Outcome, Plan, Row
from kitopt.model.bus import BusClass
from kitopt.model.kit import KitModel


@dataclass(frozen=True, eq=False)
class Solved:
    """A plan of some kits, solved."""

    program: Program
    plan: Plan
    outcome: Outcome

    @property
    def model(self) -> KitModel:
        """The model of the only kit."""
        (kit,) = self.kits
        return kit.model

    @property
    def kits(self) -> tuple[Placed, ...]:
        """Every kit, on each class that it may be of."""
        return tuple(kit for some in self.program.kits.values() for kit in some)

    def uses(self, item_id: str) -> tuple[tuple[int, float], ...]:
        """Terms that count how many of an item all kits take."""
        return tuple(term for kit in self.kits for term in kit.uses(item_id))

    def at_most(self, item_id: str, n: int) -> list[Row]:
        """The rule that all kits take no more of an item; none where they could take none."""
        terms = self.uses(item_id)
        return [Row(terms, upper=float(n), rule="asked", text=f"at most {n} × {item_id}")] if terms else []

    def gone_on_with(self, cutoff: float, least: float, budget: Budget, enough: float = -math.inf) -> Solved:
        """Where the search was put off, what it comes to up to a cutoff."""
        known = self.outcome
        outcome = self.program.solve(
            self.plan,
            cutoff=cutoff,
            least=max(least, known.bound),
            enough=enough,
            in_hand=known.counts if known.objective <= cutoff else None,
            budget=budget,
        )
        return replace(self, outcome=outcome)

    def order(self) -> tuple[object, ...]:
        """What kits of different classes are compared by: the objectives, then the ids where these tell them apart."""
        counts = self.outcome.counts
        assert counts is not None
        ids = [(i, -n) for i, n in sorted(self.program.in_all(counts).items())] if self.plan.tie_break else []
        return (*(o.of(counts) for o in self.plan.objectives), ids)


@dataclass(frozen=True, eq=False)
class Found:
    """Kits, or the word that there are none, or that it is not known.

    Attributes
    ----------
    best : Solved or None
        Where the counts belong; None without kits.
    bound : float
        Of the first quantity: nothing below works. Infinite where nothing works at all.
    is_sure : bool
        Whether the first quantity is proved, or that nothing works.
    tried : tuple of Solved
        Every class of a kit alone.
    """

    best: Solved | None
    bound: float
    is_sure: bool
    tried: tuple[Solved, ...] = ()

    @property
    def bus(self) -> BusClass:
        """The bus class of the best kit of one number."""
        assert self.best is not None
        return self.best.kits[0].model.bus

    @property
    def has_kits(self) -> bool:
        """Whether there are any."""
        return self.best is not None

    @property
    def is_impossible(self) -> bool:
        """Whether it is proved that there are none."""
        return self.best is None and self.is_sure

    @property
    def value(self) -> float:
        """The first quantity; infinite without kits."""
        return math.inf if self.best is None else self.best.outcome.objective

    @property
    def used(self) -> dict[int, dict[str, int]]:
        """How many of each item each kit takes."""
        assert self.best is not None
        assert self.best.outcome.counts is not None
        return self.best.program.used(self.best.outcome.counts)

    @property
    def is_settled(self) -> bool:
        """Whether every quantity that counts is proved."""
        return self.is_sure and (self.best is None or self.best.outcome.is_settled)


@dataclass(frozen=True)
class Brief:
    """What a search found of one kit, without the way there: it can go from one process to another.

    Attributes
    ----------
    best : (int, Outcome) or None
        The class of the best kit, by its place, and what it came to.
    bounds : tuple of float
        Of the first quantity, by class.
    """

    allowed: Mapping[str, int]
    best: tuple[int, Outcome] | None
    bound: float
    is_sure: bool
    bounds: tuple[float, ...]


NOTHING = Found(None, math.inf, is_sure=True)
