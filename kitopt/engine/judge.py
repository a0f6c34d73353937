"""The judge and its derivative.

The margin of a window is a concave function of the plant's coordinates, because charge
may go *below empty*: it is recorded as negative, never clipped. A floor at zero would
destroy the concavity on which the cuts rely.
"""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.engine.plant import Conditions
from kitopt.errors import ShapeMismatch

TOLERANCE_WH = 1e-5
"""A margin this little below zero still counts as survived: rounding, not weather. [Wh]"""

MOST_RATED = 100.0
"""From so many times the 20-hour current on, what leaves the store grows in proportion: no battery is drained so."""

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
    free_wh : ndarray, shape (n_windows, n_steps)
        Lowest charge that may occur by the end of each step within its interval of weather, less what must be held
        back; where frozen cells give nothing, what the sun leaves over if that is less. [Wh]
    held_wh : ndarray, shape (n_windows or 1, n_steps)
        What must be held back then: the reserve and what the cold locks away. [Wh]
    """

    margin_wh: Floats
    lowest_step: NDArray[np.intp]
    charge_wh: Floats
    free_wh: Floats
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


def _some(of_windows: NDArray[Any], windows: NDArray[np.intp] | None) -> NDArray[Any]:
    """The rows of some windows; one that stands for all is that of each."""
    return of_windows if windows is None or len(of_windows) == 1 else of_windows[windows]


def unit_power_w(conditions: Conditions, plant: Floats, unit: int, windows: NDArray[np.intp] | None = None) -> Floats:
    """Panel power that reaches one controller before its limit, shape (n_windows, n_steps); of each plant. [W]"""
    layout, some = conditions.layout, slice(None) if windows is None else windows
    # what follows one shape is weighed together, each window in its own share
    watts: dict[int, Floats] = {}
    panels = plant[..., layout.panel(unit, 0) : layout.panel(unit, layout.n_sources)]
    for s in np.flatnonzero(np.any(panels, axis=tuple(range(plant.ndim - 1)))).tolist():
        source, size_w = conditions.sources[s], panels[..., s, None]
        part = size_w if source.share is None else size_w * source.share[some]
        watts[source.shape] = watts[source.shape] + part if source.shape in watts else part
    power: Floats | None = None
    for shape, weight in watts.items():
        lit = weight[..., None] * conditions.shapes[shape][some]
        power = lit if power is None else power + lit
    if power is None:
        return np.zeros(_shape(conditions, plant, windows))
    return power


def _shape(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None) -> tuple[int, ...]:
    n_windows = conditions.n_windows if windows is None else len(windows)
    return *plant.shape[:-1], n_windows, conditions.n_steps


def charging_w(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None) -> Floats:
    """What all controllers pass on together, shape (n_windows, n_steps); of each plant. [W]"""
    return _passed_w(conditions, plant, _powers_w(conditions, plant, windows), windows)


def _powers_w(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None) -> dict[int, Floats]:
    """Panel power that reaches each controller with panels, before its limit. [W]"""
    layout = conditions.layout
    panels = plant[..., layout.panel(0, 0) : layout.demand(0)]
    by_unit = panels.reshape(plant.size // layout.size, layout.n_units, layout.n_sources)
    units = np.flatnonzero(np.any(by_unit, axis=(0, 2))).tolist()
    return {unit: unit_power_w(conditions, plant, unit, windows) for unit in units}


def _passed_w(
    conditions: Conditions, plant: Floats, powers_w: Mapping[int, Floats], windows: NDArray[np.intp] | None
) -> Floats:
    total = np.zeros(_shape(conditions, plant, windows))
    for unit, power_w in powers_w.items():
        total += np.minimum(power_w, plant[..., conditions.layout.limit(unit), None, None])
    return total


def demand_w(conditions: Conditions, plant: Floats) -> Floats:
    """Loads and everything that the kit itself draws, shape (n_steps,); of each plant. [W]"""
    layout = conditions.layout
    extra = plant[..., layout.demand(0) : layout.demand(0) + layout.n_demands]
    return np.asarray(conditions.load_w + extra @ conditions.demand_shapes)


@dataclass(frozen=True, eq=False)
class Flow:
    """What some windows' batteries go through, whatever they hold: of two powers the lesser is stored.

    Derivatives follow the lesser.

    Attributes
    ----------
    power_w : mapping of int to ndarray, shape (n, n_steps)
        What the panels bring to each controller that has any, before its limit. [W]
    net_w : ndarray, shape (n, n_steps)
        What the controllers pass less what is drawn. [W]
    draining_w, charging_w : ndarray, shape (n, n_steps)
        What the store gains where it is drained, and where it is charged. [W]
    charging : ndarray
        Stored over net power where nothing caps it.
    drain : (ndarray, ndarray)
        As `_drain` gives it.
    limit_w : float
        The bank's charge limit; infinite where there is none. [W]
    """

    conditions: Conditions
    power_w: Mapping[int, Floats]
    net_w: Floats
    draining_w: Floats
    charging_w: Floats
    charging: Floats
    drain: tuple[Floats, Floats]
    limit_w: float

    def of(self, windows: NDArray[np.intp]) -> Flow:
        """That of some of the windows, given by their places among these."""
        by_drawn, by_rated = (_some(one, windows) for one in self.drain)
        return replace(
            self,
            power_w={unit: power_w[windows] for unit, power_w in self.power_w.items()},
            net_w=self.net_w[windows],
            draining_w=self.draining_w[windows],
            charging_w=self.charging_w[windows],
            charging=_some(self.charging, windows),
            drain=(by_drawn, by_rated),
        )

    @cached_property
    def stored_wh(self) -> Floats:
        """What a battery with room gains over each step, shape (n, n_steps). [Wh]"""
        return np.minimum(self.draining_w, self.charging_w) * self.conditions.step_h

    @cached_property
    def gained_wh(self) -> Floats:
        """The same since the start, shape (n, n_steps). [Wh]"""
        return np.cumsum(self.stored_wh, axis=-1)

    @cached_property
    def _is_draining(self) -> NDArray[np.bool_]:
        return np.asarray(self.draining_w <= self.charging_w)

    @cached_property
    def is_capped(self) -> NDArray[np.bool_]:
        """Where the bank's charge limit holds, shape (n, n_steps)."""
        return np.asarray((self.charging > 0.0) & (self.net_w > self.limit_w) & ~self._is_draining)

    @property
    def by_net(self) -> Floats:
        """Derivative of the stored power by the net power, shape (n, n_steps)."""
        drained = self.drain[0] / self.conditions.discharge_efficiency
        charged = np.where(self.is_capped, 0.0, self.charging) if np.isfinite(self.limit_w) else self.charging
        return np.where(self._is_draining, drained, charged)

    @property
    def by_rated(self) -> Floats:
        """The same by the 20-hour power; zero unless the battery is drained hard."""
        return np.where(self._is_draining, -self.drain[1] / self.conditions.discharge_efficiency, 0.0)


