"""What holds a kit at its size: the windows that decide, the limits at their edge, and what a little more is worth."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from kitopt.choice import Choice, step_end
from kitopt.engine.judge import cuts, simulate, unit_power_w
from kitopt.inventory.items import Battery, Controller, Panel

_TOLD_RULES = frozenset(("mass-limit", "charge-limit", "discharge-limit", "pv-current", "pv-power", "air-travel"))
_MOST_MISSED = 1


@dataclass(frozen=True)
class Deciding:
    """A window near the edge.

    Attributes
    ----------
    label : str
    margin_wh : float
        Negative where it is not survived. [Wh]
    since, until : datetime
        When the battery was last full, or the start; and the lowest charge.
    was_full : bool
        Whether `since` is a full battery rather than the start.
    """

    label: str
    margin_wh: float
    since: datetime
    until: datetime
    was_full: bool


@dataclass(frozen=True)
class Worth:
    """What a little more of something adds to the margin of the hardest window survived.

    Attributes
    ----------
    what : str
        "battery" per usable Wh, "panel" per rated W, "controller" per A of its limit.
    id : str
        The item; empty for batteries, which count as one store.
    wh : float
        Added margin. [Wh]
    clips : tuple of (datetime, datetime)
        For a controller: when its limit holds energy back between the two moments of the window.
    """

    what: str
    id: str
    wh: float
    clips: tuple[tuple[datetime, datetime], ...] = ()


@dataclass(frozen=True)
class Binding:
    """What binds a kit.

    Attributes
    ----------
    survived : Deciding
        The hardest window that is survived.
    missed : Deciding or None
        The nearest of those that are not.
    n_missed, n_allowed : int
        Windows that are not survived, and that need not be.
    worth : tuple of Worth
    tight : tuple of str
        Limits that have no room left, in words.
    exhausted : tuple of str
        Batteries, panels and controllers of which all that are owned are packed.
    """

    survived: Deciding
    missed: Deciding | None
    n_missed: int
    n_allowed: int
    worth: tuple[Worth, ...]
    tight: tuple[str, ...]
    exhausted: tuple[str, ...]


def binding(choice: Choice) -> Binding | None:
    """What binds the chosen kit, of two banks the one that comes lowest; None without one."""
    choice = choice.hardest
    made = choice.made
    if made is None:
        return None
    counts, case, model = made.counts, made.cases[0], made.model
    conditions, plant = case.conditions, case.plant(counts)
    verdict = simulate(conditions, plant)
    order = np.argsort(verdict.margin_wh, kind="stable")
    survived = [int(k) for k in order if verdict.survives[k]]
    missed = [int(k) for k in order[::-1] if not verdict.survives[k]][:_MOST_MISSED]
    looked_at = np.array([survived[0], *missed], dtype=np.intp)
    found = cuts(conditions, plant, verdict.lowest_step[looked_at], looked_at)

    def deciding(i: int) -> Deciding:
        k, first = int(looked_at[i]), int(found.first_step[i])
        return Deciding(
            choice.sky.labels[k],
            float(verdict.margin_wh[k]),
            choice.operation.start if first < 0 else step_end(choice.operation, first),
            step_end(choice.operation, int(found.last_step[i])),
            first >= 0,
        )

    slope = found.slope[0]
    worth = [Worth("battery", "", float(slope[conditions.layout.capacity]))]
    k = int(looked_at[0])
    counted = np.arange(conditions.n_steps)
    is_counted = (counted > found.first_step[0]) & (counted <= found.last_step[0])
    for u, unit in enumerate(model.units):
        joins = [(j, join) for j, join in model.joins_of(u) if round(counts[j]) > 0]
        if not joins:
            continue
        power_w = unit_power_w(conditions, plant, u, np.array([k]))[0]
        clips = is_counted & (power_w > plant[conditions.layout.limit(u)])
        limit_wh = float(slope[conditions.layout.limit(u)]) * model.bus.nominal_v
        worth.append(Worth("controller", unit.name, limit_wh, _spans(choice, clips)))
        for panel_id in sorted({join.panel.id for _, join in joins}):
            per_w = [
                float(slope @ case.matrix.column(j)) / (join.n_joined * join.panel.rated_w)
                for j, join in joins
                if join.panel.id == panel_id
            ]
            worth.append(Worth("panel", panel_id, max(per_w)))
    tight = []
    for row in model.rows:
        if row.rule not in _TOLD_RULES or not row.text:
            continue
        value = sum(c * counts[i] for i, c in row.terms)
        is_used = any(counts[i] > 0 and c != 0 for i, c in row.terms)
        if is_used and min(abs(value - row.upper), abs(value - row.lower)) < 1e-6 * max(1.0, abs(value)):
            tight.append(row.text)
    owned = choice.inventory.by_id
    exhausted = [
        one.id
        for one in choice.packed
        if one.count == owned[one.id].count and isinstance(owned[one.id], Battery | Panel | Controller)
    ]
    return Binding(
        deciding(0),
        deciding(1) if missed else None,
        conditions.n_windows - len(survived),
        case.n_allowed,
        tuple(worth),
        tuple(dict.fromkeys(tight)),
        tuple(exhausted),
    )


def _spans(choice: Choice, is_on: NDArray[np.bool_]) -> tuple[tuple[datetime, datetime], ...]:
    """Runs of steps as moments."""
    found = []
    edges = np.flatnonzero(np.diff(np.concatenate([[0], is_on.astype(int), [0]])))
    for first, end in zip(edges[::2], edges[1::2], strict=True):
        since = choice.operation.start if first == 0 else step_end(choice.operation, int(first) - 1)
        found.append((since, step_end(choice.operation, int(end) - 1)))
    return tuple(found)
