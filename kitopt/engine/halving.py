"""The one halving: how far something holds that, once lost, stays lost."""

from __future__ import annotations

from collections.abc import Callable


def last_that_holds(holds: Callable[[int], bool], low: int, high: int, guess: int | None = None) -> int:
    """The last whole number at which something holds.

    Parameters
    ----------
    holds : callable
        True up to some number and false from the next on; asked only between the two ends.
    low, high : int
        It is known to hold at the first, and taken not to hold at the second.
    guess : int, optional
        Asked first; from there the steps grow until both sides are known. The middle when left out.
    """
    first, last = low, high
    probe, stride = (low + high) // 2 if guess is None else guess, 1
    while high - low > 1:
        probe = min(max(probe, low + 1), high - 1)
        if holds(probe):
            low = probe
        else:
            high = probe
        if guess is None or (low > first and high < last):
            probe = (low + high) // 2
        else:
            probe = low + stride if low > first else high - stride
        stride *= 2
    return low
