"""What the sky gives in each weather window: the value that every source returns."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Mapping, Sequence
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from functools import cached_property
from typing import Any, Literal

import numpy as np
from numpy.typing import NDArray

from kitopt.inventory.items import Panel
from kitopt.operation.terms import Operation, WeatherFile
from kitopt.sky.worth import Numbered, together

Laid = Literal["flat", "aimed"]
"""How a panel lies: flat on the ground, or as the operation aims those that tilt."""


@dataclass(frozen=True)
class DayFrom:
    """One of the operation's days, what its weather comes from, and the share of clear sky that a forecast gives."""

    day: date
    source: Literal["forecast", "climate"]
    share: float | None


@dataclass(frozen=True, eq=False)
class Sky:
    """Weather windows over one operation's steps.

    Every array is (n_windows, n_steps); one that is the same in all windows may be (1, n_steps).
    Step t spans [t, t + step_h) from `start`.

    Attributes
    ----------
    start : datetime
        Aware, in the site's time zone.
    poa_wm2 : mapping of {"flat", "aimed"} to ndarray
        Irradiance in the plane of the panels, mean over the step. [Wm⁻²]
    useful_wm2 : mapping of {"flat", "aimed"} to ndarray
        What of it makes current: less what the glass reflects and what weak light is worth less. [Wm⁻²]
    panel_degc : mapping of {"flat", "aimed"} to ndarray
        Temperature of the panels' cells. [°C]
    air_degc, battery_degc : ndarray
        Air temperature, and that of the batteries' cells, which follow it late. [°C]
    coldest_degc : float
        Lowest temperature at which a panel may see the sun; sets the cold Voc. [°C]
    labels : tuple of str
        A name for each window, such as "window 17" or "1998-10-03".
    source : str
        Where the weather comes from, for the report.
    notes : tuple of str
        What the user must know of it, such as the distance of the cell that was taken.
    can_refresh : bool
        Whether unseen windows of the same kind can be drawn.
    aim_text : str
        How the tilting panels are aimed, in words.
    days : tuple of DayFrom
        Where each day's weather comes from; empty where all days come from one source that says so itself.
    """

    start: datetime
    step_h: float
    poa_wm2: Mapping[Laid, NDArray[np.float64]]
    useful_wm2: Mapping[Laid, NDArray[np.float64]]
    panel_degc: Mapping[Laid, NDArray[np.float64]]
    air_degc: NDArray[np.float64]
    battery_degc: NDArray[np.float64]
    coldest_degc: float
    labels: tuple[str, ...]
    source: str
    notes: tuple[str, ...] = ()
    can_refresh: bool = False
    aim_text: str = ""
    days: tuple[DayFrom, ...] = ()
    others: Callable[[], Iterable[Sky]] | None = None
    """Many other windows of the same kind, a part at a time, that a kit must survive as well; None where there are
    none."""
    numbered: Numbered | None = None
    """The windows by number; None where they are one spell that is told, in which panels are worth their mean."""
    shapes: dict[tuple[bytes, tuple[object, ...]], NDArray[np.float64]] = field(
        default_factory=dict, init=False, repr=False
    )
    """What panels of one sort pass on in these windows, by the steps and by all that it hangs on besides."""

    def __getstate__(self) -> dict[str, Any]:
        """Without what is made again where it is asked for."""
        return {**self.__dict__, "shapes": {}}

    @property
    def n_windows(self) -> int:
        """Number of windows."""
        return len(self.labels)

    def worth_shares(self, panel: Panel) -> NDArray[np.float64] | None:
        """What a panel is worth in each window over its mean, shape (n_windows,); None where that is certain."""
        return None if self.numbered is None else self.numbered.worth_shares(panel)

    def only(self, windows: NDArray[np.intp]) -> Sky:
        """Some of the windows, by number."""

        def some(values: NDArray[np.float64]) -> NDArray[np.float64]:
            return values[windows] if values.shape[0] > 1 or self.n_windows == 1 else values

        def by_way(ways: Mapping[Laid, NDArray[np.float64]]) -> dict[Laid, NDArray[np.float64]]:
            return {way: some(values) for way, values in ways.items()}

        return replace(
            self,
            poa_wm2=by_way(self.poa_wm2),
            useful_wm2=by_way(self.useful_wm2),
            panel_degc=by_way(self.panel_degc),
            air_degc=some(self.air_degc),
            battery_degc=some(self.battery_degc),
            labels=tuple(self.labels[k] for k in windows),
            numbered=None if self.numbered is None else self.numbered.only(windows),
        )

    @cached_property
    def coldest_lit_degc(self) -> dict[Laid, float | None]:
        """Temperature of panels' cells in the coldest step in which they see the sun; None without sun. [°C]"""
        lit = {way: np.where(self.useful_wm2[way] > 0.0, degc, np.inf) for way, degc in self.panel_degc.items()}
        return {way: float(np.min(degc)) if np.any(np.isfinite(degc)) else None for way, degc in lit.items()}


def asked_of_sky(operation: Operation) -> tuple[object, ...]:
    """What of an operation its sky hangs on."""
    need = operation.need
    # what a file's sky says of itself depends on what is needed of it
    of_file = need if isinstance(need.weather, WeatherFile) else None
    return (
        need.weather,
        of_file,
        operation.start.isoformat(),
        operation.hours,
        operation.site,
        need.step_h,
        need.seed,
        operation.aim,
    )


def is_under_one_sky(one: Operation, other: Operation) -> bool:
    """Whether two operations have the very same windows."""
    return one.need.windows == other.need.windows and asked_of_sky(one) == asked_of_sky(other)


def picked(parts: Iterable[Sky], numbers: NDArray[np.intp]) -> Sky:
    """Some windows of a sky that comes in parts, by number over all of them, as one sky."""
    taken: list[Sky] = []
    before = 0
    for part in parts:
        here = numbers[(numbers >= before) & (numbers < before + part.n_windows)] - before
        before += part.n_windows
        if len(here):
            taken.append(part.only(here))
    first = taken[0]

    def joined(arrays: Sequence[NDArray[np.float64]]) -> NDArray[np.float64]:
        # one row stands for all windows of all parts, or each has its own
        return arrays[0] if all(one.shape[0] == 1 for one in arrays) else np.concatenate(arrays)

    def by_way(name: str) -> dict[Laid, NDArray[np.float64]]:
        ways = getattr(first, name)
        return {way: joined([getattr(one, name)[way] for one in taken]) for way in ways}

    return replace(
        first,
        poa_wm2=by_way("poa_wm2"),
        useful_wm2=by_way("useful_wm2"),
        panel_degc=by_way("panel_degc"),
        air_degc=joined([one.air_degc for one in taken]),
        battery_degc=joined([one.battery_degc for one in taken]),
        coldest_degc=min(one.coldest_degc for one in taken),
        labels=tuple(label for one in taken for label in one.labels),
        numbered=together([one.numbered for one in taken]),
    )


SkyOf = Callable[[Operation], Sky]
"""Makes the windows of an operation."""


def not_made(operation: Operation) -> Sky:
    """No windows at all: what is known of the weather where the time was up before any was made."""
    none = np.zeros((0, operation.n_steps))
    by_way: dict[Laid, NDArray[np.float64]] = {"flat": none, "aimed": none}
    return Sky(
        start=operation.start,
        step_h=operation.need.step_h,
        poa_wm2=by_way,
        useful_wm2=by_way,
        panel_degc=by_way,
        air_degc=none,
        battery_degc=none,
        coldest_degc=math.inf,
        labels=(),
        source="not made: the time was up",
    )
