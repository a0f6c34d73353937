"""One thing of a question put otherwise, as a small value: each sort of change is written here once."""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import Any, Literal

import numpy as np

from kitopt.choice import Solved
from kitopt.engine import Row
from kitopt.inventory.columns import shown
from kitopt.inventory.items import Inventory, Item, Load, has_no_price, kind_of
from kitopt.operation.terms import LoadUse, Operation

Family = Literal[
    "hours",
    "confidence",
    "coldest",
    "load",
    "least",
    "mass limit",
    "parallel",
    "circuit",
    "quiet",
    "load off",
    "radio",
    "transmit",
    "power",
    "aim",
    "charge",
    "lead",
    "one more",
    "guess",
    "at most",
    "at least",
    "price cap",
]


@dataclass(frozen=True)
class Change:
    """A change of one thing.

    Attributes
    ----------
    family : str
        What kind of change it is.
    id : str
        The item that it concerns; empty where it concerns none.
    value : float, int, Fraction or str
        What it is changed to: hours, a share, a factor, °C, a count, a price [1/100], an id or two connectors; of
        a guess the column and its value.
    place : int
        Of a load that is used otherwise, among those of the operation.
    thing : LoadUse, Item or None
        How that load is used, None for not at all; or what there is one more of.
    """

    family: Family
    id: str = ""
    value: Any = ""
    place: int = -1
    thing: LoadUse | Item | None = None

    @property
    def is_rule(self) -> bool:
        """Whether it only forbids kits: what is learned without it then still holds."""
        return self.family in _ROWS

    @property
    def adds(self) -> bool:
        """Whether it only adds to what is owned."""
        return _ON_INVENTORY.get(self.family) is _one_more

    @property
    def text(self) -> str:
        """The value as it is written, such as "36" hours or "90" percent."""
        if isinstance(self.value, tuple):
            return " ".join(shown(one) for one in self.value)
        value = 100 * Fraction(str(self.value)) if self.family == "confidence" else self.value
        return value if isinstance(value, str) else f"{float(value):g}"

    def operation(self, asked: Operation) -> Operation:
        """The operation as it reads then."""
        way = _ON_OPERATION.get(self.family)
        return asked if way is None else way(asked, self)

    def inventory(self, owned: Inventory) -> Inventory:
        """What is owned then."""
        way = _ON_INVENTORY.get(self.family)
        return owned if way is None else way(owned, self)

    def rows(self, solved: Solved) -> Sequence[Row] | None:
        """What a rule adds to the plan of a class; None where the class has no kit that keeps it."""
        return _ROWS[self.family](solved, self)


@dataclass(frozen=True)
class Question:
    """What is asked: the best kit for an operation from an inventory, under some rules more."""

    operation: Operation
    inventory: Inventory
    rules: tuple[Change, ...] = ()

    def under(self, *changes: Change) -> Question:
        """The question with some things changed."""
        operation, inventory = self.operation, self.inventory
        for change in changes:
            operation, inventory = change.operation(operation), change.inventory(inventory)
        return Question(operation, inventory, (*self.rules, *(change for change in changes if change.is_rule)))


def at_most(item_id: str, most: int) -> Change:
    """No more than some of an item are packed."""
    return Change("at most", item_id, most)


def at_least(item_id: str, least: int) -> Change:
    """Some of an item are packed."""
    return Change("at least", item_id, least)


# -- of the operation --------------------------------------------------------------------


def _surer(asked: Operation, change: Change) -> Operation:
    return replace(asked, need=replace(asked.need, confidence=Fraction(str(change.value))))


def _used_otherwise(asked: Operation, change: Change) -> Operation:
    assert change.thing is None or isinstance(change.thing, LoadUse)
    uses = [change.thing if i == change.place else use for i, use in enumerate(asked.loads)]
    return replace(asked, loads=tuple(use for use in uses if use is not None))


def _drawing_more(asked: Operation, change: Change) -> Operation:
    return replace(asked, loads=tuple(_times(use, change.value, "wh_per_day") for use in asked.loads))


