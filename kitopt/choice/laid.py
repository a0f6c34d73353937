"""Kits laid out on a bus class under their skies: columns, rows, rules, and the cases that they must pass.

What is asked with another confidence, or for what is best otherwise, is laid out alike: so it is done once.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Iterator, Sequence
from dataclasses import dataclass, field, replace
from fractions import Fraction
from functools import cached_property, partial
from operator import is_

import numpy as np

from kitopt.budget import check_time
from kitopt.choice.side_by_side import SideBySide
from kitopt.engine import Case, Objective, Trial
from kitopt.engine.joint import simulate
from kitopt.engine.solver import solve
from kitopt.inventory.items import Inventory
from kitopt.model.backup import backup_cases, lay_backups
from kitopt.model.bus import BusClass
from kitopt.model.case import case_under, of_all_stores, whole_case
from kitopt.model.feeding import station_fuse_a, station_peak_a
from kitopt.model.fuse_stock import add_fuse_stock
from kitopt.model.kit import KitModel, add_stock, lay_out, order_equal_units
from kitopt.model.own_battery import lay_sockets, own_batteries
from kitopt.model.panel_side import lay_extras, lay_panels
from kitopt.model.rules import apply_rules
from kitopt.model.station_side import lay_station
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky, picked

_MOST_KEPT, _MOST_BYTES, _MOST_MODELS = 6, 80_000_000, 36
"""How many layouts are kept, and what they may take together, and how many models without any weather; those that were
asked for longest ago go first."""


@dataclass(frozen=True, eq=False)
class Laid:
    """One kit on one bus class at each of its dates.

    Attributes
    ----------
    asked : tuple
        What it was laid out for: dates without what only tells how sure or how good the kit must be, stock, class,
        and whether it comes out of a bag.
    skies : tuple of Sky
        One a date.
    hardest : int
        The date that the model is of.
    cases : tuple of tuple of Case
        By date.
    """

    asked: tuple[object, ...]
    skies: tuple[Sky, ...]
    model: KitModel
    hardest: int
    cases: tuple[tuple[Case, ...], ...]

    def is_for(self, asked: tuple[object, ...], skies: Sequence[Sky]) -> bool:
        """Whether it was laid out for that."""
        return len(skies) == len(self.skies) and all(map(is_, skies, self.skies)) and asked == self.asked

    def at(self, dates: Sequence[Operation]) -> Laid:
        """The same with how sure and how good a kit must be at each date."""
        model = self.model.copied(dates[self.hardest])
        cases = tuple(
            tuple(replace(case, confidence=date.need.confidence) for case in some)
            for date, some in zip(dates, self.cases, strict=True)
        )
        return replace(self, model=model, cases=cases)

    def arrays(self) -> Iterator[np.ndarray]:
        """Most of what it takes in memory, of which it shares with others what is of the same sky."""
        for one in (part for some in self.cases for case in some[:1] for part in case.parts or (case,)):
            yield from one.conditions.shapes


@dataclass(frozen=True, eq=False)
class Dated:
    """One kit that is to be laid out: its dates with the sky of each, on one bus class of a stock."""

    dates: Sequence[Operation]
    inventory: Inventory
    bus: BusClass
    skies: Sequence[Sky]
    is_part_of_a_bag: bool = False

    @cached_property
    def hardest(self) -> int:
        """The date with the highest peak."""
        return int(np.argmax([station_peak_a(date, self.inventory, self.bus) for date in self.dates]))


@dataclass(frozen=True, eq=False)
class _Ruled:
    """Columns, rows and rules of one kit on one bus class, good for all weather of which the rules ask the same."""

    asked: tuple[object, ...]
    model: KitModel

    @cached_property
    def allows_any(self) -> bool:
        """Whether there are any counts at all, whole or not, that the rules allow."""
        if self.model.forbids_all:
            return False
        side = SideBySide()
        side.add_kit(0, self.model, (), "")
        nothing = Objective("nothing", side.weights(()))
        program = side.plan([nothing], (), (), ()).program(nothing.weights)
        return solve(program, relaxed=True).status != "infeasible"


@dataclass(eq=False)
class Layouts:
    """What was laid out, to be taken again where the same is asked."""

    _known: list[Laid] = field(default_factory=list)
    _ruled: list[_Ruled] = field(default_factory=list)

    def of(self, kit: Dated) -> Laid:
        """One kit for several dates: laid out for the highest peak and the coldest air.

        Raises
        ------
        OutOfTime
        """
        dates, skies = kit.dates, kit.skies
        asked = (tuple(map(_as_laid, dates)), kit.inventory, kit.bus, kit.is_part_of_a_bag)
        found = next((one for one in self._known if one.is_for(asked, skies)), None)
        if found is None:
            ruled = self._ruled_by(kit).model
            # what a load's own battery does in a spell is written into the model of that weather alone
            model = ruled.copied(dates[kit.hardest])
            for date, sky in zip(dates, skies, strict=True):
                own_batteries(at_date(model, date), sky)
            cases = tuple(
                cases_under(at_date(model, date), sky, f"date {d}")
                for d, (date, sky) in enumerate(zip(dates, skies, strict=True))
            )
            found = Laid(asked, tuple(skies), model, kit.hardest, cases)
        self._known = [*[one for one in self._known if one is not found][-_MOST_KEPT + 1 :], found]
        while len(self._known) > 1 and self._n_bytes() > _MOST_BYTES:
            del self._known[0]
        return found.at(dates)

    def allow_any(self, kit: Dated) -> bool:
        """Whether the rules alone allow any kit; where they do, it may still be that none does what is asked."""
        return self._ruled_by(kit).allows_any

    def _ruled_by(self, kit: Dated) -> _Ruled:
        inventory, bus, is_part = kit.inventory, kit.bus, kit.is_part_of_a_bag
        date, sky = kit.dates[kit.hardest], min(kit.skies, key=lambda sky: sky.coldest_degc)
        # of the hours and the weather the rules ask no more than this
        peaks = tuple(station_peak_a(one, inventory, bus) for one in (date, date.running()))
        fuse_a, asked_of_sky = station_fuse_a(date, inventory, bus), (sky.coldest_degc, sky.coldest_lit_degc)
        asked = (replace(_as_laid(date), hours=1.0), inventory, bus, is_part, peaks, fuse_a, asked_of_sky)
        found = next((one for one in self._ruled if one.asked == asked), None)
        if found is None:
            found = _Ruled(asked, build_model(date, inventory, bus, sky, is_part_of_a_bag=is_part))
        self._ruled = [*[one for one in self._ruled if one is not found][-_MOST_MODELS + 1 :], found]
        return found

    def _n_bytes(self) -> int:
        return sum({id(one): one.nbytes for laid in self._known for one in laid.arrays()}.values())


def _as_laid(date: Operation) -> Operation:
    return replace(date, least="mass", need=replace(date.need, confidence=Fraction(1)))


def at_date(model: KitModel, date: Operation) -> KitModel:
    """A model at another date."""
    return model if date is model.operation else replace(model, operation=date)


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
