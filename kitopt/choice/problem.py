"""What is asked, in one description for every command: kits with their dates, the stock and what may be bought.

One kit for one operation is a problem of one kit at one date. A grab-kit is several kits that come out of
one bag; a season or a club's weekend is several kits on one stock, that share it while their dates overlap.
"""

from __future__ import annotations

import math
from collections import Counter
from collections.abc import Callable, Iterable, Mapping
from dataclasses import dataclass, field

from kitopt.budget import check_time
from kitopt.choice.laid import Dated, Layouts
from kitopt.engine import Case
from kitopt.inventory.items import Extra, Inventory, Item
from kitopt.model.bus import BusClass
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky, SkyOf

Change = Callable[[int, Case], Case]
"""Changes a case of a kit, by the kit's number."""

LEAST = ("mass", "price", "items")
"""What can be made small, each next among the best of those before."""


def in_order(least: str) -> tuple[str, ...]:
    """What counts first, then the others."""
    return (least, *(name for name in LEAST if name != least))


@dataclass(frozen=True)
class Wanted:
    """One kit that is wanted: an operation, or the same at several dates, all of which it must pass."""

    dates: tuple[Operation, ...]

    @property
    def operation(self) -> Operation:
        """The first date: its loads and limits are those of all."""
        return self.dates[0]


@dataclass(eq=False)
class Problem:
    """Kits that are wanted of one stock.

    Attributes
    ----------
    stock : Inventory
        Owned and offered together; each item's count is both.
    at_once : tuple of tuple of int
        Sets of kits that are needed at the same time, by number: what they take together is there once.
    is_one_bag : bool
        Whether all kits come out of one bag: an item counts as often as the kit with most of it takes it, and
        all are of one bus class, whose weakest battery judges each of them.
    offered : mapping of item id to int
        How many of it could be bought; nothing when only owned things count.
    prices : mapping of item id to int
        What one that is offered costs. [1/100]
    """

    wanted: tuple[Wanted, ...]
    stock: Inventory
    sky_of: SkyOf
    at_once: tuple[tuple[int, ...], ...] = ()
    is_one_bag: bool = False
    offered: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, int] = field(default_factory=dict)
    extras: tuple[Extra, ...] = ()
    """What is packed beside the kits, once for all of them, and is in the stock of none."""
    layouts: Layouts = field(default_factory=Layouts, repr=False)
    """Its kits laid out, and those of other problems that may be laid out alike."""
    _skies: dict[int, tuple[Sky, ...]] = field(default_factory=dict)

    def skies(self, o: int) -> tuple[Sky, ...]:
        """The windows of one kit at each of its dates, made once.

        Raises
        ------
        OutOfTime
        """
        if o not in self._skies:
            made = []
            for date in self.wanted[o].dates:
                check_time()
                made.append(self.sky_of(date))
            self._skies[o] = tuple(made)
        return self._skies[o]

    def dated(self, o: int, stock: Inventory, bus: BusClass) -> Dated:
        """One kit on a bus class of some stock, to be laid out.

        Raises
        ------
        OutOfTime
        """
        return Dated(self.wanted[o].dates, stock, bus, self.skies(o), self.is_one_bag)

    def longest_first(self, numbers: Iterable[int]) -> list[int]:
        """Kits in the order in which they take time to find, as far as it is known before."""
        return sorted(numbers, key=lambda o: -self.wanted[o].operation.hours)

    def owned(self, item_id: str) -> int:
        """How many of an item are owned."""
        return self.stock.by_id[item_id].count - self.offered.get(item_id, 0)

    def beyond_owned(self, used: Mapping[int, Mapping[str, int]]) -> dict[str, int]:
        """What kits that are needed at the same time or not take together, beyond what is owned; by what each takes."""
        needs: dict[str, int] = {}
        for together in self.at_once:
            total: Counter[str] = Counter()
            for o in together:
                total.update(used.get(o, {}))
            needs = most_of_each(needs, {i: n - self.owned(i) for i, n in total.items()})
        return {i: n for i, n in sorted(needs.items()) if n > 0}

    def with_purchases(self, allowed: Mapping[str, int]) -> Inventory:
        """What is owned, and so many of each offered item; what there is none of is left out."""
        if not self.offered:
            return self.stock

        def count_of(item: Item) -> int | None:
            n = self.owned(item.id) + min(allowed.get(item.id, 0), self.offered.get(item.id, 0))
            return n if n > 0 or item.id not in self.offered else None

        return self.stock.counting(count_of)


def cost_of(bought: Mapping[str, int], prices: Mapping[str, int]) -> int:
    """What purchases cost together. [1/100]"""
    return sum(n * prices[i] for i, n in bought.items())


def n_within(most: float, price: int, n: int) -> int:
    """How many of some pieces of one price a sum buys."""
    return n if price == 0 or math.isinf(most) else min(n, int(most // price))


def is_within(part: Mapping[str, int], whole: Mapping[str, int]) -> bool:
    """Whether there is as much of each in the whole."""
    return all(whole.get(i, 0) >= n for i, n in part.items())


def most_of_each(one: Mapping[str, int], other: Mapping[str, int]) -> dict[str, int]:
    """The larger number of each, since what is bought for one outing serves another after it."""
    return {i: max(one.get(i, 0), other.get(i, 0)) for i in sorted({*one, *other})}
