"""Counts and joins: what a kit is made of, as columns of the integer program."""

from __future__ import annotations

import math
from collections.abc import Iterable, Mapping
from copy import copy
from dataclasses import dataclass, field, replace
from functools import cached_property

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.charging import Charging
from kitopt.engine.matrix import Matrix
from kitopt.engine.plan import Row
from kitopt.inventory.items import Battery, Controller, Converter, Inventory, Lead, Load, Panel
from kitopt.model.bus import BusClass
from kitopt.model.rulebook import RULES
from kitopt.model.wiring import Chain, Contacts, LeadStock, loop_ohm
from kitopt.operation.terms import Bound, Operation

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class Unit:
    """One physical controller; equal ones are numbered from 1."""

    controller: Controller
    number: int

    @property
    def name(self) -> str:
        """Its id, with a number where several equal ones are owned."""
        return self.controller.id if self.controller.count == 1 else f"{self.controller.id} #{self.number}"


@dataclass(frozen=True)
class Join:
    """Some identical panels, joined in parallel, on one controller unit."""

    panel: Panel
    n_joined: int
    unit: int
    chain: Chain | None = None
    joiner: Lead | None = None
    """A Y-joiner at the panels; None for one panel, or where each plugs into the next."""

    def ohm(self, contacts: Contacts) -> float:
        """Resistance from the panels to the controller, both conductors and every mated pair. [Ω]"""
        if self.chain is None:
            return 0.0
        return self.chain.ohm(contacts) + (0.0 if self.joiner is None else loop_ohm(self.joiner))


@dataclass(frozen=True)
class Link:
    """A chain on the station's side: from a battery, a controller or to a load."""

    source: str
    sink: str
    chain: Chain
    amps: float
    """Highest current that it must carry. [A]"""


@dataclass(frozen=True)
class Fed:
    """One converter, the chain to it from the station, and its loads, each with the chain to it."""

    converter: Converter
    before: Chain
    loads: tuple[tuple[Load, Chain], ...]

    def n_of(self, load_id: str) -> int:
        """How many of a load it feeds."""
        return sum(load.id == load_id for load, _ in self.loads)


STATION = "station"
"""Where batteries, controllers and loads meet."""
CHARGING = "charging bank"
"""Where controllers meet the bank that is not on the air, if banks charge apart."""


@dataclass(frozen=True)
class Strip:
    """A distribution strip or joiner on the station's bus, or at one controller's input."""

    lead: Lead
    unit: int | None = None
    at: str = STATION


@dataclass(frozen=True)
class Socket:
    """A load that lives on its own battery, charged at the USB socket of a panel that does nothing else."""

    load: Load
    panel: Panel | None
    """None where the battery is enough without any."""
    chain: Chain | None = None


Meaning = Battery | Unit | Join | Link | Fed | Socket | Strip | str
"""What a column counts; text for helpers such as "lfp-6 is packed"."""


@dataclass(frozen=True)
class Block:
    """A combination that is never chosen, and why.

    Attributes
    ----------
    items : tuple of str
        Ids of what must not come together; one id when the item itself is ruled out.
    """

    items: tuple[str, ...]
    rule: str
    text: str


@dataclass(frozen=True)
class Loss:
    """Something that may fail, and how counts then become a plant.

    Attributes
    ----------
    kind : {"battery", "controller", "panel", "lead"}
    what : str
        What is lost, by its name.
    within : int
        A column that is 0 where there is nothing to lose.
    gone : tuple of int
        Columns that drop out.
    less : tuple of (mark, column, share)
        Where a mark is 1, that share of one of a column drops out.
    """

    kind: str
    what: str
    within: int
    gone: tuple[int, ...] = ()
    less: tuple[tuple[int, int, float], ...] = ()


@dataclass(frozen=True)
class Column:
    """One count that is to be chosen.

    Attributes
    ----------
    uses : mapping of item id to int
        Pieces of stock that one of it takes.
    fuses : mapping of (holder, rating [A]) to int, or None
        Fuses that one of it takes, beside those that lie in the leads; None for those of its chains.
    """

    meaning: Meaning
    upper: float
    uses: Mapping[str, int] = field(default_factory=dict)
    is_integer: bool = True
    fuses: Mapping[tuple[str, float], int] | None = None


