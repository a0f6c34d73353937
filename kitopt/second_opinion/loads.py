"""What the loads draw in each minute: hours by the clock, overs by luck, amperes and watts kept apart."""

from __future__ import annotations

from dataclasses import dataclass, replace

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.clock import share_of_steps
from kitopt.operation.terms import LoadUse, Operation
from kitopt.second_opinion.kit import Fed
from kitopt.second_opinion.spells import on_share, ranks

Floats = NDArray[np.float64]

MINUTE_H = 1.0 / 60.0
OVER_MINUTES = 30
"""Transmissions keep their share over so many minutes on the air."""

SUPPLY_SHARE = 0.15
"""A load takes its supply voltage ± 15 % unless its own limits are given; common transceiver specification."""


@dataclass(frozen=True)
class Drawn:
    """What some alike of one load draw together; a load draws either amperes or watts when idle, and when full.

    Attributes
    ----------
    mean_a, peak_a : ndarray, shape (n_minutes,)
        Current, whatever the voltage: mean of the minute and highest in it. [A]
    mean_w, peak_w : ndarray, shape (n_minutes,)
        Power, whatever the voltage, likewise. [W]
    is_on : ndarray of bool, shape (n_minutes,)
    lowest_v : float
        Below it the load goes off; 0 where nothing is known, or a converter stands between. [V]
    """

    fed: Fed
    mean_a: Floats
    peak_a: Floats
    mean_w: Floats
    peak_w: Floats
    is_on: NDArray[np.bool_]
    lowest_v: float

    def while_(self, is_here: NDArray[np.bool_]) -> Drawn:
        """What of it is drawn from a battery that has the loads in some minutes alone."""
        drawn = (self.mean_a * is_here, self.peak_a * is_here, self.mean_w * is_here, self.peak_w * is_here)
        return Drawn(self.fed, *drawn, self.is_on & is_here, self.lowest_v)


def by_minute(operation: Operation) -> Operation:
    """The operation in steps of a minute."""
    return replace(operation, need=replace(operation.need, step_h=MINUTE_H))


def drawn_by(fed: Fed, minutes: Operation, rng: np.random.Generator) -> Drawn:
    """What some alike of one load draw; they transmit all at once.

    Speech and Morse are gaps and full current; within a minute that is a mean for the charge and a peak for the
    voltage.

    Parameters
    ----------
    minutes : Operation
        In steps of a minute.
    """
    use, load = fed.use, fed.load
    on, inside = share_of_steps(minutes, use.spans), share_of_steps(minutes, ())
    keyed = _keyed(use, on, rng)
    spread_w = None if use.wh_per_day is None else use.wh_per_day / _on_h_a_day(use)

    def mean_and_peak(idle: float, full: float) -> tuple[Floats, Floats]:
        if spread_w is not None:
            return np.zeros(len(on)), np.where(on > 0, full, 0.0)
        quiet = idle if use.quiet == "listen" else 0.0
        mean = on * (keyed * use.full_share * full + (1.0 - keyed) * idle) + (inside - on) * quiet
        # someone who transmits now and then may do so in any minute on the air
        peak = np.where((on > 0) & (use.transmit_share > 0), full, np.where(on > 0, idle, 0.0))
        return mean, np.maximum(peak, np.where(inside > on, quiet, 0.0))

    mean_a, peak_a = mean_and_peak(load.idle_a or 0.0, load.full_a or 0.0)
    mean_w, peak_w = mean_and_peak(load.idle_w or 0.0, load.full_w or 0.0)
    if spread_w is not None:
        mean_w = on * spread_w
        peak_w = np.maximum(peak_w, mean_w)
    lowest_v = load.lowest_v
    if lowest_v is None:
        lowest_v = 0.0 if load.supply_v is None else (1.0 - SUPPLY_SHARE) * load.supply_v
    if fed.converter is not None:
        # behind a converter the load's own volts do not move, and a current there is a power here
        out_v, share = fed.converter.out_v, fed.converter.efficiency
        mean_w, peak_w = (mean_w + mean_a * out_v) / share, (peak_w + peak_a * out_v) / share
        idle_a = np.full(len(on), fed.converter.idle_ma / 1000.0)
        mean_a, peak_a, lowest_v = idle_a, idle_a, 0.0
    n = float(fed.count)
    return Drawn(fed, n * mean_a, n * peak_a, n * mean_w, n * peak_w, (peak_a + peak_w) > 0, lowest_v)


def _keyed(use: LoadUse, on: Floats, rng: np.random.Generator) -> Floats:
    """Share of each minute spent transmitting, exact over each run of half an hour on the air."""
    on_air = np.flatnonzero(on > 0)
    keyed = np.zeros(len(on))
    whole = len(on_air) // OVER_MINUTES
    share = np.array(use.transmit_share)
    first = on_share(share, ranks(whole, OVER_MINUTES, rng), OVER_MINUTES).ravel()
    rest = len(on_air) - whole * OVER_MINUTES
    last = on_share(share, ranks(1, rest, rng), rest).ravel() if rest else np.zeros(0)
    keyed[on_air] = np.concatenate([first, last])
    return keyed


def _on_h_a_day(use: LoadUse) -> float:
    """Hours of a day in the load's spans, joined together. [h]"""
    is_on = np.zeros(1440, dtype=bool)
    for span in use.spans:
        if span.end_min > span.start_min:
            is_on[span.start_min : span.end_min] = True
        else:
            is_on[span.start_min :] = True
            is_on[: span.end_min] = True
    return float(np.count_nonzero(is_on)) / 60.0 or 24.0
