"""A kit as anonymous numbers: the narrow waist between items and the judge.

Everything that the judge knows of a kit is one vector of coordinates, each a
nonnegative amount of watts or watt-hours. Each coordinate is linear in the counts of
items, so a matrix takes counts to a plant, and a row written in coordinates can be
handed to the integer program unchanged.
"""

from __future__ import annotations

from dataclasses import dataclass, replace
from functools import cached_property
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import ShapeMismatch


@dataclass(frozen=True)
class Layout:
    """Where each coordinate stands in a plant's vector.

    In order: usable capacity [Wh]; charge missing at the start [Wh]; charge limit of the
    bank [W]; for each controller unit its output limit [W]; for each unit and source
    the panel power that goes with that source [W]; for each extra demand its size [W];
    the power at which the bank's capacity is rated, where that grows with the bank [W].
    """

    n_units: int
    n_sources: int
    n_demands: int

    capacity: int = 0
    missing: int = 1
    charge_limit: int = 2

    @property
    def size(self) -> int:
        """Number of coordinates."""
        return 4 + self.n_units * (1 + self.n_sources) + self.n_demands

    @property
    def rated(self) -> int:
        """Index of the 20-hour power."""
        return self.size - 1

    def limit(self, unit: int) -> int:
        """Index of a unit's output limit."""
        return 3 + unit

    def panel(self, unit: int, source: int) -> int:
        """Index of the panel power of one source on a unit."""
        return 3 + self.n_units + unit * self.n_sources + source

    def demand(self, demand: int) -> int:
        """Index of an extra demand."""
        return 3 + self.n_units * (1 + self.n_sources) + demand


@dataclass(frozen=True, eq=False)
class Source:
    """Where panel power comes from: one of the shapes, in a share of its own in each window.

    Many sources may follow one shape, which then lies in memory once.

    Attributes
    ----------
    shape : int
        Number of the shape.
    share : ndarray, shape (n_windows,), or None
        Above zero; the shape as it is when None.
    alike, loss : object, int
        Of two that are alike, in one share, that with more loss brings no more in any step; None where nothing is said.
    """

    shape: int
    share: NDArray[np.float64] | None = None
    alike: object = None
    loss: int = 0

    def brings_no_more(self, other: Source) -> bool:
        """Whether it is said to bring no more, watt for watt."""
        is_alike = self.alike is not None and self.alike == other.alike and self.share is other.share
        return is_alike and self.loss >= other.loss


@dataclass(frozen=True, eq=False)
class Cells:
    """Steps at whose end a battery can be lowest in their interval of weather: the last ones, if all are as cold.

    Attributes
    ----------
    ends : ndarray of int
    n_first : int
        How many of them lie in the first interval.
    before : slice or ndarray of int
        Of the others the last step of the interval before.
    """

    ends: NDArray[np.intp]
    n_first: int
    before: slice | NDArray[np.intp]


