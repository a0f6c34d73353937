"""Kits side by side in one plan: their columns in a row, each kit with its own rows and cases.

A kit may be optional: a column of 0 or 1 says whether it is made. Rows that no empty kit obeys
then ask for their share of that column only, and so do the rows that its cases teach.
"""

from __future__ import annotations

import math
from collections.abc import Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import Case, Objective, Plan, Row
from kitopt.model.kit import KitModel

Floats = NDArray[np.float64]
Terms = Sequence[tuple[int, float]]


@dataclass(frozen=True)
class Placed:
    """A kit's place in a plan.

    Attributes
    ----------
    first : int
        Where its columns begin.
    made : int or None
        The column that says whether it is made.
    """

    model: KitModel
    cases: tuple[Case, ...]
    first: int
    made: int | None = None

    def counts(self, counts: Floats) -> Floats:
        """Its own counts, shape (n_columns of the model,)."""
        return counts[self.first : self.first + len(self.model.columns)]

    def is_made(self, counts: Floats) -> bool:
        """Whether it is made."""
        return self.made is None or round(float(counts[self.made])) == 1

    def uses(self, item_id: str) -> list[tuple[int, float]]:
        """Terms that count how many of an item it takes."""
        return [(self.first + j, c) for j, c in self._uses.get(item_id, ())]

    @cached_property
    def _uses(self) -> dict[str, list[tuple[int, float]]]:
        found: dict[str, list[tuple[int, float]]] = {}
        for j, column in enumerate(self.model.columns):
            for item_id, n in column.uses.items():
                found.setdefault(item_id, []).append((j, float(n)))
        return found


@dataclass
class SideBySide:
    """A plan in the making."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    is_integer: list[bool] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)
    kits: list[Placed] = field(default_factory=list)

    def add_column(self, upper: float, lower: float = 0.0) -> int:
        """Add a count of one's own and return its index."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.is_integer.append(True)
        return len(self.upper) - 1

    def add_row(
        self,
        terms: Terms,
        lower: float = -math.inf,
        upper: float = math.inf,
        rule: str = "",
        text: str = "",
    ) -> None:
        """Add a row; the terms of one column are added up."""
        if terms:
            self.rows.append(Row(_added(terms), lower, upper, rule, text))

    def add_kit(self, model: KitModel, cases: Iterable[Case], name: str, made: int | None = None) -> Placed:
        """Add a kit with its rows and cases.

        Parameters
        ----------
        name : str
            Its own, so that cases can be told apart.
        made : int, optional
            A column of 0 or 1; without one the kit must be made.
        """
        first, n = len(self.upper), len(model.columns)
        self.lower += [0.0] * n
        self.upper += model.upper().tolist()
        self.is_integer += [c.is_integer for c in model.columns]
        for row in model.rows:
            terms = tuple((first + j, c) for j, c in row.terms)
            here = replace(row, terms=terms)
            self.rows += [here] if made is None else _if_made(here, made)
        columns = np.arange(first, first + n)
        own = tuple(
            replace(
                case,
                name=f"{name}, {case.name}",
                columns=columns,
                served=made,
                within=None if case.within is None else first + case.within,
            )
            for case in cases
        )
        placed = Placed(model, own, first, made)
        self.cases += own
        self.kits.append(placed)
        return placed

    def weights(self, terms: Terms) -> Floats:
        """Terms as a vector over all columns."""
        found = np.zeros(len(self.upper))
        for j, c in terms:
            found[j] += c
        return found

    def plan(self, objectives: Sequence[Objective], tie_break: Sequence[Floats] = ()) -> Plan:
        """The plan; called when all columns are there."""
        return Plan(
            lower=np.array(self.lower),
            upper=np.array(self.upper),
            rows=tuple(self.rows),
            cases=tuple(self.cases),
            objectives=tuple(objectives),
            tie_break=tuple(tie_break),
            is_integer=np.array(self.is_integer),
        )


def _added(terms: Terms) -> tuple[tuple[int, float], ...]:
    total: dict[int, float] = {}
    for j, c in terms:
        total[j] = total.get(j, 0.0) + c
    return tuple(total.items())


def _if_made(row: Row, made: int) -> list[Row]:
    """A row that the empty kit obeys where the kit is not made."""
    found = []
    if row.lower > 0.0:
        found.append(replace(row, terms=(*row.terms, (made, -row.lower)), lower=0.0, upper=math.inf))
    elif row.lower > -math.inf:
        found.append(replace(row, upper=math.inf))
    if row.upper < 0.0:
        found.append(replace(row, terms=(*row.terms, (made, -row.upper)), lower=-math.inf, upper=0.0))
    elif row.upper < math.inf:
        found.append(replace(row, lower=-math.inf))
    return found
