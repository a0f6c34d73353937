"""Batteries by their chemistry: voltage against charge, resistance, how they are charged, what the cold leaves.

Every number of the table is from memory, as common data sheets of four cells in series (LiFePO4, li-ion) or six (AGM)
have them; resting voltages in particular differ widely between sources. They are on no account limits to work by.
"""

from __future__ import annotations

from dataclasses import dataclass
from datetime import timedelta

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery
from kitopt.operation.terms import Operation

Floats = NDArray[np.float64]

CHARGES = (0.0, 0.05, 0.1, 0.2, 0.3, 0.5, 0.7, 0.85, 0.95, 0.98, 1.0)
"""Shares of the capacity at which the voltages below are given."""


@dataclass(frozen=True)
class Cells:
    """One chemistry.

    Attributes
    ----------
    nominal_v : float
        Voltage that the others belong to; they grow with a battery's own. [V]
    rest_v, fed_v : tuple of float
        Voltage without current at the shares of `CHARGES`: while being emptied, and while being filled. [V]
    constant_v : float
        Voltage at which a charger stops raising the current. [V]
    drain_ohm_ah, fill_ohm_ah : float
        Resistance times capacity, being emptied and filled, at 20 °C; protection and slow polarisation counted in.
    cold_capacity, cold_ohm : tuple of float
        Capacity and resistance over those at 20 °C, at -20, 0 and 20 °C.
    peukert : float
        Exponent of the drain above the 20-hour current.
    lost_per_month : float
        Share of the capacity that is lost in 30 days of standing.
    """

    nominal_v: float
    rest_v: tuple[float, ...]
    fed_v: tuple[float, ...]
    constant_v: float
    drain_ohm_ah: float
    fill_ohm_ah: float
    cold_capacity: tuple[float, float, float]
    cold_ohm: tuple[float, float, float]
    peukert: float = 1.0
    lost_per_month: float = 0.03


CELLS: dict[str, Cells] = {
    "lifepo4": Cells(
        nominal_v=12.8,
        rest_v=(11.2, 12.4, 12.8, 12.95, 13.05, 13.13, 13.2, 13.28, 13.32, 13.35, 13.5),
        fed_v=(11.6, 12.8, 13.05, 13.15, 13.22, 13.3, 13.35, 13.42, 13.5, 13.7, 14.4),
        constant_v=14.4,
        drain_ohm_ah=0.5,
        fill_ohm_ah=0.5,
        cold_capacity=(0.70, 0.85, 1.0),
        cold_ohm=(3.5, 1.8, 1.0),
    ),
    "agm": Cells(
        nominal_v=12.0,
        rest_v=(11.3, 11.5, 11.65, 11.85, 12.0, 12.25, 12.5, 12.68, 12.8, 12.83, 12.85),
        # the last part goes in slowly, whatever the charger: at 85 % the current is down to 0.2 C
        fed_v=(11.9, 12.05, 12.15, 12.3, 12.42, 12.65, 12.9, 13.3, 14.03, 14.25, 14.4),
        constant_v=14.4,
        drain_ohm_ah=0.35,
        fill_ohm_ah=5.5,
        cold_capacity=(0.60, 0.75, 1.0),
        cold_ohm=(2.5, 1.5, 1.0),
        peukert=1.1,
    ),
    "li-ion": Cells(
        nominal_v=14.4,
        rest_v=(12.0, 13.2, 13.6, 14.1, 14.4, 14.8, 15.4, 15.95, 16.35, 16.5, 16.6),
        fed_v=(12.4, 13.5, 13.9, 14.3, 14.6, 15.0, 15.6, 16.1, 16.55, 16.68, 16.8),
        constant_v=16.8,
        drain_ohm_ah=0.6,
        fill_ohm_ah=0.6,
        cold_capacity=(0.70, 0.85, 1.0),
        cold_ohm=(4.0, 2.0, 1.0),
    ),
}
"""From memory, all of it."""


def _cold(points: tuple[float, float, float], degc: Floats) -> Floats:
    """A value of the cold over temperature, along the last slope below -20 °C, level above 20 °C."""
    between = np.interp(degc, (-20.0, 0.0, 20.0), points)
    below = points[0] + (degc + 20.0) * (points[1] - points[0]) / 20.0
    return np.asarray(np.where(degc < -20.0, below, between), dtype=np.float64)


