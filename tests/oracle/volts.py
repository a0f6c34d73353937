"""Which loads a battery's voltage does not suit, and which converters suit those."""

from __future__ import annotations

from kitopt.inventory.items import Converter, Load
from kitopt.operation.terms import LoadUse

FULL_V = {"lifepo4": 14.6 / 12.8, "agm": 14.4 / 12.0, "li-ion": 16.8 / 14.4}
"""Voltage of a full battery over its nominal voltage."""


def own_v(load: Load, nominal_v: float) -> float:
    """At what volts a load's amperes flow: its own where they are more than 15 % off the battery's."""
    is_off = load.supply_v is not None and abs(load.supply_v - nominal_v) > 0.15 * nominal_v
    return load.supply_v if is_off and load.supply_v is not None else nominal_v


def full_w(load: Load, nominal_v: float) -> float:
    """Watts at most."""
    return load.full_w if load.full_w is not None else (load.full_a or 0.0) * own_v(load, nominal_v)


def needs_converter(load: Load, chemistry: str, nominal_v: float) -> bool:
    """Whether a load has a USB plug, or volts that a battery at nominal is below or a full one above.

    Limits that are not given are 15 % off the supply voltage; a 12 or 24 V load is made for lead-acid
    batteries on charge, at 14.6 and 29.2 V.
    """
    if load.connector.family.split("-")[0] == "usb":
        return True
    lowest_v, highest_v = load.lowest_v, load.highest_v
    if load.supply_v is not None:
        if lowest_v is None:
            lowest_v = 0.85 * load.supply_v
        if highest_v is None:
            highest_v = {12.0: 14.6, 24.0: 29.2}.get(load.supply_v, 1.15 * load.supply_v)
    if lowest_v is not None and nominal_v < lowest_v - 1e-9:
        return True
    return highest_v is not None and FULL_V[chemistry] * nominal_v > highest_v + 1e-9


def suits(converter: Converter, load: Load, nominal_v: float) -> bool:
    """Whether a converter's output is within 5 % of a load's supply voltage, and strong enough."""
    if load.supply_v is None or abs(converter.out_v - load.supply_v) > 0.05 * load.supply_v:
        return False
    return converter.max_w >= full_w(load, nominal_v) - 1e-9


def fuse_over_current(use: LoadUse) -> float:
    """Least fuse over a load's current: 110 % of peaks of speech and Morse, 125 % of all else."""
    return 1.1 if use.mode in ("ssb", "ssb-compressed", "cw") else 1.25