@dataclass
class KitModel:
    """The columns and rows of one kit on one bus class, still without weather."""

    operation: Operation
    inventory: Inventory
    bus: BusClass
    columns: list[Column] = field(default_factory=list)
    rows: list[Row] = field(default_factory=list)
    units: list[Unit] = field(default_factory=list)
    battery_columns: list[int] = field(default_factory=list)
    unit_columns: list[int] = field(default_factory=list)
    join_columns: list[int] = field(default_factory=list)
    fed_columns: list[int] = field(default_factory=list)
    socket_columns: list[int] = field(default_factory=list)
    blocks: list[Block] = field(default_factory=list)
    losses: list[Loss] = field(default_factory=list)
    charging: Charging | None = None
    _by_unit: dict[int, list[tuple[int, Join]]] = field(default_factory=dict)

    @cached_property
    def lead_stock(self) -> LeadStock:
        """The leads, with what they may carry."""
        return LeadStock.of(self.inventory)

    def copied(self, operation: Operation) -> KitModel:
        """The same for an operation, of which columns may be forbidden: what is known of its columns stays known."""
        model = copy(self)
        model.operation, model.columns, model.blocks = operation, list(self.columns), list(self.blocks)
        return model

    @property
    def contacts(self) -> Contacts:
        """Resistance and rating of the connector families."""
        return self.lead_stock.contacts

    @property
    def charged_at(self) -> str:
        """Where controllers meet what they charge."""
        return STATION if self.operation.n_banks == 1 else CHARGING

    def socket(self, column: int) -> Socket:
        """The load with a battery of its own that a column counts."""
        meaning = self.columns[column].meaning
        assert isinstance(meaning, Socket)
        return meaning

    def fed_loads(self) -> list[str]:
        """Ids of the loads that are not drawn from the bus itself, sorted."""
        found: set[str] = {self.socket(j).load.id for j in self.socket_columns}
        for j in self.fed_columns:
            fed = self.columns[j].meaning
            if isinstance(fed, Fed):
                found.update(load.id for load, _ in fed.loads)
        return sorted(found)

    def block(self, items: tuple[str, ...], rule: str, text: str) -> None:
        """Say once why some items cannot come together."""
        assert rule in RULES, rule
        block = Block(items, rule, text)
        if block not in self.blocks:
            self.blocks.append(block)

    def forbid(self, column: int) -> None:
        """Rule a column out."""
        old = self.columns[column]
        self.columns[column] = replace(old, upper=0.0)

    def refuse(self, text: str, rule: str) -> None:
        """Make every kit impossible: something that must be there cannot be."""
        never = self.add(Column(text, 0))
        self.rows.append(Row(((never, 1.0),), lower=1.0, rule=rule, text=text))

    def add(self, column: Column) -> int:
        """Add a column and return its index."""
        self.columns.append(column)
        return len(self.columns) - 1

    def add_join(self, column: Column) -> int:
        """Add the column of a join and return its index."""
        j, join = self.add(column), column.meaning
        assert isinstance(join, Join)
        self.join_columns.append(j)
        self._by_unit.setdefault(join.unit, []).append((j, join))
        return j

    def joins_of(self, unit: int) -> list[tuple[int, Join]]:
        """Columns of the joins onto one unit."""
        return self._by_unit.get(unit, [])

    def battery(self, column: int) -> Battery:
        """The battery that a column counts."""
        meaning = self.columns[column].meaning
        assert isinstance(meaning, Battery)
        return meaning

    def upper(self) -> Floats:
        """Upper bounds of the columns, shape (n_columns,)."""
        return np.array([c.upper for c in self.columns], dtype=np.float64)

    @property
    def forbids_all(self) -> bool:
        """Whether some rule alone tells that there is no kit: it asks for what cannot be had, or cannot be joined."""
        upper = self.upper()
        return any(row.is_out_of_reach(np.zeros_like(upper), upper) for row in self.rows)

    def batteries_of(self, counts: Floats) -> list[tuple[Battery, int]]:
        """The batteries that counts put into the kit, and how many of each."""
        return [(self.battery(j), round(counts[j])) for j in self.battery_columns if round(counts[j]) > 0]

    @cached_property
    def terms(self) -> dict[str, list[tuple[int, float]]]:
        """The columns that take an item, and how many each takes, by id; asked for when all columns are there."""
        found: dict[str, list[tuple[int, float]]] = {}
        for j, column in enumerate(self.columns):
            for item_id, n in column.uses.items():
                found.setdefault(item_id, []).append((j, float(n)))
        return found

    def pieces(self) -> Matrix:
        """How many panels of each type each column joins, shape (n_types, n_columns)."""
        row: dict[str, int] = {}
        pieces: dict[tuple[int, int], float] = {}
        for j in self.join_columns:
            join = self.columns[j].meaning
            assert isinstance(join, Join)
            pieces[row.setdefault(join.panel.id, len(row)), j] = float(join.n_joined)
        return Matrix.of((len(self.inventory.panels), len(self.columns)), pieces)


