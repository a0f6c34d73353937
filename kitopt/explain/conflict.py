"""Why nothing that is owned fits together, whatever the weather: a chain of facts, none of which can be spared.

The facts are the rules of a plan, the blocks that keep items out, and the stock. A set of facts conflicts when
no counts obey all of them; it is minimal when without any one of them some counts do.

References
----------
.. [1] U. Junker, "QuickXplain: preferred explanations and relaxations for over-constrained problems," AAAI, 2004.
"""

from __future__ import annotations

from collections.abc import Callable, Sequence
from dataclasses import dataclass
from typing import TypeVar

from kitopt.choice import Choice, Solved
from kitopt.engine import Row
from kitopt.engine.solver import Program, solve
from kitopt.inventory.items import Battery
from kitopt.model.bus import BusClass
from kitopt.model.kit import Column, Join, KitModel, Unit
from kitopt.model.rules import fixed_mass_g

F = TypeVar("F")

_PLENTY = 1000
NEEDS_BATTERY = "a kit needs a battery"


@dataclass(frozen=True)
class Fact:
    """One thing that holds.

    Attributes
    ----------
    rows : tuple of Row
        What it demands of the counts.
    closed : tuple of int
        Columns that it keeps at none.
    limited : tuple of int
        Columns of which no more can be had than is owned, where that is a fact of its own.
    """

    rule: str
    text: str
    rows: tuple[Row, ...] = ()
    closed: tuple[int, ...] = ()
    limited: tuple[int, ...] = ()


@dataclass(frozen=True)
class Conflict:
    """Facts that no kit of a bus class can obey together; each is needed for that."""

    bus: BusClass
    facts: tuple[Fact, ...]


def conflicts(choice: Choice) -> tuple[Conflict, ...]:
    """One minimal conflict for each bus class of which nothing fits together; empty where something does."""
    found = []
    for solved in choice.solved:
        facts = conflict_of(solved)
        if not facts:
            return ()
        found.append(Conflict(solved.model.bus, facts))
    return tuple(found)


def conflict_of(solved: Solved) -> tuple[Fact, ...]:
    """A minimal conflict among the facts of one class, in the order in which they were stated; empty without one.

    Of several circuits none is looked for.
    """
    if len(solved.kits) > 1:
        return ()
    known = facts_of(solved)

    def is_conflict(facts: Sequence[Fact]) -> bool:
        return not is_possible(solved.model, facts)

    if not is_conflict(known):
        return ()
    core = minimal(known, is_conflict)
    return tuple(fact for fact in known if fact in core)


def minimal(facts: Sequence[F], is_conflict: Callable[[Sequence[F]], bool]) -> list[F]:
    """A smallest-in-itself part of conflicting facts that still conflicts, by halving."""

    def among(base: list[F], is_new: bool, some: list[F]) -> list[F]:
        if is_new and is_conflict(base):
            return []
        if len(some) == 1:
            return some
        half = len(some) // 2
        first, second = some[:half], some[half:]
        from_second = among([*base, *first], bool(first), second)
        from_first = among([*base, *from_second], bool(from_second), first)
        return [*from_first, *from_second]

    return among([], False, list(facts)) if facts else []


def facts_of(solved: Solved) -> list[Fact]:
    """Everything that keeps counts of a class from being chosen freely, weather apart."""
    model = solved.model
    by_text: dict[tuple[str, str], list[Row]] = {}
    for row in solved.plan.rows:
        # which of several equal batteries or controllers is meant is of no interest
        text = NEEDS_BATTERY if row.rule == "bus-class" else row.text
        if row.rule == "mass-limit" and model.operation.mass_limit_g is not None:
            text = (
                f"the kit may weigh {model.operation.mass_limit_g:,} g, "
                f"and loads and extras weigh {fixed_mass_g(model):,} g of that"
            )
        by_text.setdefault((row.rule, text), []).append(row)
    # a block that closes no column tells a row in the owner's numbers
    closing = {j for columns in facts_closing(model) for j in columns}
    spoken = [b for b in model.blocks if not any(_items(model, model.columns[j]) == b.items for j in closing)]
    in_numbers = {b.rule: b.text for b in spoken if sum(other.rule == b.rule for other in spoken) == 1}
    facts = [
        Fact(rule, in_numbers.get(rule, text) if _n_texts(by_text, rule) == 1 else text, rows=tuple(rows))
        for (rule, text), rows in by_text.items()
    ]
    facts += _owned_batteries(model)
    told: dict[tuple[int, ...], None] = {}
    for block in model.blocks:
        closed = tuple(
            j for j, column in enumerate(model.columns) if column.upper == 0 and _items(model, column) == block.items
        )
        if closed and closed not in told:
            told[closed] = None
            facts.append(Fact(block.rule, block.text, closed=closed))
    return facts


def _owned_batteries(model: KitModel) -> list[Fact]:
    """Side by side, what all owned batteries give together is a fact; in turn, only what each gives."""
    if model.operation.batteries != "parallel":
        return []
    batteries = [model.battery(j) for j in model.battery_columns]
    given_a = sum(b.count * b.max_discharge_a for b in batteries)
    text = f"all batteries of {model.bus.name} that are owned give {given_a:.3g} A together"
    return [Fact("stock", text, limited=tuple(model.battery_columns))]


def _n_texts(by_text: dict[tuple[str, str], list[Row]], rule: str) -> int:
    """How many different things the rows of a rule say."""
    return sum(1 for known, _ in by_text if known == rule)


def is_possible(model: KitModel, facts: Sequence[Fact]) -> bool:
    """Whether some whole counts obey all of some facts; what no fact speaks of is free."""
    closed = {j for fact in facts for j in fact.closed}
    spoken = {j for columns in facts_closing(model) for j in columns}
    limited = {j for fact in facts for j in fact.limited}
    is_plenty = model.operation.batteries == "parallel"
    program = Program()
    for j, column in enumerate(model.columns):
        upper = column.upper if j not in spoken else float(_open(model, column))
        if is_plenty and isinstance(column.meaning, Battery) and j not in limited:
            upper *= _PLENTY
        program.add_column(0.0, 0.0 if j in closed else upper, integer=column.is_integer)
    for fact in facts:
        for row in fact.rows:
            program.add_row(row.terms, row.lower, row.upper)
    return solve(program, confirm=False).status != "infeasible"


def facts_closing(model: KitModel) -> list[tuple[int, ...]]:
    """The columns that each block keeps at none."""
    found = []
    for block in model.blocks:
        columns = [j for j, c in enumerate(model.columns) if c.upper == 0 and _items(model, c) == block.items]
        if columns:
            found.append(tuple(columns))
    return found


def _items(model: KitModel, column: Column) -> tuple[str, ...]:
    """What a block of this column names."""
    meaning = column.meaning
    if isinstance(meaning, Battery):
        return (meaning.id,)
    if isinstance(meaning, Unit):
        return (meaning.controller.id,)
    if isinstance(meaning, Join):
        return (meaning.panel.id, model.units[meaning.unit].controller.id)
    return ()


def _open(model: KitModel, column: Column) -> int:
    """How many there could be of a column that a block closes."""
    meaning = column.meaning
    if isinstance(meaning, Battery):
        return meaning.count
    if isinstance(meaning, Join):
        return meaning.panel.count // meaning.n_joined
    return 1
