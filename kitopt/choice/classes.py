"""The one search over bus classes: each in turn, the best so far being the bound for the next."""

from __future__ import annotations

import math
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from typing import Generic, Protocol, TypeVar

from kitopt.budget import OutOfTime
from kitopt.engine import Outcome


class Attempt(Protocol):
    """What came of one class."""

    @property
    def outcome(self) -> Outcome:
        """Of the search."""

    def order(self) -> tuple[object, ...]:
        """What kits of different classes are compared by; only where there are counts."""


K = TypeVar("K")
A = TypeVar("A", bound=Attempt)


@dataclass(frozen=True)
class OverClasses(Generic[A]):
    """The best over some classes.

    Attributes
    ----------
    tried : tuple
        Every class that was looked at.
    bound : float
        Of the first objective: nothing below works. Infinite where nothing works at all.
    """

    best: A | None
    tried: tuple[A, ...]
    bound: float

    @property
    def value(self) -> float:
        """The first objective; infinite without counts."""
        return math.inf if self.best is None else self.best.outcome.objective

    @property
    def is_sure(self) -> bool:
        """Whether nothing better can exist; without counts, whether there is nothing at all."""
        return self.bound >= self.value - 1e-6


def over_classes(
    classes: Iterable[K],
    attempt: Callable[[K, float, A | None], A | None],
    *,
    cutoff: float = math.inf,
    least: float = 0.0,
    has_ties: bool = True,
) -> OverClasses[A]:
    """Try one class after another.

    Parameters
    ----------
    attempt : callable
        Tries a class up to a cutoff; None where it is known to hold nothing. It may put off a hard one, until others
        have told how far it is of interest; then it is given what came of that one before.
    least : float
        What is known of a class for which there was no time at all.
    has_ties : bool
        Whether what is as good as the best may still be preferred; else it must be better by one at least.
    """
    best: A | None = None
    tried: list[A] = []
    unsettled: list[float] = []
    put_off: list[tuple[K, A]] = []

    def each() -> Iterator[tuple[K, A | None]]:
        for one in classes:
            yield one, None
        yield from put_off

    for one, before in each():
        most = cutoff if best is None else best.outcome.objective - (0.0 if has_ties else 1.0)
        # what is put off is found again
        most = min([most, *(other.outcome.objective for _, other in put_off)])
        try:
            here = attempt(one, most, before)
        except OutOfTime:
            if before is None:
                unsettled.append(least)
                continue
            here = before
        if here is None:
            continue
        if before is None and here.outcome.is_put_off:
            put_off.append((one, here))
            continue
        tried.append(here)
        if not here.outcome.proved:
            unsettled.append(max(least, here.outcome.bound))
        if here.outcome.counts is not None and (best is None or here.order() < best.order()):
            best = here
    value = math.inf if best is None else best.outcome.objective
    return OverClasses(best, tuple(tried), min([value, *unsettled]))
