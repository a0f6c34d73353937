"""Bus classes: the batteries that may stand in for one another on one bus.

One kit has one chemistry and one nominal voltage. Where batteries of a class differ in charge
efficiency or in the cold that they may be charged in, a kit is judged by its weakest: each
combination of thresholds that some battery sets is a class of its own, with all batteries that
are at least as good. The best over the classes is then exact.
"""

from __future__ import annotations

from collections.abc import Iterable
from dataclasses import dataclass, replace
from itertools import product

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery, Chemistry

_SHARES: dict[Chemistry, tuple[tuple[float, ...], tuple[float, ...]]] = {
    "lifepo4": ((-20.0, 0.0, 20.0), (0.70, 0.85, 1.0)),
    "li-ion": ((-20.0, 0.0, 20.0), (0.70, 0.85, 1.0)),
    # 20 to 80 °F in tens, from the transcription headed "simplified IEEE method"
    "agm": (tuple((f - 32) / 1.8 for f in range(20, 90, 10)), (0.63, 0.71, 0.77, 0.84, 0.90, 0.96, 1.00)),
}
"""Share of the capacity at temperatures of the cells [°C]; lithium from trade pages that disagree, so rough."""

PEUKERT: dict[Chemistry, float] = {"lifepo4": 1.0, "li-ion": 1.0, "agm": 1.10}
"""Exponent of what a current above the 20-hour one takes out; AGM 1.05 to 1.15, trade pages. Lithium's is left out."""

RATED_H = 20.0
"""Hours over which the capacity of lead-acid is rated. [h]"""

FULL_AT_SHARE = 0.85
"""Up to this share of full charge an AGM battery takes its charge limit, then less and less; common practice."""

LOWEST_DISCHARGING_DEGC = -20.0
"""Colder cells are counted on for nothing: makers rate none of the chemistries below. Cell specifications. [°C]"""

HIGHEST_CHARGING_DEGC: dict[Chemistry, float] = {"lifepo4": 55.0}
"""Cells warmer than this are not charged; cell specifications end at 55 to 60 °C. [°C]"""

LOWEST_LOADED_V: dict[Chemistry, float] = {"lifepo4": 12.4, "agm": 11.6, "li-ion": 13.0}
"""Voltage of a nearly empty battery at key-down. From memory. [V]"""

SELF_DISCHARGE_PER_MONTH: dict[Chemistry, float] = {"lifepo4": 0.03, "agm": 0.03, "li-ion": 0.03}
"""Share of the measured capacity lost in 30 days; common trade figures."""


_FULL_V: dict[Chemistry, tuple[float, float]] = {"lifepo4": (14.6, 12.8), "agm": (14.4, 12.0), "li-ion": (16.8, 14.4)}
"""Voltage of a full battery, and the nominal voltage that it belongs to (four and six cells in series). [V]"""

_CHARGING_V: dict[Chemistry, float] = {"lifepo4": 13.4, "agm": 13.8, "li-ion": 15.6}
"""Mean voltage of the same battery while it is charged. From memory. [V]"""


@dataclass(frozen=True)
class BusClass:
    """What the judge may assume of every battery in a kit.

    Attributes
    ----------
    taper_h : float or None
        Time constant with which an AGM battery fills up; None for the others. [h]
    rated_w : float
        20-hour power of an AGM battery; zero for the others, which do not mind. [W]
    """

    chemistry: Chemistry
    nominal_v: float
    charge_efficiency: float
    discharge_efficiency: float
    lowest_charging_degc: float
    taper_h: float | None
    rated_w: float
    batteries: tuple[Battery, ...]

    def is_like(self, other: BusClass) -> bool:
        """Whether the same may be assumed: of more batteries to choose from, it may have more of them."""
        return replace(self, batteries=other.batteries) == other

    @property
    def name(self) -> str:
        """In words, such as "lifepo4 12.8 V"."""
        return f"{self.chemistry} {self.nominal_v:g} V"


def full_v(bus: BusClass) -> float:
    """Voltage of a full battery of the class. [V]"""
    volts, nominal_v = _FULL_V[bus.chemistry]
    return volts * bus.nominal_v / nominal_v


def charging_v(bus: BusClass) -> float:
    """Mean voltage at the terminals of a battery of the class while it is charged. [V]

    An ampere that is put in comes out again as an ampere, at the nominal voltage: tracking turns a panel's watts into
    amperes at this voltage, and what reaches the battery is counted in amperes times nominal volts.
    """
    return _CHARGING_V[bus.chemistry] * bus.nominal_v / _FULL_V[bus.chemistry][1]