def _drain(conditions: Conditions, plant: Floats, drawn_w: Floats) -> tuple[Floats, Floats]:
    """Derivatives of what leaves the store by what is drawn and by the 20-hour power; the two times these are it.

    Below the 20-hour power as much leaves as is drawn, above it ``drawn · (drawn / rated)^(k-1)``: W. Peukert's law,
    as a function that is convex in both, and straight where no battery could follow. One number stands for all steps
    where it is the same in all.
    """
    k = conditions.peukert
    if k == 1.0:
        return np.ones(1), np.zeros(1)
    rated_w = _rated_w(conditions, plant, drawn_w)
    if np.all(drawn_w <= rated_w):
        return np.ones(1), np.zeros(1)
    ratio = np.where(drawn_w > MOST_RATED * rated_w, MOST_RATED, drawn_w / np.maximum(rated_w, 1e-12))
    hard = ratio > 1.0
    by_drawn, by_rated = np.ones(ratio.shape), np.zeros(ratio.shape)
    power = ratio[hard] ** (k - 1.0)
    by_drawn[hard], by_rated[hard] = k * power, (1.0 - k) * power * ratio[hard]
    return by_drawn, by_rated


def _rated_w(conditions: Conditions, plant: Floats, of_steps: Floats) -> Floats:
    """The 20-hour power of each plant, beside what its steps have. [W]"""
    rated_w = conditions.rated_w + plant[..., conditions.layout.rated]
    return np.expand_dims(rated_w, tuple(range(plant.ndim - 1, of_steps.ndim)))


