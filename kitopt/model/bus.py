"""Bus classes: the batteries that may stand in for one another on one bus.

One kit has one chemistry and one nominal voltage. Where batteries of a class differ in charge
efficiency or in the cold that they may be charged in, a kit is judged by its weakest: each
combination of thresholds that some battery sets is a class of its own, with all batteries that
are at least as good. The best over the classes is then exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery, Chemistry

_SHARES: dict[Chemistry, tuple[float, float, float]] = {
    "lifepo4": (0.70, 0.85, 1.0),
    "li-ion": (0.70, 0.85, 1.0),
    "agm": (0.60, 0.75, 1.0),
}
"""Share of the capacity at -20, 0 and 20 °C; from trade pages that disagree, so rough."""

LOWEST_LOADED_V: dict[Chemistry, float] = {"lifepo4": 12.4, "agm": 11.6, "li-ion": 13.0}
"""Voltage of a nearly empty battery at key-down. From memory. [V]"""

SELF_DISCHARGE_PER_MONTH: dict[Chemistry, float] = {"lifepo4": 0.03, "agm": 0.03, "li-ion": 0.03}
"""Share of the measured capacity lost in 30 days; common trade figures."""


_FULL_V: dict[Chemistry, tuple[float, float]] = {"lifepo4": (14.6, 12.8), "agm": (14.4, 12.0), "li-ion": (16.8, 14.4)}
"""Voltage of a full battery, and the nominal voltage that it belongs to (four and six cells in series). [V]"""


@dataclass(frozen=True)
class BusClass:
    """What the judge may assume of every battery in a kit."""

    chemistry: Chemistry
    nominal_v: float
    charge_efficiency: float
    discharge_efficiency: float
    lowest_charging_degc: float
    batteries: tuple[Battery, ...]

    @property
    def name(self) -> str:
        """In words, such as "lifepo4 12.8 V"."""
        return f"{self.chemistry} {self.nominal_v:g} V"


def full_v(bus: BusClass) -> float:
    """Voltage of a full battery of the class. [V]"""
    volts, nominal_v = _FULL_V[bus.chemistry]
    return volts * bus.nominal_v / nominal_v


def lowest_loaded_v(bus: BusClass) -> float:
    """Voltage of a nearly empty battery of the class at key-down. [V]"""
    return LOWEST_LOADED_V[bus.chemistry] * bus.nominal_v / _FULL_V[bus.chemistry][1]


def bus_classes(batteries: Iterable[Battery]) -> list[BusClass]:
    """All classes: by stock, then the kindest thresholds first, since they most often hold the best kit."""
    owned = sorted((b for b in batteries if b.count > 0), key=lambda b: b.id)
    classes: dict[tuple[object, ...], BusClass] = {}
    for chemistry, nominal_v in sorted({(b.chemistry, b.nominal_v) for b in owned}):
        same = [b for b in owned if (b.chemistry, b.nominal_v) == (chemistry, nominal_v)]
        for charge in sorted({b.efficiency for b in same}, reverse=True):
            for discharge in sorted({b.discharge_efficiency for b in same}, reverse=True):
                for coldest in sorted({b.lowest_charging_degc for b in same}):
                    fit = tuple(
                        b
                        for b in same
                        if b.efficiency >= charge
                        and b.discharge_efficiency >= discharge
                        and b.lowest_charging_degc <= coldest
                    )
                    if fit:
                        # the first to name a set of batteries has the kindest thresholds for it
                        key = (chemistry, nominal_v, tuple(b.id for b in fit))
                        classes.setdefault(key, BusClass(chemistry, nominal_v, charge, discharge, coldest, fit))
    stock: dict[str, int] = {}
    for one in classes.values():
        stock[one.name] = max(stock.get(one.name, 0), sum(b.count for b in one.batteries))
    return sorted(
        classes.values(),
        key=lambda c: (-stock[c.name], c.name, -c.charge_efficiency, -c.discharge_efficiency, c.lowest_charging_degc),
    )


def capacity_share(chemistry: Chemistry, degc: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the capacity that cells of that temperature still give. [0–1]

    Linear between the table's points and, below the coldest, along the last slope.
    """
    coldest, freezing, room = _SHARES[chemistry]
    share = np.interp(degc, [-20.0, 0.0, 20.0], [coldest, freezing, room])
    below = coldest + (degc + 20.0) * (freezing - coldest) / 20.0
    return np.asarray(np.where(degc < -20.0, np.maximum(below, 0.0), share))


def weakest(batteries: Iterable[Battery]) -> tuple[float, float, float]:
    """Charge efficiency, discharge efficiency and lowest charging temperature of a set's weakest."""
    some = list(batteries)
    return (
        min(b.efficiency for b in some),
        min(b.discharge_efficiency for b in some),
        max(b.lowest_charging_degc for b in some),
    )
