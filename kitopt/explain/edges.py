"""How far a choice is from its edge: where another answer begins, found by choosing again on both sides.

More hours, confidence or load never have a better kit. So the answer stays the same up to an edge, and an edge
lies between two solves: one with the same objective, and the next step with another. Of the cold, and of whether a
panel is packed, that is not so: there only what was solved is told.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Collection, Sequence
from dataclasses import dataclass, replace
from functools import partial
from typing import Literal

from kitopt.ask import Asker, Change
from kitopt.ask.change import Family
from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice import Choice
from kitopt.engine.halving import last_that_holds
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Panel
from kitopt.sky.windows import SkyOf

Quantity = Literal["hours", "confidence", "load", "coldest", "panel hours"]
Grid = Sequence[float]

COLDER_DEGC = (1, 2, 5, 10, 20)
PANEL_HOURS = 6
"""So many more hours are solved to tell whether a panel is packed."""
_MOST_LOAD_SHARE = 2.0


@dataclass(frozen=True)
class Solve:
    """One value that was solved.

    Attributes
    ----------
    is_same : bool
        Whether the answer is as good as the chosen one.
    mass_g : int or None
        None where no kit works.
    has_panel : bool
        Whether a panel is packed.
    """

    value: float
    is_same: bool
    mass_g: int | None
    has_panel: bool


@dataclass(frozen=True)
class Edge:
    """Where the answer changes as one quantity is moved one way.

    Attributes
    ----------
    quantity : str
    direction : {1, -1}
        Harder or easier.
    holds : float or None
        The last value at which the answer was found to be the same: hours, share, factor or °C.
    changes : float or None
        The next value, at which it was found to be another; None where none was found as far as was looked.
    objective : int or None
        Of the other answer; None where no kit works there.
    instead, gone : tuple of (id, count)
        What comes into the kit there, and what leaves it.
    solved : tuple of Solve
        Every value that was solved, in order; of "panel hours" nothing else is known.
    """

    quantity: Quantity
    direction: Literal[1, -1]
    holds: float | None
    changes: float | None
    objective: int | None = None
    mass_g: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()
    solved: tuple[Solve, ...] = ()


@dataclass(frozen=True)
class Edges:
    """All edges found; cut short where some took too long or the time was up."""

    edges: tuple[Edge, ...] = ()
    is_cut_short: bool = False


def edges(
    choice: Choice, *, sky_of: SkyOf, budget: Budget = UNLIMITED, families: Collection[Family] | None = None
) -> Edges:
    """The nearest values of hours, confidence, load and cold at which the answer is another.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best.
    sky_of : callable
        The weather of an operation; its windows stay what they are.
    families : collection, optional
        Only what changes of these kinds come to; they need nothing of each other.
    """
    if not choice.packed or not choice.proof.proved:
        return Edges()
    table = _Table(choice, Asker(choice, sky_of, budget), sky_of)
    found: list[Edge] = []
    is_cut_short = False
    for way in _WAYS:
        if families is not None and way.family not in families:
            continue
        if budget.is_over:
            return Edges(tuple(found), True)
        try:
            edge = table.edge(way)
        except (_Unknown, OutOfTime):
            is_cut_short = True
            continue
        if edge is not None:
            found.append(edge)
    return Edges(tuple(found), is_cut_short)


class _Unknown(Exception):
    """One value could not be settled: this edge stays unknown."""


class _Table:
    """The answers at values of each quantity."""

    def __init__(self, choice: Choice, asker: Asker, sky_of: SkyOf) -> None:
        self.choice, self.sky_of = choice, sky_of
        self._asker = asker
        self._solved: dict[Family, dict[float, Choice]] = {}

    def at(self, family: Family, value: float, *, is_harder: bool = False) -> Choice:
        """The answer at a value of what a change is of."""
        self._asker.budget.say(f"edge: {family} {value:g}")
        change = Change(family, value=value)
        answer = self._asker.ask_harder(change) if is_harder else self._asker.ask(change)
        if not answer.proof.proved:
            raise _Unknown
        return self._solved.setdefault(family, {}).setdefault(value, answer.light)

    def still_does(self, kit: Choice, way: _Way, grid: Grid, i: int) -> bool:
        """Whether a kit that is best where less is asked does at a value of a grid too: then it is best there."""
        value = grid[i]
        self._asker.budget.say(f"edge: {way.family} {value:g}")
        self._asker.budget.check()
        does = self._asker.still_does(kit, Change(way.family, value=value))
        if does:
            self._solved.setdefault(way.family, {}).setdefault(value, kit)
        return does

    def is_same(self, answer: Choice) -> bool:
        """Whether an answer is as good as the chosen one."""
        return answer.proof.objective == self.choice.proof.objective

    def edge(self, way: _Way) -> Edge | None:
        """The edge along one way; None where there is nothing to ask."""
        grid = way.grid(self.choice)
        if not grid or not way.is_asked(self.choice):
            return None
        return way.look(self, way, grid)

    def solves(self, family: Family) -> tuple[Solve, ...]:
        """Every value of a quantity that was solved."""
        known = self._solved.get(family, {})
        return tuple(
            Solve(value, self.is_same(a), a.mass_g if a.packed else None, _has_panel(a))
            for value, a in sorted(known.items())
        )

    def between(self, way: _Way, holds: float, changes: float | None) -> Edge:
        """An edge between two values that were solved."""
        edge = Edge(way.quantity, way.direction, holds, changes, solved=self.solves(way.family))
        if changes is None:
            return edge
        other = self.at(way.family, changes)
        if other.proof.objective is None:
            return edge
        return replace(
            edge,
            objective=round(other.proof.objective),
            mass_g=other.mass_g,
            instead=beyond(other.packed, self.choice.packed),
            gone=beyond(self.choice.packed, other.packed),
        )


# -- how a quantity is looked at ---------------------------------------------------------


def _harder(table: _Table, way: _Way, grid: Grid) -> Edge:
    """The edge along a grid on which each value asks for more: a kit is best as long as it does what is asked."""
    kit, last = table.choice, -1
    while True:
        last = last_that_holds(partial(table.still_does, kit, way, grid), last, len(grid), last + 1)
        if last + 1 == len(grid):
            break
        kit = table.at(way.family, grid[last + 1], is_harder=True)
        if not table.is_same(kit):
            break
        last += 1
    return _between(table, way, grid, last)


def _easier(table: _Table, way: _Way, grid: Grid) -> Edge:
    """The same where each value asks for less: all that do still do."""
    last = last_that_holds(lambda i: table.is_same(table.at(way.family, grid[i])), -1, len(grid), 0)
    return _between(table, way, grid, last)


def _between(table: _Table, way: _Way, grid: Grid, last: int) -> Edge:
    return table.between(
        way, way.here(table.choice) if last < 0 else grid[last], grid[last + 1] if last + 1 < len(grid) else None
    )


def _walked(table: _Table, way: _Way, grid: Grid) -> Edge:
    """One value of a grid after another, up to the first with another answer: what lies between is not known."""
    holds = way.here(table.choice)
    for value in grid:
        if not table.is_same(table.at(way.family, value)):
            return table.between(way, holds, value)
        holds = value
    return table.between(way, holds, None)


def _listed(table: _Table, way: _Way, grid: Grid) -> Edge | None:
    """Whether a panel is packed, at every value that was solved."""
    for value in sorted(grid, reverse=True):
        table.at(way.family, value, is_harder=value > way.here(table.choice))
    table.at(way.family, way.here(table.choice))
    solved = table.solves(way.family)
    return Edge(way.quantity, way.direction, None, None, solved=solved) if any(s.has_panel for s in solved) else None


# -- the values that are asked -----------------------------------------------------------


def _step_h(choice: Choice) -> float:
    return max(0.5, choice.operation.need.step_h)


def _more_hours(choice: Choice) -> Grid:
    return steps(choice.operation.hours, 2 * choice.operation.hours, _step_h(choice))


def _fewer_hours(choice: Choice) -> Grid:
    step_h = _step_h(choice)
    return steps(0.0, choice.operation.hours - 1e-6, step_h)[::-1]


def _panel_hours(choice: Choice) -> Grid:
    """A few hours spread evenly: up to those asked for where a panel is packed, beyond them where none is."""
    grid = _fewer_hours(choice)[::-1] if _has_panel(choice) else _more_hours(choice)
    n = min(PANEL_HOURS, len(grid))
    return [grid[(i + 1) * len(grid) // n - 1] for i in range(n)]


def _surer(choice: Choice) -> Grid:
    return [p / 100 for p in range(math.floor(100 * choice.operation.need.confidence) + 1, 101)]


def _less_sure(choice: Choice) -> Grid:
    return [p / 100 for p in range(math.ceil(100 * choice.operation.need.confidence) - 1, 49, -1)]


def _more_load(choice: Choice) -> Grid:
    return [1 + p / 100 for p in range(1, round(100 * (_MOST_LOAD_SHARE - 1)) + 1)]


def _colder(choice: Choice) -> Grid:
    coldest = choice.operation.site.coldest_degc
    return [] if coldest is None else [coldest - d for d in COLDER_DEGC]


def steps(start: float, stop: float, step: float) -> list[float]:
    """Multiples of a step beyond a start, up to a stop."""
    first, last = math.floor(start / step + 1e-9) + 1, math.floor(stop / step + 1e-9)
    return [n * step for n in range(first, last + 1)]


def _has_panel(choice: Choice) -> bool:
    return any(isinstance(choice.inventory.by_id[one.id], Panel) for one in choice.packed)


@dataclass(frozen=True)
class _Way:
    """One row of the table: a quantity, the change that it is of, and the values that are asked."""

    quantity: Quantity
    family: Family
    direction: Literal[1, -1]
    here: Callable[[Choice], float]
    grid: Callable[[Choice], Grid]
    look: Callable[[_Table, _Way, Grid], Edge | None] = _harder
    is_asked: Callable[[Choice], bool] = lambda choice: True


def _hours(choice: Choice) -> float:
    return choice.operation.hours


def _confidence(choice: Choice) -> float:
    return float(choice.operation.need.confidence)


_WAYS = (
    _Way("hours", "hours", 1, _hours, _more_hours),
    _Way("hours", "hours", -1, _hours, _fewer_hours, _easier),
    _Way(
        "panel hours", "hours", 1, _hours, _panel_hours, _listed, is_asked=lambda choice: any(choice.inventory.panels)
    ),
    _Way("confidence", "confidence", 1, _confidence, _surer),
    _Way(
        "confidence",
        "confidence",
        -1,
        _confidence,
        _less_sure,
        _easier,
        is_asked=lambda choice: choice.sky.n_windows > 1,
    ),
    _Way("load", "load", 1, lambda _: 1.0, _more_load),
    _Way("coldest", "coldest", -1, lambda choice: choice.operation.site.coldest_degc or 0.0, _colder, _walked),
)

FAMILIES = tuple(dict.fromkeys(way.family for way in _WAYS))
"""What is changed along them, in order."""
