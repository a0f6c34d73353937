"""What outings carried and never needed: by their logs the charge would have lasted without it."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.field.review import Review, levels
from kitopt.inventory.items import Battery, Controller, Panel

Floats = NDArray[np.float64]


@dataclass(frozen=True)
class NotNeeded:
    """Over some outings.

    Attributes
    ----------
    batteries : mapping of id to int
        Pieces that could all have stayed at home, the sun being what it was; the heaviest first.
    panels : mapping of id to int
        All panels and controllers, where the batteries alone would have lasted; empty where not.
    gave_nothing : tuple of str
        Panels whose own columns never show a current.
    loads : tuple of str
        Loads that drew next to nothing.
    carried : mapping of id to int
        In how many of the outings each of these was.
    """

    n_outings: int
    batteries: Mapping[str, int]
    panels: Mapping[str, int]
    gave_nothing: tuple[str, ...]
    loads: tuple[str, ...]
    carried: Mapping[str, int]

    @property
    def is_any(self) -> bool:
        """Whether anything could have stayed at home."""
        return bool(self.batteries or self.panels or self.gave_nothing or self.loads)


def not_needed(outings: Sequence[Review]) -> NotNeeded:
    """What was in some outings and was needed in none of those that it was in, each held to its own reserve."""
    batteries, panels = _batteries(outings), _panels(outings)
    by_panel = [(name, ah) for one in outings for name, ah in one.gave_ah.items() if one.kit.get(name)]
    idle = {name for name, _ in by_panel} - {name for name, ah in by_panel if ah > 0.0}
    drawn = [(load.load, load.is_off) for one in outings for load in one.loads]
    off = {name for name, _ in drawn} - {name for name, is_off in drawn if not is_off}
    named = [*batteries, *panels, *idle]
    carried = {name: sum(name in one.kit for one in outings) for name in named}
    carried |= {name: sum(name == load for load, _ in drawn) for name in off}
    return NotNeeded(len(outings), batteries, panels, tuple(sorted(idle)), tuple(sorted(off)), carried)


def _lasts(one: Review, came_ah: Floats, less_ah: float = 0.0) -> bool:
    """Whether an outing's charge would have stayed above its reserve with fewer ampere-hours of battery."""
    if one.usable_ah - less_ah <= 0.0:
        return False
    need = one.operation.need
    kept_ah = need.reserve_share * (one.usable_ah - less_ah) + need.reserve_wh / one.nominal_v
    left = levels(max(one.start_ah - less_ah, 0.0), one.usable_ah - less_ah, came_ah - one.went_ah)
    return bool(left.min() >= kept_ah)


def _batteries(outings: Sequence[Review]) -> dict[str, int]:
    """Pieces to leave, the heaviest first, each only where all outings that had it last without those left so far."""
    items = {item.id: item for one in outings for item in one.inventory.batteries if one.kit.get(item.id)}
    dropped: dict[str, int] = {}
    for item in sorted(items.values(), key=lambda battery: (-battery.mass_g, battery.id)):
        while True:
            tried = {**dropped, item.id: dropped.get(item.id, 0) + 1}
            had = [one for one in outings if one.kit.get(item.id, 0) >= tried[item.id]]
            if not had or not all(_lasts(one, one.came_ah, _usable_ah(one, tried)) for one in had):
                break
            dropped = tried
    return dropped


def _usable_ah(one: Review, pieces: Mapping[str, int]) -> float:
    """Of pieces, as many as an outing had. [Ah]"""
    found = 0.0
    for name, n in pieces.items():
        battery = one.inventory.by_id.get(name)
        if isinstance(battery, Battery):
            found += min(n, one.kit.get(name, 0)) * battery.measured_ah * battery.depth_share
    return found


def _panels(outings: Sequence[Review]) -> dict[str, int]:
    """Panels and controllers of all outings that had any, where each would have lasted without."""
    of = [
        {name: n for name, n in one.kit.items() if isinstance(one.inventory.by_id.get(name), Panel | Controller)}
        for one in outings
    ]
    with_any = [one for one, some in zip(outings, of, strict=True) if some]
    if not with_any or not all(_lasts(one, np.zeros_like(one.came_ah)) for one in with_any):
        return {}
    names = sorted({name for some in of for name in some})
    return {name: max(some.get(name, 0) for some in of) for name in names}
