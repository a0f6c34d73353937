"""The battery through the minutes of some windows."""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.second_opinion.cells import Bank
from kitopt.second_opinion.loads import MINUTE_H, Drawn

Floats = NDArray[np.float64]

N_STATION_V = 16
"""Voltages of the station at which the controllers' current is known; between them it is a line."""


@dataclass(frozen=True)
class CutOff:
    """A load that went off for want of volts while there was charge.

    Attributes
    ----------
    minute : int
        Since the start.
    volts, needed_v : float
        At its own plug, and the least that it takes. [V]
    """

    load_id: str
    minute: int
    volts: float
    needed_v: float


@dataclass(frozen=True)
class Opinion:
    """How a kit fares minute by minute. Arrays of minutes are (n_windows, n_minutes).

    Attributes
    ----------
    windows : ndarray of int, shape (n_windows,)
        Numbers of the sky's windows.
    margin_wh : ndarray, shape (n_windows,)
        Lowest charge less what must be held back, ampere-hours times nominal volts. [Wh]
    lowest_minute : ndarray of int, shape (n_windows,)
    cut_offs : tuple of (CutOff or None), length n_windows
        The first load that goes off, if any.
    charge_ah : ndarray
        Charge at the end of each minute, from truly empty. [Ah]
    harvest_a, load_a : ndarray
        What the controllers offer, and what the loads and the kit itself draw. [A]
    filled_a, drained_a : ndarray
        Into the battery and out of it; what is offered and neither drawn nor filled is refused. [A]
    """

    windows: NDArray[np.intp]
    margin_wh: Floats
    lowest_minute: NDArray[np.intp]
    cut_offs: tuple[CutOff | None, ...]
    charge_ah: Floats
    harvest_a: Floats
    load_a: Floats
    filled_a: Floats
    drained_a: Floats

    @property
    def survives(self) -> NDArray[np.bool_]:
        """Whether each window is survived: charge enough throughout, and no load gone off."""
        is_lit = np.array([cut_off is None for cut_off in self.cut_offs], dtype=bool)
        return np.asarray((self.margin_wh >= -1e-6) & is_lit, dtype=bool)


def station_volts(bank: Bank) -> Floats:
    """Voltages of the station from an empty battery to one that is full, evenly spaced. [V]"""
    return np.linspace(0.8 * bank.volts, 1.06 * bank.constant_v, N_STATION_V)


