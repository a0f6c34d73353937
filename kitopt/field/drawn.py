"""What loads really drew and a battery really gave by a log, and the value that makes the next plan say so."""

from __future__ import annotations

from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, replace
from datetime import datetime
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Battery, Inventory, Load
from kitopt.inventory.spreads import NINETY_SPREADS
from kitopt.model.need import draw_of, draws
from kitopt.operation.terms import LoadUse, Operation
from kitopt.second_opinion.cells import CELLS, CHARGES

Floats = NDArray[np.float64]

_STILL_H = 2
"""Nothing drawn for so many hours at the end, of what was planned, is a battery that gave out. [h]"""
_SURE_SHARE = 0.15
"""What is told apart no better than so is not told."""
_OFF_SHARE = 0.25
"""A load that surely drew no more of what was planned was as good as off."""
_NOTHING_SHARE = 0.1
"""What differs by less is as planned."""
_FULL_SHARE = 0.99
_EMPTY = CHARGES.index(0.05)
"""With a load on, the voltage that a battery rests at with a twentieth left says that it is empty."""
_SAME = 1e-6


@dataclass(frozen=True)
class Drew:
    """What one load drew over the hours that were logged whole.

    Attributes
    ----------
    drew_ah, planned_ah : float
        [Ah]
    spread_share : float
        Standard deviation of what it drew over what was planned; 0 where it has a column of its own.
    file, key, value : str, str, float
        What to write where, so that the plan would have said so; in the unit of the key.
    """

    load: str
    drew_ah: float
    planned_ah: float
    spread_share: float
    file: str
    key: str
    value: float

    @property
    def is_off(self) -> bool:
        """Whether it drew next to nothing."""
        return self.drew_ah / self.planned_ah + NINETY_SPREADS * self.spread_share < _OFF_SHARE

    @property
    def is_other(self) -> bool:
        """Whether it is surely not as planned."""
        away = abs(self.drew_ah / self.planned_ah - 1.0)
        return away > max(_NOTHING_SHARE, NINETY_SPREADS * self.spread_share)


@dataclass(frozen=True)
class Discharge:
    """What a battery gave from full until it was empty. [Ah]"""

    battery: str
    gave_ah: float
    at: datetime


def loads_drawn(
    operation: Operation,
    inventory: Inventory,
    nominal_v: float,
    by_hour: Callable[[Floats], Floats],
    out_ah: Floats,
    own_ah: Mapping[str, Floats],
) -> tuple[Drew, ...]:
    """What each load drew, where its own column or its hours tell it from the others.

    Parameters
    ----------
    by_hour : callable
        From energies over the operation's steps to those of the hours that were logged whole.
    out_ah : ndarray, shape (n_hours,)
        Of all loads in these hours. [Ah]
    own_ah : mapping of load id to ndarray, shape (n_hours,)
        By columns of their own. [Ah]
    """
    parts = draws(operation, inventory, nominal_v)
    planned_ah = [by_hour(one.load_wh) / nominal_v for one in parts]
    others = [i for i, one in enumerate(parts) if one.use.id not in own_ah]
    own = {i: own_ah[one.use.id] for i, one in enumerate(parts) if i not in others}
    # of what was not planned for these hours, no value makes the next plan say so
    shares = {i: (drew_ah.sum() / total, 0.0) for i, drew_ah in own.items() if (total := planned_ah[i].sum()) > 0.0}
    if others:
        rest_ah = out_ah - sum(own.values(), np.zeros_like(out_ah))
        told = _told_apart(np.array([planned_ah[i] for i in others]), rest_ah)
        shares |= {others[row]: share for row, share in told.items()}
    found = []
    for i, (share, spread) in sorted(shares.items()):
        use, load, planned = parts[i].use, parts[i].load, float(planned_ah[i].sum())
        drew = max(float(share), 0.0) * planned

        def drawn(use: LoadUse, load: Load) -> float:
            return float(by_hour(draw_of(use, load, operation, nominal_v).load_wh).sum()) / nominal_v

        found.append(Drew(use.id, drew, planned, spread, *_says_so(use, load, drawn, drew)))
    return tuple(found)