def flow_of(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None) -> Flow:
    """Net and stored power of some windows, or of all, whatever the batteries hold; of each plant."""
    charging = _some(conditions.charged_share, windows)
    power_w = _powers_w(conditions, plant, windows)
    net_w = _passed_w(conditions, plant, power_w, windows) - demand_w(conditions, plant)[..., None, :]
    by_drawn, by_rated = _drain(conditions, plant, -net_w)
    draining_w = by_drawn * net_w / conditions.discharge_efficiency
    if np.any(by_rated):
        draining_w -= by_rated * (_rated_w(conditions, plant, net_w) / conditions.discharge_efficiency)
    limit_w = float(plant[conditions.layout.charge_limit]) if conditions.has_charge_limit else np.inf
    gained_w = np.minimum(net_w, limit_w) if conditions.has_charge_limit else net_w
    drain = by_drawn, by_rated
    return Flow(conditions, power_w, net_w, draining_w, charging * gained_w, charging, drain, limit_w)


def _charge_wh(conditions: Conditions, plant: Floats, flow: Flow) -> Floats:
    """Charge at the end of each step, shape (n, n_steps). [Wh]"""
    layout = conditions.layout
    capacity_wh, missing_wh = plant[layout.capacity], plant[layout.missing]
    if conditions.taper_h is None:
        # charge[t] = min(capacity, charge[t-1] + gain) unrolled: the ceiling last met decides
        peak_wh = np.maximum.accumulate(flow.gained_wh, axis=1)
        return np.asarray(flow.gained_wh + np.minimum(capacity_wh - missing_wh, capacity_wh - peak_wh))
    kept, stored_wh = conditions.kept_share, flow.stored_wh
    charge_wh = np.empty_like(stored_wh)
    now_wh = np.full(len(stored_wh), capacity_wh - missing_wh)
    for t in range(conditions.n_steps):
        now_wh = np.minimum(now_wh + stored_wh[:, t], kept[t] * now_wh + (1.0 - kept[t]) * capacity_wh)
        charge_wh[:, t] = now_wh
    return charge_wh


def _before_cell_wh(conditions: Conditions, plant: Floats, charge_wh: Floats) -> Floats:
    """Charge at the start of each step's weather interval, shape (n, n_steps). [Wh]"""
    start_wh = plant[conditions.layout.capacity] - plant[conditions.layout.missing]
    before = np.concatenate([np.full((len(charge_wh), 1), start_wh), charge_wh], axis=1)
    return np.asarray(before[:, conditions.first_of_cell])


def _held_wh(conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None) -> Floats:
    """What must be held back in each step: the reserve and what the cold locks away. [Wh]"""
    capacity_wh, share = plant[conditions.layout.capacity], 1.0 - _some(conditions.capacity_share, windows)
    return np.asarray(conditions.reserve_share * capacity_wh + conditions.reserve_wh + share * capacity_wh)


def _drawn_wh(conditions: Conditions, plant: Floats) -> Floats:
    """What leaves the store without any sun from the start to the end of each step. [Wh]"""
    demand = demand_w(conditions, plant)
    by_drawn, by_rated = _drain(conditions, plant, demand)
    drained_w = by_drawn * demand + by_rated * _rated_w(conditions, plant, demand)
    return np.asarray(np.cumsum(drained_w / conditions.discharge_efficiency * conditions.step_h, axis=-1))


def _drawn_in_cell_wh(conditions: Conditions, plant: Floats) -> Floats:
    """The same from the start of a step's weather interval to its end. [Wh]"""
    total = _drawn_wh(conditions, plant)
    before = np.concatenate([np.zeros((*total.shape[:-1], 1)), total], axis=-1)
    return np.asarray(total - before[..., conditions.first_of_cell])


