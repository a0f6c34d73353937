"""The spells of weather as bytes, and all else that a judge of their rest needs: what a page carries to the field.

One series suffices: what the controllers pass on, whatever the loads are. It is counted in energy, and the running sum
is rounded, never each step, so that errors do not add up. Loads used otherwise change the demand alone.
"""

from __future__ import annotations

from base64 import b64encode
from dataclasses import dataclass, replace
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.ask.change import Change, Question
from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.engine.judge import charging_w, demand_w
from kitopt.engine.plant import Conditions
from kitopt.field.now import changes_of_loads
from kitopt.field.tripwires import over_steps
from kitopt.model.case import case_under

MOST_BYTES = 160_000
"""Of spells times lit intervals; where there are more, every second or third spell is carried, and that is said."""
_CODES = 254
_NOTHING_WH = 0.01
_COLD_EVERY_H = (0.5, 1.0, 2.0)
"""Cells follow the air late, so what the cold leaves runs on a line between two of its values: the closer, the nearer
the chances are to the planner's."""
_FINE_BYTES = 120_000
"""Of sun and cold together; where there are more, the values of the cold are farther apart."""


@dataclass(frozen=True)
class Otherwise:
    """A load used otherwise: what it adds to the demand in each step, negative where it saves. [W]"""

    change: Change
    is_nice: bool
    more_w: tuple[float, ...]


@dataclass(frozen=True, eq=False)
class Spells:
    """A judge's input, in plain numbers; an interval is one of weather, which loads may split into steps.

    Attributes
    ----------
    n : int
        Spells carried, of ``n_all``.
    unit_wh : float
        Energy of one code. [Wh]
    lit : tuple of int
        Intervals in which any spell has sun.
    gains : bytes
        What the controllers pass on in each of them, spell by spell, in units.
    interval : tuple of int
        The interval of each step.
    step_h : tuple of float
        [h]
    demand_w : tuple of float
        With the loads as planned. [W]
    cold : bytes
        The share of the capacity that the cold leaves, from ``cold_low`` in steps of ``cold_step``, spell by spell, or
        once where all are alike: of every ``cold_every``-th interval and the last; between them it runs on a line.
    marks : tuple of int
        Of each interval, spell by spell or once: 1 where the cells may be charged, 2 more where they give anything. As
        runs: a mark, how often it stands, the next one.
    start_wh, full_wh, held_wh : float
        Charge at the start, when full, and what is held back before the cold's part. [Wh]
    charge_efficiency, discharge_efficiency : float
        Stored over put in, delivered over taken. [0–1]
    limit_w, taper_h, peukert, rated_w
        As the judge has them; None where there is no limit, or no taper.
    otherwise : tuple of Otherwise
    """

    n: int
    n_all: int
    unit_wh: float
    lit: tuple[int, ...]
    gains: bytes
    interval: tuple[int, ...]
    step_h: tuple[float, ...]
    demand_w: tuple[float, ...]
    cold: bytes
    cold_low: float
    cold_step: float
    cold_every: int
    marks: tuple[int, ...]
    start_wh: float
    full_wh: float
    held_wh: float
    charge_efficiency: float
    discharge_efficiency: float
    limit_w: float | None
    taper_h: float | None
    peukert: float
    rated_w: float
    otherwise: tuple[Otherwise, ...]

    def saved_wh(self, way: Otherwise) -> float:
        """What a load used otherwise saves over the whole. [Wh]"""
        return -sum(map(float.__mul__, way.more_w, self.step_h))

    def as_values(self) -> dict[str, Any]:
        """Plain numbers and text, without the changes, which somebody else words."""
        values = {**vars(self), "gains": b64encode(self.gains).decode(), "cold": b64encode(self.cold).decode()}
        del values["otherwise"]
        return {name: list(value) if isinstance(value, tuple) else value for name, value in values.items()}


