"""One operation and one inventory as a plan: columns, rules, cases and objectives, for one bus class."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np

from kitopt.engine import Case, Objective, Plan
from kitopt.inventory.items import Inventory, Item
from kitopt.model.backup import backup_cases, lay_backups
from kitopt.model.bus import BusClass
from kitopt.model.kit import Column, KitModel, add_stock, case_under, lay_out, order_equal_units
from kitopt.model.panel_side import lay_panels
from kitopt.model.rules import apply_rules
from kitopt.model.station_side import lay_station, station_peak_a
from kitopt.operation.terms import Operation
from kitopt.pack.terms import Floats
from kitopt.sky.windows import Sky

UNPRICED_CENTS = 10**7
"""Stands in for a missing price where price is not what counts first, so that a known price wins."""


def build_model(operation: Operation, inventory: Inventory, bus: BusClass, sky: Sky) -> KitModel:
    """Columns, rows and rules of one kit on one bus class."""
    model = lay_out(operation, inventory, bus)
    amps = station_peak_a(operation, inventory, bus)
    lay_panels(model)
    lay_station(model, amps)
    order_equal_units(model)
    apply_rules(model, sky, amps)
    lay_backups(model)
    add_stock(model)
    return model


def cases_under(model: KitModel, sky: Sky, name: str = "base") -> tuple[Case, ...]:
    """Every case that a kit must pass under a sky: all in order first, then each loss."""
    base = case_under(model, sky, name)
    return (base, *backup_cases(model, base))


def build_plan(model: KitModel, cases: tuple[Case, ...]) -> Plan:
    """A plan of one kit, with the operation's objectives in their order."""
    order = ["mass", "price", "items"]
    order.remove(model.operation.least)
    names = [model.operation.least, *order]
    upper = model.upper()
    if names[0] == "price":
        # what has no price cannot be compared, so it is not chosen
        for j, column in enumerate(model.columns):
            if any(model.inventory.by_id[i].price_cents is None for i in column.uses):
                upper[j] = 0
    return Plan(
        lower=np.zeros(len(model.columns)),
        upper=upper,
        rows=tuple(model.rows),
        cases=cases,
        objectives=tuple(Objective(name, _weights(model, name), _fixed(model, name)) for name in names),
        tie_break=tuple(model.uses().values()),
        is_integer=np.array([c.is_integer for c in model.columns]),
    )


def _weights(model: KitModel, name: str) -> Floats:
    def cost(column: Column) -> float:
        total = 0
        for item_id, n in column.uses.items():
            item = model.inventory.by_id[item_id]
            price = UNPRICED_CENTS if item.price_cents is None else item.price_cents
            total += n * {"mass": item.mass_g, "price": price, "items": 1}[name]
        return float(total)

    return np.array([cost(c) for c in model.columns])


def _fixed(model: KitModel, name: str) -> int:
    inventory = model.inventory
    pieces = [(use.count, inventory.by_id[use.id]) for use in model.operation.loads]
    pieces += [(extra.count, extra) for extra in inventory.extras]
    getters: dict[str, Callable[[Item], int]] = {"mass": _grams, "price": _known_cents, "items": lambda _: 1}
    return sum(n * getters[name](item) for n, item in pieces)


def _grams(item: Item) -> int:
    return item.mass_g


def _known_cents(item: Item) -> int:
    return item.price_cents or 0
