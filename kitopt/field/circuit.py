"""A panel, its lead, its controller and a battery as meters see them, for many suppositions at once.

The curve of one diode as the second opinion has it, solved for the diode's voltage, so that nothing but numpy is
needed. A shaded fold makes a step in the curve: where its bypass diode carries the others' current, or where it holds
all of them down to its own.
"""

from __future__ import annotations

from dataclasses import dataclass
from typing import NamedTuple

import numpy as np
from numpy.typing import NDArray

from kitopt.field.set_up import SetUp
from kitopt.inventory.items import Panel
from kitopt.second_opinion.diode import Diode, in_light, label_of
from kitopt.second_opinion.panels import STEP_DOWN_V

Floats = NDArray[np.float64]
Flags = NDArray[np.bool_]

BYPASS, SERIES, PARALLEL = 0, 1, 2
"""How folds are joined: in series each with a bypass diode, in series without, side by side."""

DIODE_V = 0.5
"""A bypass diode that carries current. [V]"""
PASSED_SHARE = {"pwm": 0.99}
"""What a controller that only switches keeps for itself of the current; from memory."""
KNEE_SHARE = 0.94
"""Current at the best point over that of the short circuit: the median of labels, as imp_a over isc_a."""
_GRID = np.linspace(0.55, 1.0, 28)
"""Where a panel's best point is looked for, as shares of its open circuit."""


@dataclass
class Supposed:
    """Suppositions, each an entry of arrays of one shape (n,).

    Attributes
    ----------
    light_wm2, cell_degc : ndarray
        What passes the glass [Wm⁻²], and the cells' temperature [°C].
    worth : ndarray
        Current over that of the label; dirt counts here.
    folds, wiring : ndarray of int
        How many, and how they are joined.
    fold_light : ndarray
        Light left on one fold, as a share of the others'.
    is_open : ndarray of bool
        One fold gives nothing: it is open, or its diode is shorted.
    lead_ohm, more_ohm : ndarray
        Between the lead's ends, and elsewhere before the controller. [Ω]
    passes_share : ndarray
        What the controller lets through of what it could.
    held : ndarray of int
        Where a controller that tracks holds its panels: 0 best, 1 a volt above the battery, 2 near open circuit.
    held_share : ndarray
        Share of the open circuit, for the last.
    takes_share : ndarray
        What the battery takes of what it is offered.
    battery_v : ndarray
        Of the battery, before the current raises it. [V]
    fill_ohm : ndarray
        By which the current raises it. [Ω]
    is_cut, is_broken, is_reversed : ndarray of bool
        The battery refuses all; the way is broken; plus and minus are swapped.
    break_before : ndarray of bool
        Whether the break is before the controller.
    """

    light_wm2: Floats
    cell_degc: Floats
    worth: Floats
    folds: NDArray[np.int64]
    wiring: NDArray[np.int64]
    fold_light: Floats
    is_open: Flags
    lead_ohm: Floats
    more_ohm: Floats
    passes_share: Floats
    held: NDArray[np.int64]
    held_share: Floats
    takes_share: Floats
    battery_v: Floats
    fill_ohm: Floats
    is_cut: Flags
    is_broken: Flags
    break_before: Flags
    is_reversed: Flags


class Seen(NamedTuple):
    """What meters without any error would read, each of shape (n,)."""

    amps: Floats
    volts: Floats
    panel_v: Floats
    voc_v: Floats
    isc_a: Floats
    lead_a: Floats


