"""Which fuse stands before which wire on the station's bus, as columns and the conflicts between them.

A column says that more than some amperes may come from the batteries' fuses; a wire that stands no more is then
out. In turn the largest fuse in use counts, in parallel the sum of all.
"""

from __future__ import annotations

import math
from dataclasses import dataclass, field

from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery, Connector
from kitopt.model.kit import Column, KitModel
from kitopt.model.wiring import Chain


@dataclass(frozen=True)
class Terminals:
    """What of a battery the choice of its leads hangs on, which many have alike.

    Attributes
    ----------
    fused : bool
        Whether there is a fuse behind them, if only one of unknown rating.
    fuse_a : float or None
        Its rating, where that is known. [A]
    """

    connector: Connector
    fused: bool
    fuse_a: float | None

    @classmethod
    def of(cls, battery: Battery) -> Terminals:
        """Those of a battery."""
        return cls(battery.connector, battery.fused, battery.fuse_a)


def passes_a(battery: Battery | Terminals, chain: Chain) -> float:
    """The most that a battery's own fuse and those in its leads let through; infinity where none is known. [A]"""
    own = () if battery.fuse_a is None else (battery.fuse_a,)
    return min([*own, *chain.fuses_a], default=math.inf)


@dataclass
class Protection:
    """What may flow into the bus, and what stands how much of it.

    Attributes
    ----------
    sources, branches : list of (column, amperes)
        Joins of batteries with what their fuses let through; joins of all else with what they stand. [A]
    """

    is_parallel: bool
    sources: list[tuple[int, float]] = field(default_factory=list)
    branches: list[tuple[int, float]] = field(default_factory=list)
    has_unknown: bool = False
    """Whether some battery brings a fuse whose rating is not written down: nothing is ruled out by it."""

    def source(self, column: int, amps: float) -> None:
        """A join of batteries whose fuses let that much through. [A]"""
        if math.isfinite(amps):
            self.sources.append((column, amps))
        else:
            self.has_unknown = True

    def branch(self, column: int, amps: float) -> None:
        """A join of anything else that stands that much. [A]"""
        if math.isfinite(amps):
            self.branches.append((column, amps))

    @property
    def least_a(self) -> float:
        """What every kit's batteries let through at least. [A]"""
        return 0.0 if self.has_unknown else min((amps for _, amps in self.sources), default=0.0)

    def most_a(self, model: KitModel) -> float:
        """The most that they let through together. [A]"""
        if not self.is_parallel:
            return max((amps for _, amps in self.sources), default=0.0)
        return math.fsum(amps * model.columns[j].upper for j, amps in self.sources)

    def add_rows(self, model: KitModel) -> None:
        """The conflicts; called when all joins are laid."""
        most_a = self.most_a(model)
        for level in sorted({amps for _, amps in self.branches if amps < most_a - 1e-9}):
            above = model.add(Column(f"more than {level:g} A may come from the batteries", 1))
            text = f"a wire that stands {level:g} A has no larger fuse before it"
            larger = [(j, amps) for j, amps in self.sources if self.is_parallel or amps > level + 1e-9]
            if self.is_parallel:
                terms = (*larger, (above, level - most_a))
                model.rows.append(Row(terms, upper=level + 1e-9, rule="branch-fuse", text=text))
            else:
                for j, _ in larger:
                    terms = ((j, 1.0), (above, -max(1.0, model.columns[j].upper)))
                    model.rows.append(Row(terms, upper=0.0, rule="branch-fuse", text=text))
            for j, amps in self.branches:
                if amps == level:
                    upper = model.columns[j].upper
                    model.rows.append(Row(((j, 1.0), (above, upper)), upper=upper, rule="branch-fuse", text=text))