def lay_out(operation: Operation, inventory: Inventory, bus: BusClass) -> KitModel:
    """Columns for every battery and controller unit; joins are laid afterwards."""
    model = KitModel(operation, inventory, bus)
    for battery in bus.batteries:
        j = model.add(Column(battery, battery.count, {battery.id: 1}))
        model.battery_columns.append(j)
        if operation.n_banks > 1:
            _part_equally(model, j, battery)
    for controller in sorted(inventory.controllers, key=lambda c: c.id):
        for number in range(1, controller.count + 1):
            model.unit_columns.append(model.add(Column(Unit(controller, number), 1, {controller.id: 1})))
            model.units.append(Unit(controller, number))
    return model


def _part_equally(model: KitModel, column: int, battery: Battery) -> None:
    """As many of a battery in each bank."""
    n = model.operation.n_banks
    if battery.count < n:
        model.forbid(column)
        model.block((battery.id,), "banks", f"{battery.count} × {battery.id} owned; two equal banks take two of it")
        return
    each = model.add(Column(f"{battery.id} in each bank", battery.count // n))
    text = f"as many {battery.id} in each bank"
    model.rows.append(Row(((column, 1.0), (each, -float(n))), 0.0, 0.0, "banks", text))


def order_equal_units(model: KitModel) -> None:
    """Equal units are interchangeable: the first is used first, and carries the most panel."""
    for u in range(1, len(model.units)):
        if model.units[u].controller.id == model.units[u - 1].controller.id:
            pair = (model.unit_columns[u - 1], 1.0), (model.unit_columns[u], -1.0)
            model.rows.append(Row(pair, lower=0.0, rule="order", text="equal controllers in order"))
            watts = [(j, join.n_joined * join.panel.rated_w) for j, join in model.joins_of(u - 1)]
            watts += [(j, -join.n_joined * join.panel.rated_w) for j, join in model.joins_of(u)]
            if watts:
                model.rows.append(Row(tuple(watts), lower=0.0, rule="order", text="equal controllers in order"))


def add_mark(model: KitModel, columns: Iterable[int], mark: Column, rule: str, text: str) -> int:
    """Add a column that is 1 where any of some columns are chosen, and 0 where none are; returns its number."""
    used = [j for j in columns if model.columns[j].upper > 0]
    number = model.add(mark)
    most = sum(model.columns[j].upper for j in used)
    terms = tuple((j, 1.0) for j in used)
    model.rows.append(Row((*terms, (number, -most)), upper=0.0, rule=rule, text=text))
    model.rows.append(Row((*terms, (number, -1.0)), lower=0.0, rule=rule, text=text))
    return number


def add_stock(model: KitModel, *, is_part_of_a_bag: bool = False) -> None:
    """Bounds on the pieces of each item, by what is owned and what is forced; called when all columns are there.

    Parameters
    ----------
    is_part_of_a_bag : bool
        Whether the kit need not take all that is carried, so that nothing can be forced into it.
    """
    asked = {bound.id: bound for bound in model.operation.bounds}
    for item_id in sorted({*model.terms, *asked}):
        item = model.inventory.by_id.get(item_id)
        terms = tuple(model.terms.get(item_id, ()))
        owned = 0 if item is None else item.count
        bound = asked.get(item_id, Bound(item_id))
        least = 0 if is_part_of_a_bag else bound.least
        most = owned if bound.most is None else min(owned, bound.most)
        if bound.most is not None and most < owned:
            text = f"{item_id} is left at home, as asked" if most < 1 else f"{most} × {item_id} at most, as asked"
            if most < 1:
                model.block((item_id,), "asked", text)
        elif least:
            text = f"{least} × {item_id} at least, as asked"
        else:
            text = f"{owned} × {item_id} owned"
        rule = "stock" if bound == Bound(item_id) else "asked"
        if not terms:
            if least:
                model.refuse(text, rule)
        elif least or sum(n * model.columns[j].upper for j, n in terms) > most:
            model.rows.append(Row(terms, float(least) if least else -math.inf, float(most), rule, text))