def spells(choice: Choice) -> Spells:
    """Of a choice with one kit that is measured."""
    made = choice.made
    assert made is not None
    conditions, plant = made.base
    layout = conditions.layout
    starts, interval = np.unique(conditions.first_of_cell, return_inverse=True)
    length_h = np.bincount(interval, weights=conditions.step_h)
    brought_wh = charging_w(conditions, plant)[:, starts] * length_h
    lit = np.flatnonzero(np.any(brought_wh > 0.0, axis=0))
    stride = max(1, -(-len(brought_wh) * max(1, len(lit)) // MOST_BYTES))
    unit_wh, codes = _coded(brought_wh[::stride][:, lit])
    share = _rows(conditions.capacity_share, stride)[:, starts]
    for every_h in _COLD_EVERY_H:
        every = max(1, round(every_h / choice.operation.need.step_h))
        if len(codes) + share.size // every <= _FINE_BYTES:
            break
    cold, low, step = _cold(share, every)
    full_wh = float(plant[layout.capacity])
    return Spells(
        n=len(brought_wh[::stride]),
        n_all=len(brought_wh),
        unit_wh=unit_wh,
        lit=tuple(int(one) for one in lit),
        gains=codes,
        interval=tuple(int(one) for one in interval),
        step_h=_rounded(conditions.step_h, 9),
        demand_w=_rounded(demand_w(conditions, plant)),
        cold=cold,
        cold_low=low,
        cold_step=step,
        cold_every=every,
        marks=_marks(conditions, starts, stride),
        start_wh=round(full_wh - float(plant[layout.missing]), 4),
        full_wh=round(full_wh, 4),
        held_wh=round(conditions.reserve_share * full_wh + conditions.reserve_wh, 4),
        charge_efficiency=conditions.charge_efficiency,
        discharge_efficiency=conditions.discharge_efficiency,
        limit_w=float(plant[layout.charge_limit]) if conditions.has_charge_limit else None,
        taper_h=conditions.taper_h,
        peukert=conditions.peukert,
        rated_w=round(conditions.rated_w + float(plant[layout.rated]), 4),
        otherwise=_otherwise(choice),
    )


def _coded(energy_wh: Floats) -> tuple[float, bytes]:
    """Energies as bytes, and what one unit is: differences of the rounded running sum. [Wh]"""
    most = float(np.max(energy_wh, initial=0.0))
    unit_wh = float(f"{most / _CODES:.9g}") if most > 0.0 else 1.0
    sums = np.round(np.cumsum(energy_wh, axis=1) / unit_wh)
    return unit_wh, np.diff(sums, axis=1, prepend=0.0).astype(np.uint8).tobytes()


def _rows(values: NDArray[Any], stride: int) -> NDArray[Any]:
    """The rows of the spells that are carried; one where all are alike."""
    return values[:1] if np.all(values == values[:1]) else values[::stride]


def _cold(share: Floats, every: int) -> tuple[bytes, float, float]:
    """What the cold leaves, as bytes; from what share on, and in what steps."""
    knots = share[:, np.unique(np.append(np.arange(0, share.shape[1], every), share.shape[1] - 1))]
    low, high = float(f"{np.min(knots):.9g}"), float(np.max(knots))
    step = float(f"{max(high - low, 0.0) / _CODES:.9g}")
    codes = np.clip(np.round((knots - low) / step), 0, 255) if step > 1e-9 else np.zeros(knots.shape)
    return codes.astype(np.uint8).tobytes(), low, step


def _marks(conditions: Conditions, starts: NDArray[np.intp], stride: int) -> tuple[int, ...]:
    """Whether the cells may be charged, and whether they give anything."""
    shape = conditions.n_windows, conditions.n_steps
    marks = np.broadcast_to(conditions.may_charge + 2 * conditions.may_discharge, shape)
    flat = _rows(marks, stride)[:, starts].ravel()
    firsts = np.flatnonzero(np.diff(flat, prepend=-1))
    lengths = np.diff(firsts, append=len(flat))
    return tuple(int(one) for pair in zip(flat[firsts], lengths, strict=True) for one in pair)


def _otherwise(choice: Choice) -> tuple[Otherwise, ...]:
    """Each load off, and whatever else `kitopt now` would try with it and saves anything."""
    made, operation = choice.made, choice.operation
    assert made is not None
    # without panels: demand has no part in the sun
    bare = made.counts.copy()
    bare[made.model.join_columns] = 0.0

    def demand(asked: Change | None) -> tuple[Conditions, Floats]:
        at = operation if asked is None else asked.operation(operation)
        case = case_under(replace(made.model, operation=at), choice.sky, counts=bare)
        return case.conditions, demand_w(case.conditions, case.plant(bare))

    planned, as_planned_w = demand(None)
    uses = operation.loads
    off = [Change("load off", use.id, "", i) for i, use in enumerate(uses) if use.priority != "nice"]
    found = []
    for change in (*changes_of_loads(Question(operation, choice.inventory)), *off):
        then, drawn_w = demand(change)
        more_w = over_steps(planned, then, drawn_w) - as_planned_w
        if float(more_w @ planned.step_h) > -_NOTHING_WH:
            continue
        found.append(Otherwise(change, uses[change.place].priority == "nice", _rounded(more_w)))
    return tuple(found)


def _rounded(values: Floats, digits: int = 4) -> tuple[float, ...]:
    return tuple(round(float(one), digits) + 0.0 for one in values)
