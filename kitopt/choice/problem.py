"""What is asked, in one description for every command: kits with their dates, the stock and what may be bought.

One kit for one operation is a problem of one kit at one date. A grab-kit is several kits that come out of
one bag; a season or a club's weekend is several kits on one stock, that share it while their dates overlap.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import partial

import numpy as np

from kitopt.budget import check_time
from kitopt.engine import Case, Trial
from kitopt.engine.joint import simulate
from kitopt.inventory.items import CHOSEN_KINDS, Extra, Inventory
from kitopt.model.backup import backup_cases, lay_backups
from kitopt.model.bus import BusClass
from kitopt.model.feeding import station_peak_a
from kitopt.model.kit import (
    KitModel,
    add_fuse_stock,
    add_stock,
    case_under,
    lay_out,
    of_all_stores,
    order_equal_units,
    whole_case,
)
from kitopt.model.panel_side import lay_extras, lay_panels, lay_sockets
from kitopt.model.rules import apply_rules
from kitopt.model.station_side import lay_station
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky, SkyOf, picked

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
    is_tried : bool
        Whether each kit must also survive the many other windows of its weather.
    """

    wanted: tuple[Wanted, ...]
    stock: Inventory
    sky_of: SkyOf
    at_once: tuple[tuple[int, ...], ...] = ()
    is_one_bag: bool = False
    offered: Mapping[str, int] = field(default_factory=dict)
    prices: Mapping[str, int] = field(default_factory=dict)
    is_tried: bool = True
    extras: tuple[Extra, ...] = ()
    """What is packed beside the kits, once for all of them, and is in the stock of none."""
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
                sky = self.sky_of(date)
                made.append(sky if self.is_tried else replace(sky, others=None))
            self._skies[o] = tuple(made)
        return self._skies[o]

    def owned(self, item_id: str) -> int:
        """How many of an item are owned."""
        return self.stock.by_id[item_id].count - self.offered.get(item_id, 0)

    def with_purchases(self, allowed: Mapping[str, int]) -> Inventory:
        """What is owned, and so many of each offered item; what there is none of is left out."""
        if not self.offered:
            return self.stock

        def some(items: tuple[object, ...]) -> tuple[object, ...]:
            kept = []
            for item in items:
                n = self.owned(item.id) + min(allowed.get(item.id, 0), self.offered.get(item.id, 0))  # type: ignore[attr-defined]
                if n > 0 or item.id not in self.offered:  # type: ignore[attr-defined]
                    kept.append(replace(item, count=n))  # type: ignore[type-var]
            return tuple(kept)

        return replace(self.stock, **{kind: some(getattr(self.stock, kind)) for kind in CHOSEN_KINDS})  # type: ignore[arg-type]


def build_model(
    operation: Operation, inventory: Inventory, bus: BusClass, sky: Sky, *, is_part_of_a_bag: bool = False
) -> KitModel:
    """Columns, rows and rules of one kit on one bus class.

    Raises
    ------
    OutOfTime
    """
    model = lay_out(operation, inventory, bus)
    amps = station_peak_a(operation, inventory, bus)
    lay_panels(model)
    lay_sockets(model)
    lay_extras(model)
    lay_station(model, amps)
    check_time()
    order_equal_units(model)
    apply_rules(model, sky, amps)
    check_time()
    lay_backups(model)
    add_stock(model, is_part_of_a_bag=is_part_of_a_bag)
    add_fuse_stock(model)
    return model


def model_over(
    dates: Sequence[Operation],
    inventory: Inventory,
    bus: BusClass,
    skies: Sequence[Sky],
    *,
    is_part_of_a_bag: bool = False,
) -> KitModel:
    """The model of one kit for several dates: laid out for the highest peak and the coldest air."""
    peaks = [station_peak_a(date, inventory, bus) for date in dates]
    coldest = min(skies, key=lambda sky: sky.coldest_degc)
    hardest = dates[int(np.argmax(peaks))]
    return build_model(hardest, inventory, bus, coldest, is_part_of_a_bag=is_part_of_a_bag)


def cases_under(model: KitModel, sky: Sky, name: str = "base", *, counts: np.ndarray | None = None) -> tuple[Case, ...]:
    """Every case that a kit must pass under a sky: all in order first, then each loss.

    Given `counts`, the cases are good for these alone.
    """
    base = whole_case(model, sky, name, counts=counts)
    return tuple(of_all_stores(model, sky, case, counts=counts) for case in (base, *backup_cases(model, base)))


def trial_under(
    model: KitModel, sky: Sky, name: str, change: Callable[[Case], Case] = lambda case: case
) -> Trial | None:
    """The many other windows that a kit must survive, with one standard error to spare; None where there are none.

    What is lost and backed up is not tried by them: they are about the weather.
    """
    others = sky.others
    if others is None:
        return None
    known: dict[bytes, np.ndarray] = {}

    def margins_wh(counts: np.ndarray) -> np.ndarray:
        key = counts.tobytes()
        if key not in known:
            known.clear()
            parts = []
            for part in others():
                check_time()
                case = change(case_under(model, part, name, counts=counts))
                parts.append(simulate(case.conditions, case.plant(counts)).margin_wh)
            known[key] = np.concatenate(parts)
        return known[key]

    def case_of(windows: np.ndarray) -> Case:
        return change(case_under(model, picked(others(), windows), name))

    return Trial(partial(n_needed_of, model.operation.need.confidence), margins_wh, case_of)


def n_needed_of(confidence: Fraction, n_windows: int) -> int:
    """How many of many windows a kit must survive: its share, and one standard error of it, never more than all.

    The error is that of a share that is counted over independent windows, the square root of q (1 - q) / n.
    """
    error = math.sqrt(n_windows * confidence * (1 - confidence))
    return min(n_windows, math.ceil(confidence * n_windows + error))
