"""How far a choice is from its edge: where another answer begins, found by choosing again on both sides.

A harder operation never has a better kit. So the answer stays the same up to an edge, and an edge lies
between two solves: one with the same objective, and the next step with another.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Literal

import numpy as np

from kitopt.budget import UNLIMITED, Budget, OutOfTime
from kitopt.choice import Choice, build_model, cases_under, pack
from kitopt.engine.judge import simulate
from kitopt.engine.strongest import scaled
from kitopt.explain.without import Pieces, beyond
from kitopt.inventory.items import Inventory, Load, Panel
from kitopt.operation.terms import Operation
from kitopt.sky.windows import SkyOf

Quantity = Literal["hours", "confidence", "load", "coldest", "panel hours"]
Question = tuple[Operation, Inventory]

_SECONDS_EACH = 30.0
_MOST_COLDER_DEGC = 20
_MOST_LOAD_SHARE = 2.0


@dataclass(frozen=True)
class Edge:
    """Where the answer changes as one quantity is moved one way.

    Attributes
    ----------
    quantity : str
    direction : {1, -1}
        Harder or easier.
    holds : float
        The last value at which the answer was found to be the same: hours, share, factor or °C.
    changes : float or None
        The next value, at which it was found to be another; None where none was found as far as was looked.
    objective : int or None
        Of the other answer; None where no kit works there.
    instead, gone : tuple of (id, count)
        What comes into the kit there, and what leaves it.
    """

    quantity: Quantity
    direction: Literal[1, -1]
    holds: float
    changes: float | None
    objective: int | None = None
    mass_g: int | None = None
    instead: Pieces = ()
    gone: Pieces = ()


@dataclass(frozen=True)
class Edges:
    """All edges found; cut short where the time was up."""

    edges: tuple[Edge, ...] = ()
    is_cut_short: bool = False


def edges(
    choice: Choice,
    *,
    sky_of: SkyOf,
    budget: Budget = UNLIMITED,
) -> Edges:
    """The nearest values of hours, confidence, load and cold at which the answer is another.

    Parameters
    ----------
    choice : Choice
        A kit that is proved best.
    sky_of : callable
        The weather of an operation; its windows stay what they are.
    """
    if not choice.packed or not choice.proof.proved:
        return Edges()
    search = _Search(choice, sky_of, budget)
    found: list[Edge] = []
    is_cut_short = False
    for one in (_hours_up, _hours_down, _panel_hours, _confidence_up, _confidence_down, _load_up, _colder):
        try:
            edge = one(search)
        except _TooHard:
            is_cut_short = True
            continue
        except OutOfTime:
            return Edges(tuple(found), True)
        if edge is not None:
            found.append(edge)
    return Edges(tuple(found), is_cut_short)


class _TooHard(Exception):
    """One solve took too long: this edge stays unknown."""


class _Search:
    """Chooses again at values of a grid, and remembers."""

    def __init__(self, choice: Choice, sky_of: SkyOf, budget: Budget) -> None:
        self.choice = choice
        self.sky_of = sky_of
        self._budget = budget
        self._known: dict[tuple[str, float], Choice] = {}

    def at(self, quantity: str, value: float, question: Question) -> Choice:
        """The answer at a value."""
        key = (quantity, value)
        if key not in self._known:
            self._budget.check()
            self._budget.say(f"edge: {quantity} {value:g}")
            operation, inventory = question
            self._known[key] = pack(
                operation, inventory, self.sky_of(operation), budget=self._budget.slice(_SECONDS_EACH)
            )
        return self._known[key]

    def is_same(self, other: Choice) -> bool:
        """Whether an answer is as good as the chosen one."""
        if other.status == "time-limit":
            raise _TooHard
        return other.proof.objective == self.choice.proof.objective

    def edge(
        self,
        quantity: Quantity,
        direction: Literal[1, -1],
        grid: Sequence[float],
        ask: Callable[[float], Question],
        here: float,
        guess: int = -1,
    ) -> Edge:
        """The edge along a grid that leads away from what was asked.

        Parameters
        ----------
        guess : int
            Index up to which the answer is believed to be the same; from there the steps grow.
        """
        low, high = -1, len(grid)
        probe, stride = max(guess, 0), 1
        while high - low > 1:
            probe = min(max(probe, low + 1), high - 1)
            if self.is_same(self.at(quantity, grid[probe], ask(grid[probe]))):
                low = probe
                probe = low + stride if high == len(grid) else (low + high) // 2
            else:
                high = probe
                probe = high - stride if low < 0 else (low + high) // 2
            stride *= 2
        holds = here if low < 0 else grid[low]
        if high == len(grid):
            return Edge(quantity, direction, holds, None)
        other = self.at(quantity, grid[high], ask(grid[high]))
        objective = other.proof.objective
        return Edge(
            quantity,
            direction,
            holds,
            grid[high],
            None if objective is None else round(objective),
            other.mass_g if other.packed else None,
            beyond(other.packed, self.choice.packed) if other.packed else (),
            beyond(self.choice.packed, other.packed) if other.packed else (),
        )


def _hours_up(search: _Search) -> Edge:
    operation = search.choice.operation
    step_h = max(0.5, operation.need.step_h)
    grid = _steps(operation.hours, 2 * operation.hours, step_h)
    guess = _lasting(search, grid)
    return search.edge("hours", 1, grid, lambda h: _with_hours(search.choice, h), operation.hours, guess)


def _hours_down(search: _Search) -> Edge:
    operation = search.choice.operation
    step_h = max(0.5, operation.need.step_h)
    grid = _steps(operation.hours, step_h, -step_h)
    return search.edge("hours", -1, grid, lambda h: _with_hours(search.choice, h), operation.hours)


def _lasting(search: _Search, grid: Sequence[float]) -> int:
    """Index up to which the chosen kit itself survives enough windows; the judge alone is asked."""
    made = search.choice.made
    if made is None or not grid:
        return -1
    operation, inventory = _with_hours(search.choice, grid[-1])
    sky = search.sky_of(operation)
    model = build_model(operation, inventory, made.model.bus, sky)
    case = cases_under(model, sky)[0]
    if case.matrix.shape[1] != len(made.counts):
        return -1
    verdict = simulate(case.conditions, case.plant(made.counts))
    failed = np.maximum.accumulate(verdict.free_wh < -1e-5, axis=1)
    n_failed = np.count_nonzero(failed, axis=0)
    ends_h = np.cumsum(case.conditions.step_h)
    lost = np.flatnonzero(n_failed > case.n_allowed)
    lasts_h = math.inf if not len(lost) else float(ends_h[lost[0]] - case.conditions.step_h[lost[0]])
    return sum(1 for h in grid if h <= lasts_h + 1e-9) - 1


def _confidence_up(search: _Search) -> Edge | None:
    need, survival = search.choice.operation.need, search.choice.survival
    assert survival is not None
    grid = [p / 100 for p in range(math.floor(100 * need.confidence) + 1, 101)]
    if not grid:
        return None
    share = Fraction(survival.survived, survival.tried)
    guess = sum(1 for q in grid if Fraction(str(q)) <= share) - 1
    return search.edge(
        "confidence", 1, grid, lambda q: _with_confidence(search.choice, q), float(need.confidence), guess
    )


def _confidence_down(search: _Search) -> Edge | None:
    need = search.choice.operation.need
    grid = [p / 100 for p in range(math.ceil(100 * need.confidence) - 1, 49, -1)]
    if not grid or search.choice.sky.n_windows < 2:
        return None
    return search.edge("confidence", -1, grid, lambda q: _with_confidence(search.choice, q), float(need.confidence))


def _load_up(search: _Search) -> Edge | None:
    made = search.choice.made
    assert made is not None
    grid = [1 + p / 100 for p in range(1, round(100 * (_MOST_LOAD_SHARE - 1)) + 1)]
    case, counts = made.cases[0], made.counts
    guess = -1
    for i, factor in enumerate(grid):
        c = scaled(case, factor).conditions
        c = replace(c, reserve_wh=case.conditions.reserve_wh)
        if np.count_nonzero(simulate(c, case.plant(counts)).survives) < case.n_needed:
            break
        guess = i
    return search.edge("load", 1, grid, lambda f: _with_load(search.choice, f), 1.0, guess)


def _colder(search: _Search) -> Edge | None:
    coldest = search.choice.operation.site.coldest_degc
    if coldest is None:
        return None
    grid = [coldest - d for d in range(1, _MOST_COLDER_DEGC + 1)]
    return search.edge("coldest", -1, grid, lambda c: _with_coldest(search.choice, c), coldest, guess=0)


def _panel_hours(search: _Search) -> Edge | None:
    """The hours from which on a panel is packed: the break-even against more battery."""
    choice = search.choice
    operation = choice.operation
    step_h = max(0.5, operation.need.step_h)
    if _has_panel(choice):
        grid = _steps(0.0, operation.hours, step_h)
        low, high = -1, len(grid) - 1
    else:
        grid = _steps(operation.hours, 2 * operation.hours, step_h)
        low, high = -1, len(grid)
    top = high
    while high - low > 1:
        middle = (low + high) // 2
        other = search.at("hours", grid[middle], _with_hours(choice, grid[middle]))
        if other.status == "time-limit":
            raise _TooHard
        if _has_panel(other) or not other.packed:
            high = middle
        else:
            low = middle
    if high == len(grid) or (high == top and low < 0):
        return None
    other = choice if grid[high] == operation.hours else search.at("hours", grid[high], _with_hours(choice, grid[high]))
    if not other.packed:
        return None
    return Edge("panel hours", 1, grid[low] if low >= 0 else 0.0, grid[high], None, other.mass_g)


def _has_panel(choice: Choice) -> bool:
    return any(isinstance(choice.inventory.by_id[one.id], Panel) for one in choice.packed)


def _steps(start: float, stop: float, step: float) -> list[float]:
    """Multiples of a step beyond a start, up to a stop."""
    first = math.floor(start / step + 1e-9) + 1 if step > 0 else math.floor(start / -step - 1e-9)
    last = math.floor(stop / abs(step) + 1e-9)
    return [n * abs(step) for n in (range(first, last + 1) if step > 0 else range(first, last - 1, -1))]


def _with_hours(choice: Choice, hours: float) -> Question:
    return replace(choice.operation, hours=hours), choice.inventory


def _with_confidence(choice: Choice, share: float) -> Question:
    need = replace(choice.operation.need, confidence=Fraction(str(share)))
    return replace(choice.operation, need=need), choice.inventory


def _with_coldest(choice: Choice, degc: float) -> Question:
    site = replace(choice.operation.site, coldest_degc=degc)
    return replace(choice.operation, site=site), choice.inventory


def _with_load(choice: Choice, factor: float) -> Question:
    """Every load draws that many times as much, on the air and off it."""

    def more(load: Load) -> Load:
        return replace(
            load,
            idle_a=None if load.idle_a is None else factor * load.idle_a,
            idle_w=None if load.idle_w is None else factor * load.idle_w,
            full_a=None if load.full_a is None else factor * load.full_a,
            full_w=None if load.full_w is None else factor * load.full_w,
        )

    uses = tuple(
        use if use.wh_per_day is None else replace(use, wh_per_day=factor * use.wh_per_day)
        for use in choice.operation.loads
    )
    inventory = replace(choice.inventory, loads=tuple(more(load) for load in choice.inventory.loads))
    return replace(choice.operation, loads=uses), inventory
