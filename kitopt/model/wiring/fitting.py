"""Fuses for the holders of a chain: the smallest standard rating that carries the current and guards the wire."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from functools import lru_cache

from kitopt.inventory.fuses import HOLDERS
from kitopt.model.wiring.chains import Chain

Fuses = Mapping[tuple[str, float], int]
"""Fuses owned, by holder and rating [A]."""


def fits(chain: Chain, least_a: float, fuses: Fuses | None = None, *, up_to_a: float = 0.0) -> tuple[Chain, ...]:
    """A chain with each choice of fuses worth making, the smallest first; none where no fuse will do.

    One rating goes into all its holders. With no list of fuses every standard rating can be had.

    Parameters
    ----------
    least_a : float
        Current that each fuse must be good for. [A]
    fuses : mapping of (holder, rating), optional
        What is owned; what lies in a lead is owned with it.
    up_to_a : float
        Larger ratings are worth having too, up to the first that is good for this. [A]
    """
    if chain.fixed_a and not all(least_a - 1e-9 <= a <= chain.wire_a + 1e-9 for a in chain.fixed_a):
        return ()
    if not chain.holders:
        return (chain,)
    ratings_a = _standard(chain.holds) if fuses is None else _ratings(chain.holds, fuses)
    low, high = least_a - 1e-9, chain.most_fit_a + 1e-9
    good = [a for a in ratings_a if low <= a <= high]
    enough = next((n for n, a in enumerate(good) if a >= up_to_a - 1e-9), len(good) - 1)
    # of an owned stock the smallest may be gone
    kept = good[: enough + 1] if fuses is None else good
    return tuple(chain.fitted(a) for a in kept)


@lru_cache(maxsize=256)
def _standard(holds: tuple[tuple[str, float | None], ...]) -> list[float]:
    """The same where every standard rating can be had."""
    return _ratings(holds, None)


def _ratings(holds: Iterable[tuple[str, float | None]], fuses: Fuses | None) -> list[float]:
    """Ratings that can be had for every one of some holders, by what lies in each, rising. [A]"""
    common: set[float] | None = None
    for holder_here, fuse_a in holds:
        here = {fuse_a} if fuse_a is not None else set()
        if fuses is None:
            here |= set(HOLDERS[holder_here].ratings_a)
        else:
            here |= {a for (holder, a), n in fuses.items() if holder == holder_here and n > 0}
        common = here if common is None else common & here
    return sorted(a for a in common or () if a is not None)