_ON_OPERATION: dict[str, Callable[[Operation, Change], Operation]] = {
    "hours": lambda asked, change: replace(asked, hours=float(change.value)),
    "confidence": _surer,
    "coldest": lambda asked, change: replace(asked, site=replace(asked.site, coldest_degc=change.value)),
    "least": lambda asked, change: replace(asked, least=change.value),
    "mass limit": lambda asked, _: replace(asked, mass_limit_g=None),
    "parallel": lambda asked, _: replace(asked, batteries="parallel"),
    "load": _drawing_more,
    "aim": lambda asked, change: replace(asked, aim=replace(asked.aim, mode=change.value)),
    "charge": lambda asked, change: replace(asked, need=replace(asked.need, start_charge_share=change.value)),
    **dict.fromkeys(("circuit", "quiet", "load off", "radio", "transmit", "power"), _used_otherwise),
}


# -- of the inventory --------------------------------------------------------------------


def _loads_drawing_more(owned: Inventory, change: Change) -> Inventory:
    """Every load draws that many times as much, on the air and off it."""
    names = ("idle_a", "idle_w", "full_a", "full_w")
    loads: tuple[Load, ...] = tuple(_times(load, change.value, *names) for load in owned.loads)
    return replace(owned, loads=loads)


def _times(thing: Any, factor: float, *names: str) -> Any:
    """A thing with some of its values so many times as large, where it has them."""
    known = {name: getattr(thing, name) for name in names}
    return replace(thing, **{name: factor * value for name, value in known.items() if value is not None})


def _one_more(owned: Inventory, change: Change) -> Inventory:
    """One piece more of an item, owned before or not."""
    item = change.thing
    assert isinstance(item, Item)
    kind = kind_of(item)
    mine = {one.id: one for one in getattr(owned, kind)}
    known = mine.get(item.id)
    mine[item.id] = replace(item, count=1) if known is None else replace(known, count=known.count + 1)
    some: dict[str, Any] = {kind: tuple(mine[item_id] for item_id in sorted(mine))}
    return replace(owned, **some)


def _known_otherwise(owned: Inventory, change: Change) -> Inventory:
    """One value of an item, or of a connector family, as it may prove to be."""
    column, value = change.value
    if column == "contact_mohm":
        return replace(owned, contact_ohm={**owned.contact_ohm, change.id: value / 1000.0})
    item = owned.by_id.get(change.id)
    if item is None:
        return replace(owned, contact_a={**owned.contact_a, change.id: value})
    kind = kind_of(item)
    some: dict[str, Any] = {
        kind: tuple(replace(one, **{column: value}) if one.id == item.id else one for one in getattr(owned, kind))
    }
    return replace(owned, **some)


_ON_INVENTORY: dict[str, Callable[[Inventory, Change], Inventory]] = {
    "load": _loads_drawing_more,
    "lead": _one_more,
    "one more": _one_more,
    "guess": _known_otherwise,
}


# -- of the kits that are allowed --------------------------------------------------------


def _no_more(solved: Solved, change: Change) -> Sequence[Row]:
    return solved.at_most(change.id, change.value)


def _no_less(solved: Solved, change: Change) -> Sequence[Row] | None:
    terms = solved.uses(change.id)
    text = f"at least {change.value} × {change.id}"
    return [Row(terms, lower=float(change.value), rule="asked", text=text)] if terms else None


def _priced_at_most(solved: Solved, change: Change) -> Sequence[Row]:
    """Nothing of unknown price, and all together no dearer than that. [1/100]"""
    owned = solved.program.stock.by_id
    items = sorted({i for kit in solved.kits for i in kit.items()})
    unknown = {j for i in items if has_no_price(owned[i]) for j, _ in solved.uses(i)}
    terms = tuple((j, 1.0) for j in sorted(unknown))
    rows = [Row(terms, upper=0.0, rule="asked", text="nothing of unknown price")] if unknown else []
    if math.isfinite(change.value):
        price = next(one for one in solved.plan.objectives if one.name == "price")
        # in whole currency, which keeps coefficients near the others
        priced = ((int(j), float(price.weights[j]) / 100) for j in np.flatnonzero(price.weights) if j not in unknown)
        upper = (change.value - price.fixed) / 100 + 1e-6
        rows.append(Row(tuple(priced), upper=upper, rule="asked", text=f"at most {change.value / 100:.2f}"))
    return rows


_ROWS: dict[str, Callable[[Solved, Change], Sequence[Row] | None]] = {
    "at most": _no_more,
    "at least": _no_less,
    "price cap": _priced_at_most,
}