@dataclass(frozen=True)
class Bank:
    """All batteries of a kit as one, whether they take turns or stand side by side.

    Attributes
    ----------
    full_ah, usable_ah : float
        Measured capacity, and the part of it that may be used. [Ah]
    start_ah : float
        Charge at the start, counted from truly empty. [Ah]
    volts : float
        Nominal voltage. [V]
    drain_ohm, fill_ohm : float
        Inside, at 20 °C; in turn, that of the smallest battery, which has its turn too. [Ω]
    lead_ohm : float
        From the batteries to the station. [Ω]
    most_fill_a : float
        Charge limit. [A]
    twenty_hour_a : float
        Current that empties the battery in use in 20 hours. [A]
    """

    cells: Cells
    full_ah: float
    usable_ah: float
    start_ah: float
    volts: float
    filled_share: float
    drained_share: float
    drain_ohm: float
    fill_ohm: float
    lead_ohm: float
    most_fill_a: float
    coldest_fill_degc: float
    twenty_hour_a: float

    @property
    def scale(self) -> float:
        """This voltage over the table's."""
        return self.volts / self.cells.nominal_v

    @property
    def constant_v(self) -> float:
        """Voltage that charging stops at. [V]"""
        return self.cells.constant_v * self.scale

    def rest_v(self, charge_share: Floats) -> Floats:
        """Voltage without current while being emptied. [V]"""
        return np.asarray(np.interp(charge_share, CHARGES, self.cells.rest_v) * self.scale)

    def fed_v(self, charge_share: Floats) -> Floats:
        """Voltage without current while being filled. [V]"""
        return np.asarray(np.interp(charge_share, CHARGES, self.cells.fed_v) * self.scale)

    def capacity_share(self, degc: Floats) -> Floats:
        """What the cold leaves of the capacity. [0–1]"""
        return np.maximum(_cold(self.cells.cold_capacity, degc), 0.02)

    def resistance_share(self, degc: Floats) -> Floats:
        """Resistance over that at 20 °C."""
        return _cold(self.cells.cold_ohm, degc)


def bank_of(batteries: tuple[tuple[Battery, int, float], ...], operation: Operation) -> Bank:
    """The batteries of a kit as one.

    Parameters
    ----------
    batteries : tuple of (Battery, count, ohm)
        Of one chemistry and voltage; the ohms are those of each one's own chain. [Ω]
    """
    kinds = [(b, ohm) for b, count, ohm in batteries for _ in range(count)]
    first = kinds[0][0]
    cells = CELLS[first.chemistry]
    full = np.array([b.measured_ah for b, _ in kinds])
    full_ah = float(full.sum())

    def mean(values: list[float]) -> float:
        return float(np.array(values) @ full / full_ah)

    scale = first.nominal_v / cells.nominal_v
    missing_ah = 0.0
    for battery, _ in kinds:
        usable_ah = battery.measured_ah * battery.depth_share
        lost_ah = (1.0 - operation.need.start_charge_share) * usable_ah
        days = operation.stored_days
        if days is None and battery.charged_on is not None:
            days = max(0.0, (operation.start.date() - battery.charged_on) / timedelta(days=1))
        if days is not None:
            lost_ah += cells.lost_per_month * days / 30.0 * battery.measured_ah
        missing_ah += min(lost_ah, usable_ah)
    is_parallel = operation.batteries == "parallel"
    if is_parallel:
        drain_ohm, fill_ohm = cells.drain_ohm_ah * scale / full_ah, cells.fill_ohm_ah * scale / full_ah
        lead_ohm = 1.0 / sum(1.0 / max(ohm, 1e-6) for _, ohm in kinds)
        most_fill_a, in_use_ah = sum(b.max_charge_a for b, _ in kinds), full_ah
    else:
        smallest_ah = float(full.min())
        drain_ohm, fill_ohm = cells.drain_ohm_ah * scale / smallest_ah, cells.fill_ohm_ah * scale / smallest_ah
        lead_ohm = max(ohm for _, ohm in kinds)
        most_fill_a, in_use_ah = min(b.max_charge_a for b, _ in kinds), smallest_ah
    return Bank(
        cells=cells,
        full_ah=full_ah,
        usable_ah=float(sum(b.measured_ah * b.depth_share for b, _ in kinds)),
        start_ah=full_ah - missing_ah,
        volts=first.nominal_v,
        filled_share=mean([b.efficiency for b, _ in kinds]),
        drained_share=mean([b.discharge_efficiency for b, _ in kinds]),
        drain_ohm=drain_ohm,
        fill_ohm=fill_ohm,
        lead_ohm=lead_ohm,
        most_fill_a=most_fill_a,
        coldest_fill_degc=max(b.lowest_charging_degc for b, _ in kinds),
        twenty_hour_a=in_use_ah / 20.0,
    )
