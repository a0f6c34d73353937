"""The balance of charge up to the lowest point of the hardest spell survived, in ampere-hours."""

from __future__ import annotations

import math
from dataclasses import dataclass
from datetime import datetime

import numpy as np

from kitopt.choice import Choice
from kitopt.engine.judge import charging_w, demand_w, simulate
from kitopt.inventory.items import Battery


@dataclass(frozen=True)
class Balance:
    """Ampere-hours at the nominal voltage: stored + sun - lost - used = left, and what of the left is held back.

    Attributes
    ----------
    stored_ah : float
        Above the allowed depth at the start. [Ah]
    start_share : float
        The same as a share of what the batteries give when full. [0–1]
    sun_ah : float
        What the controllers passed on. [Ah]
    lost_ah : float
        What of it was lost in charging, or found the batteries full or too cold to be charged. [Ah]
    used_ah : float
        By the loads and whatever else draws. [Ah]
    left_ah : float
        [Ah]
    reserve_ah, cold_ah : float
        What of the left the operation holds back, and what the cold does. [Ah]
    depth_ah : float
        What lies below the allowed depth and is never counted. [Ah]
    """

    window: str
    time: datetime
    start_share: float
    stored_ah: float
    sun_ah: float
    lost_ah: float
    used_ah: float
    left_ah: float
    reserve_ah: float
    cold_ah: float
    depth_ah: float

    @property
    def margin_ah(self) -> float:
        """What is left beyond all that is held back. [Ah]"""
        return self.left_ah - self.reserve_ah - self.cold_ah


def balance(choice: Choice) -> Balance | None:
    """The balance of a chosen kit, of two banks of the one that comes lowest.

    None without one, where no spell is survived, and of several circuits together.
    """
    choice = choice.hardest
    made, lowest = choice.made, choice.lowest
    if made is None or lowest is None or choice.circuits:
        return None
    conditions, plant = made.base
    k = lowest.number
    verdict = simulate(conditions, plant)
    step = int(verdict.lowest_step[k])
    lengths_h = conditions.step_h[: step + 1]
    held_wh = float(np.broadcast_to(verdict.held_wh, verdict.charge_wh.shape)[k, step])
    full_wh = float(plant[conditions.layout.capacity])
    stored_wh = full_wh - float(plant[conditions.layout.missing])
    sun_wh = float(charging_w(conditions, plant, np.array([k]))[0, : step + 1] @ lengths_h)
    used_wh = float(demand_w(conditions, plant)[: step + 1] @ lengths_h)
    reserve_wh = conditions.reserve_share * full_wh + conditions.reserve_wh
    lost_wh = stored_wh + sun_wh - used_wh - lowest.charge_wh
    # what leaves the batteries faster than they were measured at counts as used
    if not sun_wh or lost_wh < 0.0:
        used_wh, lost_wh = used_wh + lost_wh, 0.0
    items = [(choice.inventory.by_id[one.id], one.count) for one in choice.packed]
    whole_wh = sum(n * item.measured_ah * item.nominal_v for item, n in items if isinstance(item, Battery))
    nominal_v = made.model.bus.nominal_v

    def ah(wh: float) -> float:
        return wh / nominal_v

    return Balance(
        lowest.window,
        lowest.time,
        stored_wh / full_wh if full_wh > 0.0 else math.nan,
        *(ah(stored_wh), ah(sun_wh), ah(lost_wh), ah(used_wh), ah(lowest.charge_wh)),
        *(ah(reserve_wh), ah(max(0.0, held_wh - reserve_wh)), ah(whole_wh - full_wh)),
    )