def seen(set_up: SetUp, some: Supposed) -> Seen:
    """Amperes into the battery and what else can be read, of each supposition."""
    diode = in_light(label_of(set_up.panel), np.maximum(some.light_wm2 * some.worth, 0.5), some.cell_degc)
    folds = some.folds.astype(np.float64)
    is_beside = some.wiring == PARALLEL
    # folds side by side lose current, all the others volts
    beside = np.where(some.is_open, (folds - 1.0) / folds, (folds - 1.0 + some.fold_light) / folds)
    diode = diode._replace(made_a=diode.made_a * np.where(is_beside, beside, 1.0))
    is_shaded = ~is_beside & ~some.is_open & (some.fold_light < 1.0)
    is_open = ~is_beside & some.is_open
    has_step = is_open | (is_shaded & (some.wiring == BYPASS))
    part = (folds - 1.0) / folds
    low_a = np.where(is_shaded, diode.made_a * some.fold_light, np.where(is_open, 0.0, np.inf))
    leak = np.where(is_shaded & (some.wiring == SERIES), folds / diode.shunt_ohm, 0.0)
    curve = _Curve(diode, some.lead_ohm + some.more_ohm, has_step, part, low_a, leak)

    voc = _open_v(diode)
    dim = np.maximum(some.fold_light, 1e-3)
    of_fold = _open_v(diode._replace(made_a=diode.made_a * dim, shunt_ohm=diode.shunt_ohm / dim))
    voc_v = np.where(is_shaded, part * voc + of_fold / folds, np.where(is_open, part * voc, voc))
    isc_a = curve.without_lead().at(np.zeros_like(voc))

    tracks = set_up.controller.kind == "mppt"
    share = set_up.controller.efficiency if tracks else PASSED_SHARE["pwm"] * set_up.controller.efficiency
    volts = some.battery_v
    given_a = panel_v = lead_a = np.zeros_like(volts)
    for _ in range(2):
        if tracks:
            least_v = volts + (0.0 if set_up.controller.boost else STEP_DOWN_V)
            panel_v, lead_a = curve.best(voc, least_v)
            low, high = some.held == 1, some.held == 2
            if low.any() or high.any():
                fixed_v = np.where(low, least_v, some.held_share * voc_v)
                panel_v = np.where(low | high, fixed_v, panel_v)
                lead_a = np.where(low | high, curve.at(fixed_v), lead_a)
            given_a = share * panel_v * lead_a / volts
        else:
            panel_v = volts + set_up.switch_v
            lead_a = curve.at(panel_v)
            given_a = share * lead_a
        volts = some.battery_v + given_a * some.fill_ohm
    if set_up.controller.start_above_v is not None:
        given_a = np.where(voc_v > set_up.controller.start_above_v, given_a, 0.0)
    taken_a = np.minimum(given_a, set_up.most_a) * np.minimum(some.passes_share, some.takes_share)
    is_dead = some.is_broken | some.is_reversed
    taken_a = np.where(some.is_cut | is_dead, 0.0, taken_a)
    # what is not taken lets the panel's volts rise
    is_held = taken_a < given_a - 1e-9
    need_a = lead_a * taken_a / np.maximum(given_a, 1e-9)
    if is_held.any():
        risen_v = curve.of(is_held).volts_at(need_a[is_held], voc_v[is_held])
        panel_v[is_held] = np.maximum(risen_v, panel_v[is_held])
    panel_v = np.where(given_a <= 1e-9, voc_v, panel_v)
    lead_a = np.where(is_held, need_a, lead_a)
    no_panel = some.is_reversed | (some.is_broken & some.break_before)
    panel_v = np.where(no_panel, 0.0, np.where(some.is_broken, voc_v, panel_v))
    volts = some.battery_v + np.where(some.is_cut, 0.0, taken_a * some.fill_ohm)
    return Seen(taken_a, volts, panel_v, np.where(some.is_reversed, -voc_v, voc_v), isc_a, lead_a)


def most_power(panel: Panel, light_wm2: Floats, cell_degc: Floats) -> tuple[Floats, Floats]:
    """Volts and current of a panel at its best point, label times light. [V], [A]"""
    diode = in_light(label_of(panel), np.maximum(light_wm2, 0.5), cell_degc)
    none, no = np.zeros_like(light_wm2), np.zeros(len(light_wm2), dtype=bool)
    curve = _Curve(diode, none, no, none + 1.0, none + np.inf, none)
    return curve.best(_open_v(diode), none)