def simulate(
    conditions: Conditions, plant: Floats, windows: NDArray[np.intp] | None = None, flow: Flow | None = None
) -> Verdict:
    """Run a plant through some weather windows, or every one, and find its lowest step in each.

    Charge may go *below empty*: it is recorded as negative, never clipped. Within an interval of weather the load may
    come first and the sun last, so the lowest charge in it is that at its start less all that is drawn since.

    Parameters
    ----------
    conditions : Conditions
        The weather and loads of one case.
    plant : ndarray, shape (n_coordinates,)
        The kit, in the coordinates of ``conditions.layout``; counts may be fractional.
    windows : ndarray of int, shape (n,), optional
    flow : Flow, optional
        That of the plant in these windows, where it is known.

    Returns
    -------
    Verdict
        ``margin_wh`` per window, shape (n,). [Wh]

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
    flow = flow_of(conditions, plant, windows) if flow is None else flow
    charge_wh = _charge_wh(conditions, plant, flow)
    held_wh = _held_wh(conditions, plant, windows)
    free_wh = _before_cell_wh(conditions, plant, charge_wh) - _drawn_in_cell_wh(conditions, plant) - held_wh
    if not np.all(conditions.may_discharge):
        # frozen cells give nothing: the sun alone must carry the load
        by_sun_wh = np.where(_some(conditions.may_discharge, windows), np.inf, flow.net_w * conditions.step_h)
        free_wh = np.minimum(free_wh, by_sun_wh)
    lowest_step = np.argmin(free_wh, axis=1)
    margin_wh = np.take_along_axis(free_wh, lowest_step[:, None], axis=1)[:, 0]
    return Verdict(margin_wh, lowest_step, charge_wh, free_wh, np.asarray(held_wh))


def least_charge_wh(conditions: Conditions, plant: Floats) -> Floats:
    """The charge at the start of each step from which each window is survived; infinite where none suffices.

    The recursion of `simulate`, walked backwards: a step that ends with at least r began with what gaining, or
    filling up, turns into r. What is missing at the start of the plant counts nothing.

    Returns
    -------
    ndarray, shape (n_windows, n_steps) [Wh]
    """
    flow, capacity_wh = flow_of(conditions, plant), plant[conditions.layout.capacity]
    n = len(flow.stored_wh)
    held_wh = np.broadcast_to(_held_wh(conditions, plant), (n, conditions.n_steps))
    drawn_wh = np.diff(_drawn_wh(conditions, plant), prepend=0.0)
    is_dark = np.broadcast_to(~conditions.may_discharge, held_wh.shape)
    is_short = is_dark & (flow.net_w * conditions.step_h < -TOLERANCE_WH)
    kept = None if conditions.taper_h is None else conditions.kept_share
    is_last = np.append(np.diff(conditions.first_of_cell) > 0, True)
    least_wh = np.empty((n, conditions.n_steps))
    after_wh = within_wh = np.zeros(n)
    for t in range(conditions.n_steps - 1, -1, -1):
        if is_last[t]:
            # what the next interval of weather asks for at its start
            after_wh = least_wh[:, t + 1] if t + 1 < conditions.n_steps else np.zeros(n)
            within_wh = np.zeros(n)
        before_wh = after_wh - flow.stored_wh[:, t]
        if kept is not None:
            before_wh = np.maximum(before_wh, (after_wh - (1.0 - kept[t]) * capacity_wh) / kept[t])
        after_wh = np.where(after_wh > capacity_wh + TOLERANCE_WH, np.inf, before_wh)
        within_wh = np.where(is_short[:, t], np.inf, drawn_wh[t] + np.maximum(within_wh, held_wh[:, t]))
        least_wh[:, t] = np.maximum(within_wh, after_wh)
    return np.asarray(np.where(least_wh > capacity_wh + TOLERANCE_WH, np.inf, least_wh))


def needed_wh(
    conditions: Conditions,
    plant: Floats,
    missing_share: float,
    windows: NDArray[np.intp] | None = None,
    flow: Flow | None = None,
) -> Floats:
    """The usable capacity that some windows, or all, ask of a plant, or of each of some. [Wh]

    With g the energy gained since the start without a ceiling, p its running maximum, κ the capacity share, d what is
    drawn since the interval of weather began, and a battery that starts short of σ of its capacity C, the margin is
    the least over the steps of ``(κ - ρ - σ)·C - r - d + g`` and ``(κ - ρ)·C - r - d + g - p``: a window is survived
    from one capacity on. Infinite where none suffices. A taper only ever stores less: then more may be needed.

    Parameters
    ----------
    plant : ndarray, shape (..., n_coordinates)
        Their own capacities do not count.
    missing_share : float
        Share of the capacity that is missing at the start, in place of the plant's own. [0–1]
    flow : Flow, optional
        As for `simulate`.

    Returns
    -------
    ndarray, shape (..., n)
    """
    flow, cells = flow_of(conditions, plant, windows) if flow is None else flow, conditions.cells
    gained_wh = flow.gained_wh
    peak_wh = np.maximum.accumulate(gained_wh, axis=-1)
    drawn_wh = _drawn_in_cell_wh(conditions, plant)[..., None, cells.ends] + (conditions.reserve_wh - TOLERANCE_WH)
    # in the first interval nothing is gained yet, and no ceiling was met
    n, share = cells.n_first, _some(conditions.free_share, windows)[:, cells.ends]
    short_wh = drawn_wh[..., n:] - gained_wh[..., cells.before]
    needed = np.maximum(
        _least_capacity_wh(drawn_wh[..., :n], share[:, :n] - missing_share),
        _least_capacity_wh(short_wh, share[:, n:] - missing_share),
    )
    short_wh += peak_wh[..., cells.before]
    needed = np.maximum(needed, _least_capacity_wh(short_wh, share[:, n:]))
    if not np.all(conditions.may_discharge):
        is_short = ~_some(conditions.may_discharge, windows) & (flow.net_w * conditions.step_h < -TOLERANCE_WH)
        needed[np.any(is_short, axis=-1)] = np.inf
    return needed


def _least_capacity_wh(short_wh: Floats, share: Floats) -> Floats:
    """The least capacity of which that share makes good what is short in every step. [Wh]"""
    if np.all(share > 0.0):
        return np.asarray(np.max(short_wh / share, axis=-1, initial=0.0))
    short_wh, share = np.broadcast_arrays(short_wh, share)
    each = np.where(share > 0.0, short_wh / np.where(share > 0.0, share, 1.0), np.inf)
    return np.asarray(np.max(np.where(short_wh > 0.0, each, 0.0), axis=-1, initial=0.0))


@dataclass(frozen=True)
class _Since:
    """What of a window's past still counts in its lowest charge: steps, and the charge missing at the start.

    The rest of the weight, up to one, is on the capacity: in steps in which the battery was full, or as full as it
    lets itself be charged.
    """

    steps: Floats
    missing: Floats
    first_step: NDArray[np.intp]


def _since_full(conditions: Conditions, plant: Floats, flow: Flow, until: NDArray[np.intp]) -> _Since:
    """Weights of the steps up to and with `until`, by the active branch of each minimum."""
    n, steps = len(flow.net_w), np.arange(conditions.n_steps)
    is_past = steps <= until[:, None]
    if conditions.taper_h is None:
        # the last full step before the lowest one, or the start
        gained_wh = np.where(is_past, flow.gained_wh, -np.inf)
        full_step = conditions.n_steps - 1 - np.argmax(gained_wh[:, ::-1], axis=1)
        since_start = plant[conditions.layout.missing] >= gained_wh[np.arange(n), full_step]
        first = np.where(since_start, -1, full_step)
        counted = is_past & (steps > first[:, None])
        return _Since(counted.astype(np.float64), since_start.astype(np.float64), first)
    capacity_wh, kept, stored_wh = plant[conditions.layout.capacity], conditions.kept_share, flow.stored_wh
    charge_wh = _charge_wh(conditions, plant, flow)
    start_wh = np.full((n, 1), capacity_wh - plant[conditions.layout.missing])
    before_wh = np.concatenate([start_wh, charge_wh[:, :-1]], axis=1)
    tapers = is_past & (kept * before_wh + (1.0 - kept) * capacity_wh < before_wh + stored_wh)
    weight, now = np.zeros(stored_wh.shape), np.ones(n)
    for t in range(conditions.n_steps - 1, -1, -1):
        weight[:, t] = np.where(is_past[:, t] & ~tapers[:, t], now, 0.0)
        now = np.where(tapers[:, t], kept[t] * now, now)
    first = np.where(tapers.any(axis=1), conditions.n_steps - 1 - np.argmax(tapers[:, ::-1], axis=1), -1)
    return _Since(weight, now, first)


def cuts(
    conditions: Conditions,
    plant: Floats,
    last: NDArray[np.intp],
    windows: NDArray[np.intp],
    flow: Flow | None = None,
) -> Cuts:
    """Differentiate the margin of some windows at a judged plant.

    Between the last step at which the battery was full and the lowest step, every minimum is
    replaced by its active branch: a linear function of the plant above the margin everywhere.

    Parameters
    ----------
    conditions, plant, flow
        As for `simulate`.
    last : ndarray of int, shape (n,)
        The lowest step of each, from the verdict.
    windows : ndarray of int, shape (n,)
        Which windows.
    """
    layout, step_h = conditions.layout, conditions.step_h
    steps = np.arange(conditions.n_steps)
    capacity_share = np.broadcast_to(conditions.capacity_share, (conditions.n_windows, conditions.n_steps))
    # to pick out what is all there is would only copy it
    some = None if np.array_equal(windows, np.arange(conditions.n_windows)) else windows
    flow = flow_of(conditions, plant, some) if flow is None else flow
    since = _since_full(conditions, plant, flow, conditions.first_of_cell[last] - 1)
    # from the start of the lowest step's interval on, what is drawn without sun
    in_cell = (steps >= conditions.first_of_cell[last][:, None]) & (steps <= last[:, None])
    by_drawn, by_rated = _drain(conditions, plant, demand_w(conditions, plant))
    weight = since.steps * step_h
    by_net, by_load = weight * flow.by_net, in_cell * by_drawn * step_h / conditions.discharge_efficiency
    rated = np.zeros(len(windows))
    if np.any(by_rated) or np.any(flow.drain[1]):
        rated = np.sum(weight * flow.by_rated - in_cell * by_rated * step_h / conditions.discharge_efficiency, axis=1)
    capacity = capacity_share[windows, last] - conditions.reserve_share
    held_wh, missing = np.full(len(windows), conditions.reserve_wh), since.missing

    frozen = _is_frozen(conditions, plant, flow, windows, last)
    if np.any(frozen):
        by_sun = frozen[:, None] & (steps == last[:, None])
        by_net = np.where(frozen[:, None], by_sun * step_h, by_net)
        by_load, rated = np.where(frozen[:, None], 0.0, by_load), np.where(frozen, 0.0, rated)
        weight = np.where(frozen[:, None], 0.0, weight)
        capacity, held_wh = np.where(frozen, 0.0, capacity), np.where(frozen, 0.0, held_wh)
        missing = np.where(frozen, 0.0, missing)

    slope = np.zeros((len(windows), layout.size))
    slope[:, layout.capacity], slope[:, layout.missing], slope[:, layout.rated] = capacity, -missing, rated
    if conditions.has_charge_limit:
        slope[:, layout.charge_limit] = conditions.charge_efficiency * np.sum(weight * flow.is_capped, axis=1)
    for unit in range(layout.n_units):
        clipped = flow.power_w.get(unit, np.zeros(1)) > plant[layout.limit(unit)]
        slope[:, layout.limit(unit)] = np.sum(np.where(clipped, by_net, 0.0), axis=1)
        passed = np.where(clipped, 0.0, by_net)
        used = {source.shape for source in conditions.sources}
        by_shape = {s: np.einsum("kt,kt->k", passed, _some(conditions.shapes[s], some)) for s in used}
        for s, source in enumerate(conditions.sources):
            share = 1.0 if source.share is None else source.share[windows]
            slope[:, layout.panel(unit, s)] = by_shape[source.shape] * share
    by_demand = by_net + by_load
    slope[:, layout.demand(0) : layout.demand(0) + layout.n_demands] = -by_demand @ conditions.demand_shapes.T
    constant = -by_demand @ conditions.load_w - held_wh + rated * conditions.rated_w
    return Cuts(windows, slope, constant, np.where(frozen, last - 1, since.first_step), last)


def _is_frozen(
    conditions: Conditions, plant: Floats, flow: Flow, windows: NDArray[np.intp], last: NDArray[np.intp]
) -> NDArray[np.bool_]:
    """Whether the lowest step of each window is one in which frozen cells leave the load to the sun."""
    rows = np.arange(len(windows))
    may_discharge = np.broadcast_to(conditions.may_discharge, (conditions.n_windows, conditions.n_steps))[windows]
    frozen = ~may_discharge[rows, last]
    if not np.any(frozen):
        return frozen
    capacity_wh = plant[conditions.layout.capacity]
    capacity_share = np.broadcast_to(conditions.capacity_share, (conditions.n_windows, conditions.n_steps))[windows]
    charge_wh = _charge_wh(conditions, plant, flow)
    low_wh = _before_cell_wh(conditions, plant, charge_wh)[rows, last] - _drawn_in_cell_wh(conditions, plant)[last]
    held_wh = (1.0 + conditions.reserve_share - capacity_share[rows, last]) * capacity_wh + conditions.reserve_wh
    return np.asarray(frozen & (flow.net_w[rows, last] * conditions.step_h[last] < low_wh - held_wh))
