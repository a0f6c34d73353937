"""Rows as what one sees: which site passes in which month, and where the few fail."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass

from kitopt.study.row import Row
from kitopt.study.terms import Question, Study


@dataclass(frozen=True)
class Cell:
    """A site on one day: the best that an inventory or a named kit does there in all patterns.

    Attributes
    ----------
    rows : tuple of Row
        One for each pattern that is answered.
    is_whole : bool
        Whether all are.
    """

    rows: tuple[Row, ...]
    is_whole: bool

    @property
    def passes(self) -> bool:
        """Whether some kit passes in every pattern."""
        return self.is_whole and all(row.passes for row in self.rows)

    @property
    def chance(self) -> float | None:
        """The least of the patterns' chances; None where one fails or has none. [0–1]"""
        chances = [row.chance for row in self.rows]
        return None if not self.passes or None in chances else min(one for one in chances if one is not None)

    @property
    def worst(self) -> Row | None:
        """Of the plans that fail, the one that falls short by most; one that cannot be answered or wired first."""
        failing = [row for row in self.rows if not row.passes]
        return min(failing, key=_margin_wh, default=None)

    @property
    def order(self) -> tuple[float, ...]:
        """How good it is."""
        worst = self.worst
        short_wh = 0.0 if worst is None else _margin_wh(worst)
        return (float(self.is_whole), float(self.passes), self.chance or 0.0, short_wh)


def _margin_wh(row: Row) -> float:
    """What is left over, below anything where that is not known. [Wh]"""
    return -1e12 if row.margin_wh is None else row.margin_wh


def cells(study: Study, rows: Mapping[Question, Row]) -> list[list[Cell]]:
    """One for each site and day, in the order of the file."""
    found = []
    for place in range(len(study.places)):
        line = []
        for when in range(len(study.whens)):
            ways = []
            for inventory in range(len(study.inventories)):
                for kit in study.asked_kits:
                    questions = [
                        Question(place, when, pattern, inventory, kit) for pattern in range(len(study.patterns))
                    ]
                    answered = tuple(rows[one] for one in questions if one in rows)
                    ways.append(Cell(answered, len(answered) == len(questions)))
            line.append(max(ways, key=lambda cell: cell.order))
        found.append(line)
    return found


def failing(study: Study, table: list[list[Cell]]) -> list[tuple[int, int, Row]]:
    """Number of each site at which something fails, the day on which it falls short by most, and that plan's row."""
    found = []
    for place, line in enumerate(table):
        worst = [(when, row) for when, cell in enumerate(line) if (row := cell.worst) is not None]
        if worst:
            when, row = min(worst, key=lambda one: _margin_wh(one[1]))
            found.append((place, when, row))
    return sorted(found, key=lambda one: (-study.places[one[0]].priority, one[0]))
