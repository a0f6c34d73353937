"""What the loads ask of the station: volts that they stand, amperes that flow, and the fuse that holds them."""

from __future__ import annotations

import math
from dataclasses import replace

from kitopt.inventory.families import is_off_bus
from kitopt.inventory.items import Converter, Inventory, Load
from kitopt.model.bus import BusClass, full_v
from kitopt.model.need import SUPPLY_SHARE, Draw, draws, idle_and_full_w, peak_a
from kitopt.operation.terms import LoadUse, Operation

CONTINUOUS_FUSE = 1.25
"""A fuse carries at least 125 % of a continuous current: NEC. FM, data, lights and chargers are continuous."""
SPEECH_FUSE = 1.10
"""Peaks of speech and Morse are short, and a fuse of 110 % of them holds; common practice, no source."""
SPEECH_MODES = ("ssb", "ssb-compressed", "cw")
SYSTEM_FULL_V = {12.0: 14.6, 24.0: 29.2}
"""A supply of 12 or 24 V names a lead-acid system, which is charged at this; common practice, no source. [V]"""


def limits_v(load: Load) -> tuple[float, float]:
    """Lowest and highest voltage that a load takes: its own limits, else ± 15 % of its supply. [V]

    Nothing is known of a load without any of them: it is taken to run from any bus.
    """
    lowest_v, highest_v = 0.0, math.inf
    if load.supply_v is not None:
        lowest_v = (1 - SUPPLY_SHARE) * load.supply_v
        highest_v = SYSTEM_FULL_V.get(load.supply_v, (1 + SUPPLY_SHARE) * load.supply_v)
    return (
        lowest_v if load.lowest_v is None else load.lowest_v,
        highest_v if load.highest_v is None else load.highest_v,
    )


def needs_converter(load: Load, bus: BusClass) -> bool:
    """Whether a load cannot be fed from the bus directly: by its connector's family, or its volts, nominal or full."""
    lowest_v, highest_v = limits_v(load)
    is_off = bus.nominal_v < lowest_v - 1e-9 or full_v(bus) > highest_v + 1e-9
    return is_off or is_off_bus(load.connector.family)


def fits_load(converter: Converter, load: Load, nominal_v: float) -> bool:
    """Whether a converter gives the load's voltage and power."""
    if load.supply_v is None:
        return False
    _, full_w = idle_and_full_w(load, nominal_v)
    return abs(converter.out_v - load.supply_v) <= 0.05 * load.supply_v and converter.max_w >= full_w - 1e-9


def fuse_share(use: LoadUse) -> float:
    """Least fuse over the highest current of a load, by how long its peaks last."""
    return SPEECH_FUSE if use.mode in SPEECH_MODES else CONTINUOUS_FUSE


def station_peak_a(operation: Operation, inventory: Inventory, bus: BusClass) -> float:
    """Highest current of all loads together at the battery. [A]

    What goes through a converter counts with the least efficient one that fits, against the owner.
    """
    return peak_a(_at_battery(operation, inventory, bus))


def station_fuse_a(operation: Operation, inventory: Inventory, bus: BusClass) -> float:
    """Least rating of a fuse that all loads together flow through. [A]"""
    parts = _at_battery(operation, inventory, bus)
    return peak_a([replace(part, peak_a=fuse_share(part.use) * part.peak_a) for part in parts])


def _at_battery(operation: Operation, inventory: Inventory, bus: BusClass) -> list[Draw]:
    parts = []
    for part in draws(operation, inventory, bus.nominal_v):
        if needs_converter(part.load, bus):
            shares = [
                c.efficiency for c in inventory.converters if c.count > 0 and fits_load(c, part.load, bus.nominal_v)
            ]
            part = replace(part, peak_a=part.peak_a / min(shares, default=1.0))
        parts.append(part)
    return parts
