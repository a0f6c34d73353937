"""Kits side by side in one plan: their columns in a row, each kit with its own rows and cases.

A kit may be optional: a column of 0 or 1 says whether it is made. Rows that no empty kit obeys
then ask for their share of that column only, and so do the rows that its cases teach.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Sequence
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine import Case, Objective, Plan, Row, Trial
from kitopt.model.kit import KitModel

Floats = NDArray[np.float64]
Terms = Sequence[tuple[int, float]]


@dataclass(frozen=True, eq=False)
class Placed:
    """A kit's place in a plan.

    Attributes
    ----------
    number : int
        Which of the kits that are wanted.
    first : int
        Where its columns begin.
    dates : tuple of int
        For each of its cases the date that it belongs to.
    made : int or None
        The column that says whether it is made.
    """

    number: int
    model: KitModel
    cases: tuple[Case, ...]
    first: int
    dates: tuple[int, ...]
    made: int | None = None

    def counts(self, counts: Floats) -> Floats:
        """Its own counts, shape (n_columns of the model,)."""
        return counts[self.first : self.first + len(self.model.columns)]

    def is_made(self, counts: Floats) -> bool:
        """Whether it is made."""
        return self.made is None or round(float(counts[self.made])) == 1

    def uses(self, item_id: str) -> list[tuple[int, float]]:
        """Terms that count how many of an item it takes."""
        return self._uses.get(item_id, [])

    def items(self) -> Iterable[str]:
        """Ids of all that it could take."""
        return self._uses

    @cached_property
    def _uses(self) -> dict[str, list[tuple[int, float]]]:
        found = self.model.terms
        return {i: [(self.first + j, n) for j, n in terms] for i, terms in found.items()} if self.first else found


@dataclass
class SideBySide:
    """A plan in the making."""

    lower: list[float] = field(default_factory=list)
    upper: list[float] = field(default_factory=list)
    is_integer: list[bool] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    cases: list[Case] = field(default_factory=list)
    trials: list[Trial] = field(default_factory=list)

    def add_column(self, upper: float, lower: float = 0.0) -> int:
        """Add a count of one's own and return its index."""
        self.lower.append(lower)
        self.upper.append(upper)
        self.is_integer.append(True)
        return len(self.upper) - 1

    def add_row(self, terms: Terms, lower: float = -math.inf, upper: float = math.inf, *, rule: str, text: str) -> None:
        """Add a row; the terms of one column are added up."""
        total: dict[int, float] = {}
        for j, c in terms:
            total[j] = total.get(j, 0.0) + c
        if total:
            self.rows.append(Row(tuple(total.items()), lower, upper, rule, text))

    def add_kit(
        self,
        number: int,
        model: KitModel,
        dated: Sequence[Sequence[Case]],
        name: str,
        made: int | None = None,
        trials: Sequence[Trial] = (),
    ) -> Placed:
        """Add a kit with its rows, the cases of each of its dates, and what it is tried by besides.

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
            here = replace(row, terms=tuple((first + j, c) for j, c in row.terms)) if first else row
            self.rows += [here] if made is None else _if_made(here, made)
        # a kit that is alone in its plan has the first columns, which need not be picked out
        columns = np.arange(first, first + n) if first else None

        def placed(case: Case) -> Case:
            within = None if case.within is None else first + case.within
            parts = tuple(placed(part) for part in case.parts)
            return replace(case, name=f"{name}{case.name}", columns=columns, served=made, within=within, parts=parts)

        own = tuple(placed(case) for cases in dated for case in cases)
        self.cases += own
        for trial in trials:
            self.trials.append(_placed(trial, placed, own[0], n))
        return Placed(number, model, own, first, tuple(d for d, cases in enumerate(dated) for _ in cases), made)

    def weights(self, terms: Terms) -> Floats:
        """Terms as a vector over all columns."""
        found = np.zeros(len(self.upper))
        np.add.at(found, [j for j, _ in terms], [c for _, c in terms])
        return found

    def plan(
        self, objectives: Sequence[Objective], tie_break: Sequence[Floats], rows: Sequence[Row], known: Sequence[Row]
    ) -> Plan:
        """The plan with some rows more, and some that are known to hold; called when all columns are there."""
        return Plan(
            lower=np.array(self.lower),
            upper=np.array(self.upper),
            rows=(*self.rows, *rows),
            cases=tuple(self.cases),
            objectives=tuple(objectives),
            tie_break=tuple(tie_break),
            is_integer=np.array(self.is_integer),
            trials=tuple(self.trials),
            known=tuple(known),
        )


def _placed(trial: Trial, placed: Callable[[Case], Case], base: Case, n_columns: int) -> Trial:
    """A trial of a kit's own counts as one of the whole plan's."""

    def margins_wh(counts: Floats) -> Floats | None:
        if not base.is_asked(counts):
            return None
        return trial.margins_wh(counts[:n_columns] if base.columns is None else counts[base.columns])

    return Trial(trial.needed_of, margins_wh, lambda windows: placed(trial.case_of(windows)))


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
