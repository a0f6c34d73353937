"""Loads, modes and hours to watts per step and peak amperes at the battery.

Watts are amperes × the nominal voltage of the bus class, so that hours at the battery
are counted in the ampere-hours that its label is counted in.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Inventory, Load
from kitopt.operation.clock import steps_of, within_h
from kitopt.operation.terms import LoadUse, Operation

SUPPLY_SHARE = 0.15
"""A load takes its supply voltage ± 15 % unless its own limits are given; common transceiver specification."""


@dataclass(frozen=True)
class Draw:
    """What one load draws.

    Attributes
    ----------
    load_wh : ndarray, shape (n_steps,), the steps being those that the loads' hours split
        Energy drawn at the load over each step. [Wh]
    peak_a : ndarray, shape (n_steps,)
        Highest current at the bus's nominal voltage within each step. [A]
    """

    use: LoadUse
    load: Load
    load_wh: NDArray[np.float64]
    peak_a: NDArray[np.float64]


def mean_w(use: LoadUse, load: Load, nominal_v: float) -> float:
    """Mean power while on the air, at the bus's nominal voltage. [W]

    While transmitting, the mean direct current is a share of the key-down current
    that depends on the mode; between transmissions the load idles.
    """
    idle_w, full_w = idle_and_full_w(load, nominal_v)
    return (1 - use.transmit_share) * idle_w + use.transmit_share * use.full_share * full_w


def idle_and_full_w(load: Load, nominal_v: float) -> tuple[float, float]:
    """Idle and full power of a load on a bus of that voltage. [W]

    Amperes of a load that lives on other volts, such as a laptop's at 20 V, are amperes behind its converter.
    """
    is_alike = load.supply_v is None or abs(load.supply_v - nominal_v) <= SUPPLY_SHARE * nominal_v
    volts = nominal_v if is_alike or load.supply_v is None else load.supply_v
    idle_w = load.idle_w if load.idle_w is not None else (load.idle_a or 0.0) * volts
    full_w = load.full_w if load.full_w is not None else (load.full_a or 0.0) * volts
    return idle_w, full_w


@lru_cache(maxsize=256)
def draw_of(use: LoadUse, load: Load, operation: Operation, nominal_v: float) -> Draw:
    """What one load of the operation draws, before any converter."""
    edges_s = steps_of(operation).edges_s
    on_h, all_h = within_h(operation, use.spans, edges_s), within_h(operation, (), edges_s)
    idle_w, full_w = idle_and_full_w(load, nominal_v)
    if use.wh_per_day is not None:
        on_h_per_day = _hours_per_day(use)
        mean_on_w, quiet_w, peak_on_w = use.wh_per_day / on_h_per_day, 0.0, full_w
    else:
        mean_on_w = mean_w(use, load, nominal_v)
        quiet_w = idle_w if use.quiet == "listen" else 0.0
        peak_on_w = full_w if use.transmit_share > 0 else idle_w
    load_wh = use.count * (mean_on_w * on_h + quiet_w * (all_h - on_h))
    is_on = on_h > 0
    is_quiet = all_h - on_h > 1e-8
    peak_w = np.maximum(np.where(is_on, max(peak_on_w, mean_on_w), 0.0), np.where(is_quiet, quiet_w, 0.0))
    return Draw(use, load, load_wh, use.count * peak_w / nominal_v)


def _hours_per_day(use: LoadUse) -> float:
    minutes: set[int] = set()
    for span in use.spans:
        end = span.end_min if span.end_min > span.start_min else span.end_min + 1440
        minutes.update(m % 1440 for m in range(span.start_min, end))
    return len(minutes) / 60 if minutes else 24.0


def draws(operation: Operation, inventory: Inventory, nominal_v: float, *, must_only: bool = False) -> list[Draw]:
    """What each load of the operation draws, in the order of the operation's file."""
    found = []
    for use in operation.loads:
        if must_only and use.priority != "must":
            continue
        load = inventory.by_id[use.id]
        assert isinstance(load, Load), use.id
        found.append(draw_of(use, load, operation, nominal_v))
    return found


def total_w(parts: list[Draw], length_h: NDArray[np.float64]) -> NDArray[np.float64]:
    """Mean power of all loads over steps of those lengths, shape (n_steps,). [W]"""
    return np.asarray(sum((part.load_wh for part in parts), np.zeros_like(length_h)) / length_h)


def peak_a(parts: list[Draw]) -> float:
    """Highest current of all loads together. [A]"""
    return float(np.max(np.sum([part.peak_a for part in parts], axis=0))) if parts else 0.0