def run(
    bank: Bank,
    drawn: Sequence[Drawn],
    idle_a: float,
    table_a: Floats,
    bright: Floats,
    battery_degc: Floats,
    held_share: float,
    held_wh: float,
    windows: NDArray[np.intp],
    step_of: NDArray[np.intp],
    strip_ohm: float,
    has_sun: Floats | float = 1.0,
) -> Opinion:
    """Go through every minute of every window at once.

    Parameters
    ----------
    idle_a : float
        What controllers draw themselves. [A]
    table_a : ndarray, shape (n_steps, 2, n_station, n_windows)
        Current of the controllers in dim and bright light over `station_volts`. [A]
    bright : ndarray, shape (n_minutes, n_windows)
        Share of each minute between clouds.
    battery_degc : ndarray, shape (n_steps, n_windows)
    held_share, held_wh : float
        Reserve, as a share of usable capacity and as energy. [0–1], [Wh]
    step_of : ndarray of int, shape (n_minutes,)
    has_sun : ndarray, shape (n_minutes,), or 1
        Whether the controllers are joined to this battery; 0 while it is another's turn.
    """
    n_minutes, n_windows = bright.shape
    joined = np.broadcast_to(has_sun, n_minutes)
    load_fixed_a = idle_a * joined + sum((d.mean_a for d in drawn), np.zeros(n_minutes))
    load_w = sum((d.mean_w for d in drawn), np.zeros(n_minutes))
    volts = station_volts(bank)
    step_v, last = volts[1] - volts[0], len(volts) - 1.001
    left = bank.capacity_share(battery_degc)
    stiff = bank.resistance_share(battery_degc)
    may_fill = np.where(battery_degc >= bank.coldest_fill_degc, bank.most_fill_a, 0.0)
    per_share = 1.0 / (left * bank.full_ah)
    fill_ohm, drain_ohm = bank.fill_ohm * stiff, bank.drain_ohm * stiff
    columns = np.arange(n_windows)
    charge = np.full(n_windows, bank.start_ah)
    station_v = bank.rest_v(1.0 - (bank.full_ah - charge) * per_share[0])
    kept = np.zeros((5, n_minutes, n_windows))
    rests = np.zeros((n_minutes, n_windows))
    least_v = 0.5 * bank.volts
    for m in range(n_minutes):
        t = step_of[m]
        share = 1.0 - (bank.full_ah - charge) * per_share[t]
        rest_v, fed_v = bank.rest_v(share), bank.fed_v(share)
        mixed = table_a[t, 0] + bright[m] * (table_a[t, 1] - table_a[t, 0])
        position = np.clip((station_v - volts[0]) / step_v, 0.0, last)
        low = position.astype(np.intp)
        at_low = mixed[low, columns]
        harvest = joined[m] * (at_low + (position - low) * (mixed[low + 1, columns] - at_low))
        load = load_fixed_a[m] + load_w[m] / np.maximum(station_v, least_v)
        net = harvest - load
        most = np.minimum((bank.constant_v - fed_v) / fill_ohm[t], may_fill[t])
        most = np.minimum(most, (bank.full_ah - charge) / (MINUTE_H * bank.filled_share))
        filled = np.clip(net, 0.0, np.maximum(most, 0.0))
        drained = np.maximum(-net, 0.0)
        lost = drained / bank.drained_share
        if bank.cells.peukert > 1.0:
            lost = lost * np.maximum(drained / bank.twenty_hour_a, 1.0) ** (bank.cells.peukert - 1.0)
        charge = charge + MINUTE_H * (bank.filled_share * filled - lost)
        cell_v = np.where(net > 0, fed_v + filled * fill_ohm[t], rest_v - drained * drain_ohm[t])
        station_v = cell_v + (filled - drained) * bank.lead_ohm
        kept[0, m], kept[1, m], kept[2, m], kept[3, m], kept[4, m] = charge, harvest, load, filled, drained
        rests[m] = rest_v
    held_ah = held_share * bank.usable_ah + held_wh / bank.volts + (1.0 - left[step_of]) * bank.usable_ah
    free_wh = (kept[0] - (bank.full_ah - bank.usable_ah) - held_ah) * bank.volts
    lowest = np.argmin(free_wh, axis=0)
    cut_offs = _cut_offs(bank, drawn, idle_a * joined, rests, kept[1], drain_ohm[step_of], strip_ohm)
    charge_ah, harvest_a, load_a, filled_a, drained_a = (np.ascontiguousarray(one.T) for one in kept)
    return Opinion(
        windows=windows,
        margin_wh=free_wh[lowest, columns],
        lowest_minute=lowest,
        cut_offs=cut_offs,
        charge_ah=charge_ah,
        harvest_a=harvest_a,
        load_a=load_a,
        filled_a=filled_a,
        drained_a=drained_a,
    )


def _cut_offs(
    bank: Bank,
    drawn: Sequence[Drawn],
    idle_a: Floats,
    rest_v: Floats,
    harvest_a: Floats,
    drain_ohm: Floats,
    strip_ohm: float,
) -> tuple[CutOff | None, ...]:
    """The first load of each window that has too few volts with everything at its highest current at once."""
    peak_a = idle_a + sum((d.peak_a for d in drawn), np.zeros(len(rest_v)))
    peak_w = sum((d.peak_w for d in drawn), np.zeros(len(rest_v)))
    ohm = drain_ohm + bank.lead_ohm
    first: list[CutOff | None] = [None] * rest_v.shape[1]
    # power at fewer volts takes more amperes: twice round comes within a hundredth of a volt
    volts = rest_v
    total = peak_a[:, None] + np.zeros_like(rest_v)
    for _ in range(2):
        total = peak_a[:, None] + peak_w[:, None] / np.maximum(volts, 0.5 * bank.volts)
        volts = rest_v - np.maximum(total - harvest_a, 0.0) * ohm
    behind_v = volts - total * strip_ohm
    for one in drawn:
        if one.lowest_v <= 0.0:
            continue
        own_a = (one.peak_a[:, None] + one.peak_w[:, None] / np.maximum(behind_v, 0.5 * bank.volts)) / one.fed.count
        plug_v = behind_v - own_a * one.fed.ohm
        is_off = (plug_v < one.lowest_v) & one.is_on[:, None]
        for k in np.flatnonzero(is_off.any(axis=0)):
            minute = int(np.argmax(is_off[:, k]))
            before = first[k]
            if before is None or minute < before.minute:
                first[k] = CutOff(one.fed.load.id, minute, float(plug_v[minute, k]), one.lowest_v)
    return tuple(first)