def _told_apart(planned_ah: Floats, out_ah: Floats) -> dict[int, tuple[float, float]]:
    """Of rows that can be told apart, how many times as much they were and its standard deviation; least squares."""
    n_loads, n_hours = planned_ah.shape
    left, sizes, right = np.linalg.svd(planned_ah.T, full_matrices=False)
    seen = sizes > _SAME * max(sizes.max(), _SAME)
    n_free = n_hours - int(seen.sum())
    if n_free < 1:
        return {}
    of_rows, backwards = right[seen], (left[:, seen] / sizes[seen]).T
    share = of_rows.T @ (backwards @ out_ah)
    variance = float(np.sum((out_ah - planned_ah.T @ share) ** 2)) / n_free
    spread = np.sqrt(variance * np.sum((of_rows.T / sizes[seen]) ** 2, axis=1))
    # a row is known where it lies wholly in what was seen
    known = np.sum(of_rows**2, axis=0) > 1.0 - _SAME
    return {
        i: (float(share[i]), float(spread[i])) for i in range(n_loads) if known[i] and float(spread[i]) <= _SURE_SHARE
    }


def _says_so(
    use: LoadUse, load: Load, drawn: Callable[[LoadUse, Load], float], wanted_ah: float
) -> tuple[str, str, float]:
    """File, key and value with which a load would be planned to draw as much; all is linear in each value."""
    if use.wh_per_day is not None:
        return "operation", "wh_per_day", use.wh_per_day * wanted_ah / drawn(use, load)
    silent_ah, on_ah = (drawn(replace(use, transmit_share=share), load) for share in (0.0, 1.0))
    if use.transmit_share < 1.0 and silent_ah <= wanted_ah <= on_ah and silent_ah < on_ah:
        return "operation", "transmit", (wanted_ah - silent_ah) / (on_ah - silent_ah)
    # amperes of which nothing was to be drawn say nothing of what was
    for kind in ("idle", "full") if wanted_ah < silent_ah else ("full", "idle"):
        key = next((f"{kind}_{unit}" for unit in "aw" if getattr(load, f"{kind}_{unit}") is not None), None)
        if key is None:
            continue
        changed: Any = {key: 0.0}
        planned_ah, without_ah = drawn(use, load), drawn(use, replace(load, **changed))
        if planned_ah > without_ah:
            return "loads.csv", key, getattr(load, key) * max(wanted_ah - without_ah, 0.0) / (planned_ah - without_ah)
    return "operation", "wh_per_day", 0.0


def discharge_of(
    battery: Battery, level_ah: Floats, gained_ah: Floats, moments: Sequence[datetime], empty: int | None
) -> Discharge | None:
    """What a battery gave from when it was full until it was empty; None where it was not both.

    Parameters
    ----------
    level_ah : ndarray, shape (n_hours + 1,)
        What may still be used, at every edge. [Ah]
    gained_ah : ndarray, shape (n_hours,)
        In less out. [Ah]
    empty : int or None
        The edge by which it was empty.
    """
    full = np.flatnonzero(level_ah[:empty] >= _FULL_SHARE * battery.measured_ah * battery.depth_share)
    if empty is None or not len(full):
        return None
    gave_ah = -float(gained_ah[full[-1] : empty].sum())
    return Discharge(battery.id, gave_ah, moments[empty]) if gave_ah > 0.0 else None


def empty_by(volts: Floats | None, battery: Battery, out_ah: Floats, planned_ah: Floats) -> int | None:
    """The edge by which a battery was empty: by its volts, else once nothing more was drawn of what was planned.

    Parameters
    ----------
    volts : ndarray, shape (n_hours,), or None
        The lowest of each hour. [V]
    out_ah, planned_ah : ndarray, shape (n_hours,)
        [Ah]
    """
    if volts is not None:
        cells = CELLS[battery.chemistry]
        low = np.flatnonzero(volts <= cells.rest_v[_EMPTY] * battery.nominal_v / cells.nominal_v)
        return int(low[0]) + 1 if len(low) else None
    last = int(np.max(np.flatnonzero(out_ah > _NOTHING_SHARE * planned_ah), initial=-1)) + 1
    return last if 0 < last <= len(out_ah) - _STILL_H else None