class _Curve:
    """Current of each panel behind its ohms, with the step that a fold makes in it."""

    def __init__(self, diode: Diode, ohm: Floats, has_step: Flags, part: Floats, low_a: Floats, leak: Floats) -> None:
        self.diode, self.ohm, self.has_step, self.part = diode, ohm, has_step, part
        self.low_a, self.leak = low_a, leak

    def without_lead(self) -> _Curve:
        """At the panel's own plug."""
        return _Curve(self.diode, np.zeros_like(self.ohm), self.has_step, self.part, self.low_a, self.leak)

    def of(self, rows: Flags) -> _Curve:
        """Some of them alone."""
        return _Curve(
            _of(self.diode, rows),
            self.ohm[rows],
            self.has_step[rows],
            self.part[rows],
            self.low_a[rows],
            self.leak[rows],
        )

    def at(self, volts: Floats) -> Floats:
        """Current at the far end's volts. [A]"""
        whole = _amps_at(self.diode, volts, self.ohm, np.ones_like(volts))
        if not np.isfinite(self.low_a).any():
            return whole
        # driven backwards, a fold without a bypass leaks
        open_v = _open_v(self.diode)
        held = self.low_a + self.leak * np.maximum(self.part * open_v * 0.97 - volts, 0.0)
        found = np.minimum(whole, held)
        step = self.has_step
        if step.any():
            some = _of(self.diode, step)
            over = _amps_at(some, volts[step] + DIODE_V, self.ohm[step], self.part[step])
            found[step] = np.maximum(found[step], over)
        return found

    def best(self, open_v: Floats, least_v: Floats) -> tuple[Floats, Floats]:
        """Volts and current where the panel gives most, not below some volts. [V], [A]"""
        best_v = best_w = np.zeros_like(open_v)
        best_a = np.zeros_like(open_v)
        ways = [(np.ones(len(open_v), dtype=bool), np.ones_like(open_v), 0.0)]
        if self.has_step.any():
            ways.append((self.has_step, self.part, DIODE_V))
        for rows, part, less_v in ways:
            d = _of(self.diode, rows, (slice(None), None))
            inner_v = open_v[rows][:, None] * _GRID
            a = np.maximum(_diode_amps(d, inner_v), 0.0)
            share = part[rows][:, None]
            if less_v == 0.0:
                # the shaded fold is at its own best point a little below the most that it lets through
                a = np.minimum(a, KNEE_SHARE * self.low_a[rows][:, None])
            v = share * (inner_v - a * d.series_ohm) - less_v - a * self.ohm[rows][:, None]
            floor_v = least_v[rows]
            w = np.where(v >= floor_v[:, None], v * a, 0.0)
            n = np.arange(len(w))
            at = np.clip(w.argmax(axis=1), 1, len(_GRID) - 2)
            # a parabola through three points finds the top between them
            left, top, right = w[n, at - 1], w[n, at], w[n, at + 1]
            bend = left - 2 * top + right
            inner = (left > 0.0) & (bend < 0.0)
            shift = np.where(inner, 0.5 * (left - right) / np.where(inner, bend, 1.0), 0.0)
            shift = np.clip(shift, -1.0, 1.0)
            v_top = v[n, at] + shift * (v[n, at + 1] - v[n, at - 1]) / 2.0
            w_top = np.where(inner, top - 0.25 * (left - right) * shift, w.max(axis=1))
            v_top = np.where(inner, v_top, v[n, w.argmax(axis=1)])
            better = w_top > best_w[rows]
            rows_better = np.flatnonzero(rows)[better]
            best_v, best_w, best_a = best_v.copy(), best_w.copy(), best_a.copy()
            best_w[rows_better], best_v[rows_better] = w_top[better], v_top[better]
            best_a[rows_better] = w_top[better] / np.maximum(v_top[better], 1e-9)
        # where the best lies below what may be, it is held at the least
        at_least = self.at(least_v)
        lower = at_least * least_v > best_w
        return np.where(lower, least_v, best_v), np.where(lower, at_least, best_a)

    def volts_at(self, amps: Floats, open_v: Floats) -> Floats:
        """Volts at which so much flows, above the best point. [V]"""
        low, high = np.zeros_like(open_v), open_v.copy()
        for _ in range(12):
            middle = 0.5 * (low + high)
            more = self.at(middle) > amps
            low, high = np.where(more, middle, low), np.where(more, high, middle)
        return 0.5 * (low + high)


def _of(diode: Diode, rows: Flags, axes: tuple[slice, None] | tuple[()] = ()) -> Diode:
    """Some of them alone, with one more axis where it is wanted."""
    return Diode(
        diode.made_a[rows][axes or ...],
        diode.saturation_a[rows][axes or ...],
        diode.series_ohm,
        diode.shunt_ohm[rows][axes or ...],
        diode.slope_v[rows][axes or ...],
    )


def _diode_amps(diode: Diode, inner_v: Floats) -> Floats:
    """Current at the diode's own voltage. [A]"""
    grown = np.expm1(np.minimum(inner_v / diode.slope_v, 60.0))
    return diode.made_a - diode.saturation_a * grown - inner_v / diode.shunt_ohm


def _open_v(diode: Diode) -> Floats:
    volts = diode.slope_v * np.log1p(diode.made_a / diode.saturation_a)
    for _ in range(3):
        slope = diode.saturation_a / diode.slope_v * np.exp(volts / diode.slope_v) + 1.0 / diode.shunt_ohm
        volts = volts + _diode_amps(diode, volts) / slope
    return volts


def _amps_at(diode: Diode, volts: Floats, ohm: Floats, part: Floats) -> Floats:
    """Current of a part of the cells behind some ohms, zero beyond open circuit. [A]

    What the diode sees is more than what is outside by the current's drop: a convex function, so that Newton's
    method comes down to it from above.
    """
    all_ohm = part * diode.series_ohm + ohm
    # the lower of two bounds: no drop beyond the made current's, no voltage beyond open circuit's
    inner = np.minimum((volts + diode.made_a * all_ohm) / part, _open_v(diode) + 0.05)
    inner = np.maximum(inner, volts / part)
    for _ in range(9):
        amps = _diode_amps(diode, inner)
        slope = part + all_ohm * (
            diode.saturation_a / diode.slope_v * np.exp(np.minimum(inner / diode.slope_v, 60.0)) + 1.0 / diode.shunt_ohm
        )
        inner = inner - (part * inner - amps * all_ohm - volts) / slope
    return np.maximum(_diode_amps(diode, inner), 0.0)
