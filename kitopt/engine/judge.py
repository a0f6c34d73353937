"""The judge and its derivative.

The margin of a window is a concave function of the plant's coordinates, because charge
may go *below empty*: it is recorded as negative, never clipped. A floor at zero would
destroy the concavity on which the cuts rely.
"""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.plant import Conditions
from kitopt.errors import ShapeMismatch

TOLERANCE_WH = 1e-5
"""A margin this little below zero still counts as survived: rounding, not weather. [Wh]"""

Floats = NDArray[np.float64]


@dataclass(frozen=True, eq=False)
class Verdict:
    """How a plant fared.

    Attributes
    ----------
    margin_wh : ndarray, shape (n_windows,)
        Lowest charge minus what must be held back. [Wh]
    lowest_step : ndarray of int, shape (n_windows,)
        The step at whose end that happens.
    charge_wh : ndarray, shape (n_windows, n_steps)
        Charge at the end of each step, below zero where it is in debt. [Wh]
    held_wh : ndarray, shape (n_windows or 1, n_steps)
        What must be held back then: the reserve and what the cold locks away. [Wh]
    """

    margin_wh: Floats
    lowest_step: NDArray[np.intp]
    charge_wh: Floats
    held_wh: Floats

    @property
    def survives(self) -> NDArray[np.bool_]:
        """Whether each window is survived, shape (n_windows,)."""
        return self.margin_wh >= -TOLERANCE_WH


@dataclass(frozen=True, eq=False)
class Cuts:
    """Linear functions that lie above the margins of some windows, everywhere.

    ``margin_wh[k](plant) <= slope[i] @ plant + constant[i]`` for window ``k = windows[i]``, with
    equality at the plant that was judged.

    Attributes
    ----------
    windows : ndarray of int, shape (n,)
    slope : ndarray, shape (n, n_coordinates)
    constant : ndarray, shape (n,) [Wh]
    first_step, last_step : ndarray of int, shape (n,)
        The steps between which energy is counted: after the last step at which the battery
        was full (-1: since the start) up to the lowest.
    """

    windows: NDArray[np.intp]
    slope: Floats
    constant: Floats
    first_step: NDArray[np.intp]
    last_step: NDArray[np.intp]


def unit_power_w(conditions: Conditions, plant: Floats, unit: int, windows: NDArray[np.intp] | None = None) -> Floats:
    """Panel power that reaches one controller before its limit, shape (n_windows, n_steps). [W]"""
    layout = conditions.layout
    power: Floats | None = None
    for s, shape in enumerate(conditions.shapes):
        watts = plant[layout.panel(unit, s)]
        if watts != 0.0:
            part = watts * (shape if windows is None else shape[windows])
            power = part if power is None else power + part
    if power is None:
        n = conditions.n_windows if windows is None else len(windows)
        return np.zeros((n, conditions.n_steps))
    return power


def charging_w(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None) -> Floats:
    """What all controllers pass on together, shape (n_windows, n_steps). [W]"""
    n = conditions.n_windows if windows is None else len(windows)
    total = np.zeros((n, conditions.n_steps))
    for unit in range(conditions.layout.n_units):
        power = unit_power_w(conditions, plant, unit, windows)
        total += np.minimum(power, plant[conditions.layout.limit(unit)])
    return total


def demand_w(conditions: Conditions, plant: Floats) -> Floats:
    """Loads and everything that the kit itself draws, shape (n_steps,). [W]"""
    layout = conditions.layout
    extra = plant[layout.demand(0) : layout.demand(0) + layout.n_demands]
    return np.asarray(conditions.load_w + extra @ conditions.demand_shapes)


def _stored_w(conditions: Conditions, plant: Floats, net_w: Floats, may_charge: NDArray[np.bool_]) -> Floats:
    """What the battery gains per hour: min(efficiency·net, net/efficiency), nothing when too cold to charge."""
    gain = net_w
    if conditions.has_charge_limit:
        gain = np.minimum(gain, plant[conditions.layout.charge_limit])
    gain = np.where(may_charge, conditions.charge_efficiency * gain, 0.0)
    return np.minimum(gain, net_w / conditions.discharge_efficiency)