@dataclass(frozen=True, eq=False)
class Conditions:
    """What a plant meets in one case: the same for every kit.

    Attributes
    ----------
    shapes : tuple of ndarray, each (n_windows, n_steps)
        Watts delivered to the controller per watt of panel coordinate. A shape may be
        negative (a lead's loss), but the sum over a unit's shapes is power.
    demand_shapes : ndarray, shape (n_demands, n_steps)
        Watts drawn per watt of demand coordinate.
    load_w : ndarray, shape (n_steps,)
        Mean power of the loads over each step. [W]
    step_h : ndarray, shape (n_steps,)
        Length of each step. [h]
    capacity_share : ndarray, (n_windows or 1, n_steps)
        Share of the usable capacity that the cold leaves. [0–1]
    may_charge : ndarray of bool, (n_windows or 1, n_steps)
        False where the cells are too cold to be charged.
    charge_efficiency, discharge_efficiency : float
        Stored over put in; delivered over taken. [0–1]
    reserve_share, reserve_wh : float
        Charge held back, as a share of usable capacity plus a fixed amount.
    has_charge_limit : bool
        Whether the bank's charge limit caps the charging power.
    first_of_cell : ndarray of int, shape (n_steps,)
        First step of the interval of weather that each step lies in; steps within one share its sun.
    may_discharge : ndarray of bool, (n_windows or 1, n_steps)
        False where the cells are frozen and give nothing.
    taper_h : float or None
        A step of length Δ stores at most ``(1 - exp(-Δ/taper_h))`` of what is missing; None where a battery takes
        all until it is full. [h]
    peukert : float
        Exponent of what leaves the store above the 20-hour power; 1 where it is what is drawn.
    rated_w : float
        The part of the 20-hour power that does not grow with the bank. [W]
    sources : tuple of Source
        What each panel coordinate of a unit follows; each shape as it is, in order, where none are given.
    """

    layout: Layout
    shapes: tuple[NDArray[np.float64], ...]
    demand_shapes: NDArray[np.float64]
    load_w: NDArray[np.float64]
    step_h: NDArray[np.float64]
    capacity_share: NDArray[np.float64]
    may_charge: NDArray[np.bool_]
    charge_efficiency: float
    discharge_efficiency: float
    reserve_share: float
    reserve_wh: float
    has_charge_limit: bool
    n_windows: int
    first_of_cell: NDArray[np.intp]
    may_discharge: NDArray[np.bool_]
    taper_h: float | None = None
    peukert: float = 1.0
    rated_w: float = 0.0
    sources: tuple[Source, ...] = ()

    def __post_init__(self) -> None:
        n_steps = self.load_w.shape[0]
        if not self.sources:
            object.__setattr__(self, "sources", tuple(Source(s) for s in range(len(self.shapes))))
        wanted = {
            "shapes": all(s.shape == (self.n_windows, n_steps) for s in self.shapes),
            "sources (number)": len(self.sources) == self.layout.n_sources,
            "sources": all(
                one.shape < len(self.shapes) and (one.share is None or one.share.shape == (self.n_windows,))
                for one in self.sources
            ),
            "demand_shapes": self.demand_shapes.shape == (self.layout.n_demands, n_steps),
            "step_h": self.step_h.shape == (n_steps,),
            "capacity_share": self.capacity_share.shape in ((self.n_windows, n_steps), (1, n_steps)),
            "first_of_cell": self.first_of_cell.shape == (n_steps,),
            "may_discharge": self.may_discharge.shape in ((self.n_windows, n_steps), (1, n_steps)),
            "may_charge": self.may_charge.shape in ((self.n_windows, n_steps), (1, n_steps)),
        }
        wrong = [name for name, fits in wanted.items() if not fits]
        if wrong:
            raise ShapeMismatch(f"conditions with {self.n_windows} windows and {n_steps} steps: {', '.join(wrong)}")

    @property
    def n_steps(self) -> int:
        """Number of steps."""
        return int(self.load_w.shape[0])

    @property
    def load_wh(self) -> float:
        """What the loads draw over all steps. [Wh]"""
        return float(self.load_w @ self.step_h)

    @property
    def kept_share(self) -> NDArray[np.float64]:
        """Share of what is missing that is still missing after a step of charging as fast as the cells allow."""
        assert self.taper_h is not None
        return np.exp(-self.step_h / self.taper_h)

    @cached_property
    def known(self) -> dict[Any, Any]:
        """What has been reckoned under these conditions, by what else it rests on: it goes when they go."""
        return {}

    @cached_property
    def charged_share(self) -> NDArray[np.float64]:
        """Stored over put in, where the cells may be charged."""
        return np.asarray(self.charge_efficiency * self.may_charge)

    @cached_property
    def free_share(self) -> NDArray[np.float64]:
        """Share of the usable capacity that is neither locked away by the cold nor held back."""
        return self.capacity_share - self.reserve_share

    @cached_property
    def cells(self) -> Cells:
        """Where in its intervals of weather a battery can be lowest."""
        is_last = np.append(np.diff(self.first_of_cell) > 0, True)
        is_even = np.all(self.capacity_share == self.capacity_share[:, self.first_of_cell])
        ends = np.flatnonzero(is_last) if is_even else np.arange(self.n_steps)
        before = self.first_of_cell[ends] - 1
        n_first = int(np.count_nonzero(before < 0))
        later = before[n_first:]
        is_each = np.array_equal(later, np.arange(len(later)))
        return Cells(ends, n_first, slice(len(later)) if is_each else later)

    def scaled(self, share: float) -> Conditions:
        """The same with that share of the loads and of the fixed reserve."""
        # the 20-hour power too, so that need and kit may be scaled together
        less = share * self.load_w, share * self.reserve_wh, share * self.rated_w
        return replace(self, load_w=less[0], reserve_wh=less[1], rated_w=less[2])

    def only(self, drawn: NDArray[np.bool_], lit: NDArray[np.bool_], n_lit_demands: int = 1) -> Conditions:
        """The same with loads in some steps alone, and sun in some.

        Parameters
        ----------
        drawn, lit : ndarray of bool, shape (n_steps,)
        n_lit_demands : int
            So many of the demands, the first ones, are drawn with the sun.
        """
        when = np.where(np.arange(len(self.demand_shapes))[:, None] < n_lit_demands, lit, drawn)
        return replace(
            self,
            shapes=tuple(shape * lit for shape in self.shapes),
            demand_shapes=self.demand_shapes * when,
            load_w=self.load_w * drawn,
        )

    def watts(self, source: int) -> NDArray[np.float64]:
        """Watts per watt of a panel coordinate, shape (n_windows, n_steps)."""
        one = self.sources[source]
        return self.shapes[one.shape] if one.share is None else self.shapes[one.shape] * one.share[:, None]

    def window(self, k: int) -> Conditions:
        """The same conditions with one window alone."""

        def part(array: NDArray[Any]) -> NDArray[Any]:
            return array if array.shape[0] == 1 else array[k : k + 1]

        return replace(
            self,
            shapes=tuple(shape[k : k + 1] for shape in self.shapes),
            sources=tuple(one if one.share is None else replace(one, share=part(one.share)) for one in self.sources),
            capacity_share=part(self.capacity_share),
            may_charge=part(self.may_charge),
            may_discharge=part(self.may_discharge),
            n_windows=1,
        )

    def since(self, step: int) -> Conditions:
        """The same conditions from a step on."""
        return replace(
            self,
            shapes=tuple(shape[:, step:] for shape in self.shapes),
            demand_shapes=self.demand_shapes[:, step:],
            load_w=self.load_w[step:],
            step_h=self.step_h[step:],
            capacity_share=self.capacity_share[:, step:],
            may_charge=self.may_charge[:, step:],
            may_discharge=self.may_discharge[:, step:],
            first_of_cell=np.maximum(self.first_of_cell[step:] - step, 0),
        )
