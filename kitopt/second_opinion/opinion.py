"""From a kit in plain terms to how it fares minute by minute."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.clock import on_air
from kitopt.operation.terms import Operation
from kitopt.second_opinion.cells import bank_of
from kitopt.second_opinion.clouds import dim_and_bright
from kitopt.second_opinion.kit import PlainKit
from kitopt.second_opinion.loads import by_minute, drawn_by
from kitopt.second_opinion.minutes import Opinion, run, station_volts
from kitopt.second_opinion.panels import harvest_table_a
from kitopt.second_opinion.spells import on_share, ranks
from kitopt.sky.windows import Sky

_STREAM = 0x2D0
"""Keeps these draws apart from those of the weather."""


def load() -> None:
    """Load what a second opinion reckons with, where there is time for it before one is asked."""
    import pvlib  # noqa: F401


def second_opinion(operation: Operation, sky: Sky, kit: PlainKit, windows: NDArray[np.intp]) -> Opinion:
    """Run a kit through some windows of a sky in steps of a minute.

    A window's answer does not depend on which others are asked for. Of several batteries it makes one: side by side
    they share the current, in turn the pool is theirs and the resistance that of the smallest. One of two banks that
    charge apart has the loads while it is on the air, else the controllers.

    Parameters
    ----------
    windows : ndarray of int, shape (n_windows,)
        Numbers of the windows, each once.
    """
    rng = np.random.default_rng([operation.need.seed, _STREAM])
    minutes = by_minute(operation)
    bank = bank_of(kit.batteries, operation)
    drawn = [drawn_by(fed, minutes, rng) for fed in kit.loads]
    has_sun = np.ones(minutes.n_steps)
    if operation.bank is not None:
        is_on = on_air(operation, np.linspace(0.0, 60.0 * minutes.n_steps, minutes.n_steps + 1), operation.bank)
        drawn, has_sun = [one.while_(is_on) for one in drawn], np.where(is_on, 0.0, 1.0)
    lit, share = dim_and_bright(sky, windows)
    table_a = harvest_table_a(kit.circuits, sky, windows, station_volts(bank), lit)
    n_steps, a_step = share.shape[1], round(sky.step_h * 60)
    step_of = np.minimum(np.arange(minutes.n_steps) // a_step, n_steps - 1)
    rank = ranks(n_steps, a_step, rng).ravel()[: minutes.n_steps]
    bright = on_share(share.T[step_of], rank[:, None], a_step)
    degc = sky.battery_degc
    battery_degc = (degc[windows] if degc.shape[0] > 1 else np.broadcast_to(degc, (len(windows), n_steps))).T
    return run(
        bank,
        drawn,
        sum(circuit.controller.idle_ma for circuit in kit.circuits) / 1000.0,
        table_a,
        bright,
        np.ascontiguousarray(battery_degc),
        operation.need.reserve_share,
        operation.need.reserve_wh,
        windows,
        step_of,
        kit.strip_ohm,
        has_sun,
    )
