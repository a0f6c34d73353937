"""The best kits of some outings: each alone first, then together, class by class.

What an outing needs alone bounds what all need together. A bus class that is worse alone than what
is in hand allows can be left out; where one class is left for each outing, no column has to choose.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import dataclass, field

from kitopt.budget import Budget
from kitopt.engine import Case, Outcome
from kitopt.many.joint import Bench, Joint
from kitopt.model.bus import BusClass, bus_classes

Change = Callable[[int, Case], Case]
Reached = dict[str, tuple[float, float]]


@dataclass(frozen=True)
class Found:
    """Kits of some outings, or the word that there are none.

    Attributes
    ----------
    joint, outcome
        Where the counts belong; None without counts.
    reached : dict of (value, bound)
        By quantity.
    bound : float
        Of the first quantity: nothing below works. Infinite where nothing works at all.
    is_sure : bool
        Whether the first quantity is proved, or that nothing works.
    """

    joint: Joint | None
    outcome: Outcome | None
    reached: Reached
    bound: float
    is_sure: bool

    @property
    def has_kits(self) -> bool:
        """Whether there are any."""
        return self.joint is not None

    @property
    def value(self) -> float:
        """The first quantity; infinite without kits."""
        return math.inf if self.outcome is None else self.outcome.objective

    @property
    def is_lightest(self) -> bool:
        """Whether every quantity that was looked at is proved."""
        return self.is_sure and all(bound >= value - 1e-6 for value, bound in self.reached.values())


NOTHING = Found(None, None, {}, math.inf, is_sure=True)


@dataclass
class Group:
    """Outings on a stock, and what is to be made small.

    Attributes
    ----------
    names : sequence of str
        Quantities in order of importance: "cost", "mass", "items".
    at_most : mapping
        Other quantities that may not be larger.
    change : callable, optional
        Changes each case, such as to a share of its need.
    """

    bench: Bench
    allowed: Mapping[str, int]
    names: Sequence[str]
    budget: Budget
    at_most: Mapping[str, float] = field(default_factory=dict)
    forbidden: Sequence[Mapping[str, int]] = ()
    """Purchases none of which may be made whole."""
    change: Change | None = None
    _alone: dict[int, Found] = field(default_factory=dict)
    _bounds: dict[tuple[int, int], float] = field(default_factory=dict)
    """Of the first quantity, by outing and class."""
    _classes: list[BusClass] = field(default_factory=list)

    def __post_init__(self) -> None:
        self._classes = bus_classes(self.bench.with_purchases(self.allowed).batteries)

    def alone(self, o: int, cutoff: float = math.inf) -> Found:
        """The best kit of one outing."""
        if o not in self._alone:
            self._alone[o] = self._solve_alone(o, cutoff)
        return self._alone[o]

    def adopt(self, o: int, other: Group) -> None:
        """Take over what another group found out about one outing under the very same conditions."""
        if o in other._alone:
            self._alone[o] = other._alone[o]
            self._bounds |= {key: bound for key, bound in other._bounds.items() if key[0] == o}

    def _solve_alone(self, o: int, cutoff: float) -> Found:
        best: Found | None = None
        bounds: list[float] = []
        is_sure = True
        for k in range(len(self._classes)):
            most = cutoff if best is None else best.value
            joint, outcome, reached = self._try([o], {o: [k]}, most)
            self._bounds[o, k] = _bound(outcome, most)
            bounds.append(self._bounds[o, k])
            is_sure &= outcome.status != "time-limit"
            if outcome.counts is None:
                continue
            here = Found(joint, outcome, reached, outcome.bound, is_sure=True)
            if best is None or self._order(here) < self._order(best):
                best = here
        if best is None:
            return Found(None, None, {}, min(bounds, default=math.inf), is_sure)
        bound = best.value if is_sure else min(best.value, *bounds)
        return Found(best.joint, best.outcome, best.reached, bound, is_sure or bound >= best.value - 1e-6)

    def _order(self, found: Found) -> list[float]:
        return [found.reached.get(name, (0.0, 0.0))[0] for name in self.names]

    def together(self, numbers: Sequence[int], cutoff: float = math.inf, *, is_any_enough: bool = False) -> Found:
        """The best kits of some outings that may share the stock.

        Parameters
        ----------
        cutoff : float
            Only up to this the first quantity is of interest.
        is_any_enough : bool
            Whether it is enough to know that there are kits.
        """
        if not numbers:
            return Found(None, None, {}, 0.0, is_sure=True)
        each = {o: self.alone(o, cutoff) for o in numbers}
        if any(not found.has_kits for found in each.values()):
            is_sure = any(found.is_sure and not found.has_kits for found in each.values())
            return Found(None, None, {}, math.inf if is_sure else self._least(each), is_sure)
        if len(numbers) == 1:
            return each[numbers[0]]
        least = self._least(each)
        if least > cutoff + 1e-6:
            return NOTHING
        liked = {o: [self._class_of(found)] for o, found in each.items()}
        joint, outcome, reached = self._try(numbers, liked, cutoff)
        best: Found | None = None
        if outcome.counts is not None:
            best = Found(joint, outcome, reached, max(least, outcome.bound), is_sure=outcome.status == "found")
            if is_any_enough or best.value <= least + 1e-6:
                return Found(joint, outcome, reached, best.value, is_sure=True)
        most = cutoff if best is None else best.value
        classes = {o: self._viable(o, each, most) for o in numbers}
        if all(len(some) == 1 for some in classes.values()):
            if best is None:
                is_none = outcome.status == "no-kit"
                return NOTHING if is_none else Found(None, None, {}, max(least, outcome.bound), is_sure=False)
            return best
        joint, outcome, reached = self._try(numbers, classes, most)
        if outcome.counts is not None and (best is None or outcome.objective <= best.value):
            bound = max(least, outcome.bound)
            return Found(joint, outcome, reached, bound, is_sure=outcome.status == "found")
        if outcome.status == "no-kit":
            return NOTHING if best is None else Found(best.joint, best.outcome, best.reached, best.value, is_sure=True)
        bound = max(least, min(most, outcome.bound))
        return (
            Found(None, None, {}, bound, is_sure=False)
            if best is None
            else Found(best.joint, best.outcome, best.reached, bound, is_sure=False)
        )

    def _least(self, each: Mapping[int, Found]) -> float:
        """What all need together at the least: costs may be shared, mass may not."""
        bounds = [found.bound for found in each.values()]
        return max(bounds) if self.names[0] == "cost" else sum(bounds)

    def _class_of(self, found: Found) -> int:
        assert found.joint is not None
        (kits,) = found.joint.kits.values()
        return self._classes.index(kits[0].model.bus)

    def _viable(self, o: int, each: Mapping[int, Found], most: float) -> list[int]:
        """Classes in which an outing may still be part of something better than what is in hand."""
        others = 0.0 if self.names[0] == "cost" else sum(f.bound for i, f in each.items() if i != o)
        room = most - others
        viable = []
        for k in range(len(self._classes)):
            if self._bounds[o, k] <= room + 1e-6 and k != self._class_of(each[o]):
                # the bound may only say that the class is worse than another: look closer
                _, outcome, _ = self._try([o], {o: [k]}, room, names=self.names[:1])
                self._bounds[o, k] = max(self._bounds[o, k], _bound(outcome, room))
            if self._bounds[o, k] <= room + 1e-6 or k == self._class_of(each[o]):
                viable.append(k)
        return viable

    def _try(
        self,
        numbers: Sequence[int],
        classes: Mapping[int, Sequence[int]],
        cutoff: float,
        *,
        names: Sequence[str] | None = None,
    ) -> tuple[Joint, Outcome, Reached]:
        joint = Joint(
            self.bench,
            numbers,
            self.allowed,
            classes={o: [self._classes[k] for k in some] for o, some in classes.items()},
            change=self.change,
        )
        for bought in self.forbidden:
            joint.forbid_purchase(bought)
        outcome, reached = joint.solve(
            self.names if names is None else names,
            budget=self.budget,
            cutoff=cutoff,
            at_most=self.at_most,
        )
        return joint, outcome, reached


def _bound(outcome: Outcome, cutoff: float) -> float:
    """What is known of the first quantity: one more than the cutoff where nothing is within it."""
    if outcome.status == "no-kit":
        return cutoff + 1.0 if math.isfinite(cutoff) else math.inf
    return max(0.0, outcome.bound)