def simulate(conditions: Conditions, plant: Floats) -> Verdict:
    """Run a plant through every weather window and find its lowest step.

    Charge may go *below empty*: it is recorded as negative, never clipped.

    Parameters
    ----------
    conditions : Conditions
        The weather and loads of one case.
    plant : ndarray, shape (n_coordinates,)
        The kit, in the coordinates of ``conditions.layout``; counts may be fractional.

    Returns
    -------
    Verdict
        ``margin_wh`` per window, shape (n_windows,). [Wh]

    Raises
    ------
    ShapeMismatch
        If `plant` does not fit the layout.

    References
    ----------
    .. [1] J. E. Kelley, "The cutting-plane method for solving convex
       programs," J. SIAM, vol. 8, no. 4, 1960, doi:10.1137/0108053.
    """
    if plant.shape != (conditions.layout.size,):
        raise ShapeMismatch(f"plant of shape {plant.shape}, layout of {conditions.layout.size} coordinates")
    capacity_wh = plant[conditions.layout.capacity]
    net_w = charging_w(conditions, plant) - demand_w(conditions, plant)
    gained_wh = np.cumsum(_stored_w(conditions, plant, net_w, conditions.may_charge) * conditions.step_h, axis=1)
    # charge[t] = min(capacity, charge[t-1] + gain) unrolled: the ceiling last met decides
    peak_wh = np.maximum.accumulate(gained_wh, axis=1)
    charge_wh = gained_wh + np.minimum(capacity_wh - plant[conditions.layout.missing], capacity_wh - peak_wh)
    held_wh = (
        conditions.reserve_share * capacity_wh + conditions.reserve_wh + (1.0 - conditions.capacity_share) * capacity_wh
    )
    free_wh = charge_wh - held_wh
    lowest_step = np.argmin(free_wh, axis=1)
    margin_wh = np.take_along_axis(free_wh, lowest_step[:, None], axis=1)[:, 0]
    return Verdict(margin_wh, lowest_step, charge_wh, np.asarray(held_wh))


def cuts(conditions: Conditions, plant: Floats, lowest_step: NDArray[np.intp], windows: NDArray[np.intp]) -> Cuts:
    """Differentiate the margin of some windows at a judged plant.

    Between the last step at which the battery was full and the lowest step, every minimum is
    replaced by its active branch: a linear function of the plant above the margin everywhere.

    Parameters
    ----------
    conditions, plant
        As for `simulate`.
    lowest_step : ndarray of int, shape (n_windows,)
        From the verdict.
    windows : ndarray of int, shape (n,)
        Which windows.
    """
    layout = conditions.layout
    n = len(windows)
    rows = np.arange(n)
    last = lowest_step[windows]
    steps = np.arange(conditions.n_steps)
    may_charge = np.broadcast_to(conditions.may_charge, (conditions.n_windows, conditions.n_steps))[windows]
    capacity_share = np.broadcast_to(conditions.capacity_share, (conditions.n_windows, conditions.n_steps))[windows]

    powers = {unit: unit_power_w(conditions, plant, unit, windows) for unit in range(layout.n_units)}
    net_w = -demand_w(conditions, plant) + np.zeros((n, 1))
    for unit, power in powers.items():
        net_w = net_w + np.minimum(power, plant[layout.limit(unit)])
    gained_wh = np.cumsum(_stored_w(conditions, plant, net_w, may_charge) * conditions.step_h, axis=1)

    # the last full step before the lowest one, or the start
    before = np.where(steps <= last[:, None], gained_wh, -np.inf)
    full_step = conditions.n_steps - 1 - np.argmax(before[:, ::-1], axis=1)
    since_start = plant[layout.missing] >= before[rows, full_step]
    first = np.where(since_start, -1, full_step)
    counted = (steps > first[:, None]) & (steps <= last[:, None])

    # derivative of the stored power by the net power, branch by branch
    draining = net_w / conditions.discharge_efficiency
    charging = conditions.charge_efficiency * net_w
    slope_net = np.where(
        draining <= np.where(may_charge, charging, 0.0),
        1.0 / conditions.discharge_efficiency,
        np.where(may_charge, conditions.charge_efficiency, 0.0),
    )
    capped = np.zeros_like(counted)
    if conditions.has_charge_limit:
        capped = may_charge & (net_w > plant[layout.charge_limit])
        slope_net = np.where(capped, 0.0, slope_net)
    weight = np.where(counted, slope_net * conditions.step_h, 0.0)

    slope = np.zeros((n, layout.size))
    slope[:, layout.capacity] = capacity_share[rows, last] - conditions.reserve_share
    slope[:, layout.missing] = -1.0 * since_start
    if conditions.has_charge_limit:
        slope[:, layout.charge_limit] = conditions.charge_efficiency * np.sum(
            np.where(counted & capped, conditions.step_h, 0.0), axis=1
        )
    for unit, power in powers.items():
        clipped = power > plant[layout.limit(unit)]
        slope[:, layout.limit(unit)] = np.sum(np.where(clipped, weight, 0.0), axis=1)
        passed = np.where(clipped, 0.0, weight)
        for s, shape in enumerate(conditions.shapes):
            slope[:, layout.panel(unit, s)] = np.einsum("kt,kt->k", passed, shape[windows])
    slope[:, layout.demand(0) : layout.demand(0) + layout.n_demands] = -weight @ conditions.demand_shapes.T
    constant = -weight @ conditions.load_w - conditions.reserve_wh
    return Cuts(windows, slope, constant, first, last)