def lowest_loaded_v(bus: BusClass) -> float:
    """Voltage of a nearly empty battery of the class at key-down. [V]"""
    return LOWEST_LOADED_V[bus.chemistry] * bus.nominal_v / _FULL_V[bus.chemistry][1]


def taper_h(battery: Battery) -> float | None:
    """Time constant of an AGM battery's last part of charging: its charge limit is what it takes at 85 %. [h]

    At 85 % of full charge, 0.15 of the measured capacity is missing, however much of it may be used.
    """
    if battery.chemistry != "agm":
        return None
    return (1.0 - FULL_AT_SHARE) * battery.measured_ah / battery.max_charge_a


def rated_w(battery: Battery) -> float:
    """Power at which an AGM battery gives what was measured; zero for those that do not mind. [W]"""
    return battery.measured_ah / RATED_H * battery.nominal_v if PEUKERT[battery.chemistry] > 1.0 else 0.0


Thresholds = tuple[float, float, float, float, float]


def thresholds(battery: Battery) -> Thresholds:
    """What a kit with this battery can at most claim, each the better the larger."""
    return (
        battery.efficiency,
        battery.discharge_efficiency,
        -battery.lowest_charging_degc,
        -(taper_h(battery) or 0.0),
        rated_w(battery),
    )


def bus_classes(batteries: Iterable[Battery]) -> list[BusClass]:
    """All classes: by stock, then the kindest thresholds first, since they most often hold the best kit."""
    owned = sorted((b for b in batteries if b.count > 0), key=lambda b: b.id)
    classes: dict[tuple[object, ...], BusClass] = {}
    for chemistry, nominal_v in sorted({(b.chemistry, b.nominal_v) for b in owned}):
        same = [b for b in owned if (b.chemistry, b.nominal_v) == (chemistry, nominal_v)]
        levels = [sorted(set(level), reverse=True) for level in zip(*(thresholds(b) for b in same), strict=True)]
        for least in product(*levels):
            fit = [b for b in same if all(has >= asked for has, asked in zip(thresholds(b), least, strict=True))]
            if fit:
                # the first to name a set of batteries has the kindest thresholds for it
                key = (chemistry, nominal_v, tuple(b.id for b in fit))
                classes.setdefault(key, class_of(fit))
    stock: dict[str, int] = {}
    for one in classes.values():
        stock[one.name] = max(stock.get(one.name, 0), sum(b.count for b in one.batteries))
    return sorted(
        classes.values(),
        key=lambda c: (-stock[c.name], c.name, -c.charge_efficiency, -c.discharge_efficiency, c.lowest_charging_degc),
    )


def class_of(batteries: Iterable[Battery]) -> BusClass:
    """The class of a set of batteries of one chemistry and voltage, judged by its weakest."""
    some = tuple(batteries)
    charge, discharge, coldest, slowest, rated = (min(level) for level in zip(*map(thresholds, some), strict=True))
    is_agm = some[0].chemistry == "agm"
    return BusClass(
        some[0].chemistry,
        some[0].nominal_v,
        charge,
        discharge,
        -coldest,
        -slowest if is_agm else None,
        rated,
        some,
    )


def setters_of(bus: BusClass) -> tuple[tuple[Battery, ...], ...]:
    """Of each threshold of a class the batteries that set it: its kits have one of them at the least."""
    return tuple(
        tuple(battery for battery, has in zip(bus.batteries, level, strict=True) if has == min(level))
        for level in zip(*map(thresholds, bus.batteries), strict=True)
    )


def may_charge(bus: BusClass, degc: NDArray[np.float64]) -> NDArray[np.bool_]:
    """Whether cells of that temperature may be charged."""
    highest = HIGHEST_CHARGING_DEGC.get(bus.chemistry, np.inf)
    return np.asarray((degc >= bus.lowest_charging_degc) & (degc <= highest))


def capacity_share(chemistry: Chemistry, degc: NDArray[np.float64]) -> NDArray[np.float64]:
    """Share of the capacity that cells of that temperature still give. [0–1]

    Linear between the table's points and, below the coldest, along the last slope.
    """
    at, shares = _SHARES[chemistry]
    below = shares[0] + (degc - at[0]) * (shares[1] - shares[0]) / (at[1] - at[0])
    return np.asarray(np.where(degc < at[0], np.maximum(below, 0.0), np.interp(degc, at, shares)))
