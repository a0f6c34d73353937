"""A logged outing against its plan: amperes in and out by the hour, the spell that it was like, and what to do now."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from kitopt.choice.in_hand import wired
from kitopt.choice.program import used_by
from kitopt.engine.between import between
from kitopt.engine.judge import charging_w, demand_w, simulate
from kitopt.engine.plant import Conditions
from kitopt.errors import BadInput, Fault
from kitopt.field.drawn import Discharge, Drew, discharge_of, empty_by, loads_drawn
from kitopt.inventory.items import Battery, Inventory
from kitopt.model.case import case_under, missing_wh
from kitopt.model.kit import Join, KitModel
from kitopt.operation.clock import moment_after
from kitopt.operation.log import Log
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Floats = NDArray[np.float64]

WHOLE_SHARE = 0.9
"""An hour of which less was logged is not held against the plan."""
STORE_SHARE: Mapping[str, tuple[float, float]] = {"lifepo4": (0.5, 0.6), "li-ion": (0.5, 0.6), "agm": (1.0, 1.0)}
"""Charge at which a battery is stored, by chemistry. Common practice, no source."""
RECHARGE_DAYS: Mapping[str, int] = {"lifepo4": 90, "li-ion": 90, "agm": 1}
"""Within so many days it is to be brought there. Common practice, no source."""
_EMPTY_AH, _NOTHING_AH = 0.05, 1e-9
_NINETY = (0.05, 0.5, 0.95)


@dataclass(frozen=True)
class Hour:
    """One hour of the plan, in ampere-hours.

    Attributes
    ----------
    in_ah, out_ah : float
        Logged. [Ah]
    low_ah, middle_ah, high_ah : float
        Of the planned spells 5, 50 and 95 % gave less. [Ah]
    planned_out_ah : float
        What loads and controllers were to draw. [Ah]
    """

    start: datetime
    is_whole: bool
    in_ah: float
    out_ah: float
    low_ah: float
    middle_ah: float
    high_ah: float
    planned_out_ah: float


@dataclass(frozen=True)
class Store:
    """What becomes of a battery at home: to which shares of full, and by when."""

    battery: str
    low_share: float
    high_share: float
    until: datetime


@dataclass(frozen=True)
class Best:
    """The hour in which most was charged: worth keeping as a reading of the panel, where there is but one type."""

    panel: str
    controller: str
    at: datetime
    amps: float


@dataclass(frozen=True, eq=False)
class Review:
    """How an outing went.

    Attributes
    ----------
    kit : mapping of item id to int
        What was used.
    gaps : tuple of (start, hours)
    in_ah, out_ah, planned_out_ah : float
        Over the hours that were logged whole. [Ah]
    planned_in_ah : tuple of float
        Of the planned spells 5, 50 and 95 % gave less over these hours. [Ah]
    below_share : float
        Of the planned spells, those that gave less than was logged.
    like : str
        The spell whose hours come nearest.
    lowest_share, lowest_at, end_share : float, datetime, float
        Of what may be used, counted from the charge that the plan starts with.
    is_empty : bool
        Whether nothing was left by this count.
    recharge_ah : float
        To be put in until full. [Ah]
    start_ah : float
        What may be used at the start. [Ah]
    came_ah, went_ah : ndarray, shape (n_hours,)
        Into the battery, less what is lost in it, and out of it; no sun and what was planned where too little of the
        hour was logged. [Ah]
    gave_ah : mapping of panel id to float
        By columns of their own. [Ah]
    loads : tuple of Drew
    discharges : tuple of Discharge
    """

    operation: Operation
    inventory: Inventory
    kit: Mapping[str, int]
    hours: tuple[Hour, ...]
    gaps: tuple[tuple[datetime, float], ...]
    n_windows: int
    in_ah: float
    out_ah: float
    planned_in_ah: tuple[float, float, float]
    planned_out_ah: float
    below_share: float
    like: str
    nominal_v: float
    usable_ah: float
    lowest_share: float
    lowest_at: datetime
    end_share: float
    is_empty: bool
    recharge_ah: float
    stores: tuple[Store, ...]
    best: Best | None
    columns: tuple[tuple[str, str], ...]
    start_ah: float
    came_ah: Floats
    went_ah: Floats
    gave_ah: Mapping[str, float]
    loads: tuple[Drew, ...]
    discharges: tuple[Discharge, ...]


def review(operation: Operation, inventory: Inventory, kit: Mapping[str, int], log: Log, sky: Sky) -> Review:
    """Hold a log against what was planned of a kit.

    Raises
    ------
    BadInput
        Where nothing of the kit fits together, or nothing was logged within the operation's hours.
    """
    model, counts = wired(operation, inventory, sky, kit)
    nominal_v, case = model.bus.nominal_v, case_under(model, sky, counts=counts)
    plant = case.plant(counts)
    edges_h = np.append(np.arange(np.ceil(operation.hours - 1e-9)), operation.hours)
    steps_h = np.concatenate([[0.0], np.cumsum(case.conditions.step_h)])

    def by_hour(power_w: Floats) -> Floats:
        return between(power_w / nominal_v * np.diff(steps_h), steps_h, edges_h)

    planned_in = by_hour(_taken_w(case.conditions, plant))
    planned_out = by_hour(demand_w(case.conditions, plant))
    logged = _Logged(log, operation, edges_h)
    in_ah, out_ah = logged.by_hour(log.in_a), logged.by_hour(log.out_a)
    is_whole = logged.by_hour(np.ones(len(log.in_a))) / np.diff(edges_h) >= WHOLE_SHARE
    if not is_whole.any():
        starts, ends = (moment_after(operation, timedelta(hours=h)) for h in (0.0, operation.hours))
        first, last = (
            datetime.fromtimestamp(float(s), operation.site.timezone)
            for s in (log.start_s[0], log.start_s[-1] + log.length_s[-1])
        )
        text = (
            f"found {first:%Y-%m-%d %H:%M} to {last:%Y-%m-%d %H:%M} logged, but no hour of {operation.name}, "
            f"{starts:%Y-%m-%d %H:%M} to {ends:%Y-%m-%d %H:%M}; need the log of this outing."
        )
        raise BadInput([Fault(log.file, None, None, text)])
    of_spells = planned_in[:, is_whole].sum(axis=1)
    least, half, most = (float(one) for one in np.quantile(of_spells, _NINETY))
    nearest = int(np.argmin(np.square(planned_in[:, is_whole] - in_ah[is_whole]).sum(axis=1)))
    low, middle, high = np.quantile(planned_in, _NINETY, axis=0)
    moments = [moment_after(operation, timedelta(hours=float(h))) for h in edges_h]
    hours = tuple(
        Hour(moments[i], bool(is_whole[i]), *(float(a[i]) for a in (in_ah, out_ah, low, middle, high, planned_out)))
        for i in range(len(in_ah))
    )
    batteries = model.batteries_of(counts)
    usable_ah = sum(n * b.measured_ah * b.depth_share for b, n in batteries)
    start_ah = usable_ah - sum(n * missing_wh(b, operation) for b, n in batteries) / nominal_v
    came_ah = in_ah * model.bus.charge_efficiency
    level = levels(start_ah, usable_ah, came_ah - out_ah)
    lowest = int(np.argmin(level))
    own_ah = {name: logged.by_hour(amps) for name, amps in log.of.items()}
    # what controllers draw themselves is in what the battery gives, and not in what the loads take
    idle_ah = planned_out - by_hour(case.conditions.load_w)

    def whole_wh(load_wh: Floats) -> Floats:
        return np.asarray(between(load_wh, steps_h, edges_h)[is_whole])

    loads = loads_drawn(
        operation,
        inventory,
        nominal_v,
        whole_wh,
        (out_ah - (idle_ah if log.is_net else 0.0))[is_whole],
        {use.id: own_ah[use.id][is_whole] for use in operation.loads if use.id in own_ah},
    )
    discharges: tuple[Discharge, ...] = ()
    if len(batteries) == 1 and batteries[0][1] == 1:
        battery = batteries[0][0]
        empty = empty_by(logged.lowest_v(), battery, out_ah, planned_out * is_whole)
        gave = discharge_of(battery, level, came_ah - out_ah, moments, empty)
        discharges = () if gave is None else (gave,)
    return Review(
        operation,
        inventory,
        dict(sorted(used_by(model, counts).items())),
        hours,
        tuple((datetime.fromtimestamp(s, operation.site.timezone), n / 3600.0) for s, n in log.gaps),
        sky.n_windows,
        float(in_ah[is_whole].sum()),
        float(out_ah[is_whole].sum()),
        (least, half, most),
        float(planned_out[is_whole].sum()),
        float(np.mean(of_spells < in_ah[is_whole].sum() - _NOTHING_AH)),
        sky.labels[nearest],
        nominal_v,
        usable_ah,
        max(float(level[lowest]), 0.0) / usable_ah,
        moments[lowest],
        max(float(level[-1]), 0.0) / usable_ah,
        bool(level[lowest] <= _EMPTY_AH),
        (usable_ah - max(float(level[-1]), 0.0)) / model.bus.charge_efficiency,
        tuple(_store(b, moments[-1]) for b, _ in batteries),
        _best(model, counts, log),
        log.columns,
        start_ah,
        came_ah * is_whole,
        np.where(is_whole, out_ah, np.maximum(out_ah, planned_out)),
        {panel.id: float(own_ah[panel.id].sum()) for panel in inventory.panels if panel.id in own_ah},
        loads,
        discharges,
    )


def _taken_w(conditions: Conditions, plant: Floats) -> Floats:
    """What controllers pass on that loads draw or the battery has room for, shape (n_windows, n_steps). [W]"""
    layout, offered_w, drawn_w = conditions.layout, charging_w(conditions, plant), demand_w(conditions, plant)
    charge_wh = simulate(conditions, plant).charge_wh
    start_wh = np.full((len(charge_wh), 1), plant[layout.capacity] - plant[layout.missing])
    gained_w = np.diff(np.concatenate([start_wh, charge_wh], axis=1), axis=1) / conditions.step_h
    room_w = drawn_w + gained_w / conditions.charge_efficiency
    return np.where(gained_w >= 0.0, np.minimum(offered_w, room_w), offered_w)


class _Logged:
    """A log by the hours of an operation."""

    def __init__(self, log: Log, operation: Operation, edges_h: Floats) -> None:
        since_h = (log.start_s - operation.start.timestamp()) / 3600.0
        self._length_h, self._edges_h, self._volts = log.length_s / 3600.0, edges_h, log.volts
        self._hour = np.searchsorted(edges_h, since_h, side="right") - 1
        # each row begins and ends; between the end of one and the start of the next nothing is known
        self._at_h = np.stack([since_h, since_h + self._length_h], axis=1).ravel()

    def by_hour(self, amps: Floats) -> Floats:
        """Amperes of every row as ampere-hours of every hour, shape (n_hours,). [Ah]"""
        each = amps * self._length_h
        return between(np.stack([each, np.zeros(len(each))], axis=1).ravel()[:-1], self._at_h, self._edges_h)

    def lowest_v(self) -> Floats | None:
        """The lowest volts of every hour, infinite where none were read; None without a column of them. [V]"""
        if self._volts is None:
            return None
        n_hours = len(self._edges_h) - 1
        is_in = (self._hour >= 0) & (self._hour < n_hours) & (self._volts > 0.0)
        lowest = np.full(n_hours, np.inf)
        np.minimum.at(lowest, self._hour[is_in], self._volts[is_in])
        return lowest


def levels(start_ah: float, usable_ah: float, gained_ah: Floats) -> Floats:
    """Charge at the start and after every hour; never above full. [Ah]"""
    levels = [start_ah]
    for gain in gained_ah.tolist():
        levels.append(min(usable_ah, levels[-1] + gain))
    return np.array(levels)


def _store(battery: Battery, end: datetime) -> Store:
    low, high = STORE_SHARE[battery.chemistry]
    return Store(battery.id, low, high, end + timedelta(days=RECHARGE_DAYS[battery.chemistry]))


def _best(model: KitModel, counts: Floats, log: Log) -> Best | None:
    """The row with the most current in, where one panel on one controller is all there was."""
    joins = [(model.columns[j].meaning, round(counts[j])) for j in model.join_columns if counts[j] > 0.5]
    if len(joins) != 1 or not log.in_a.any():
        return None
    ((join, n),) = joins
    # a reading is of one panel: what several gave together would make it worth several times as much
    if not isinstance(join, Join) or n * join.n_joined != 1:
        return None
    row = int(np.argmax(log.in_a))
    at = datetime.fromtimestamp(float(log.start_s[row]), model.operation.site.timezone)
    return Best(join.panel.id, model.units[join.unit].controller.id, at, float(log.in_a[row]))
