"""Which nice loads run: the first of the file before the second, and none in the place of one before it.

A kit that runs more loads runs fewer, so a nice load can run beside those that are settled just when a kit runs these
alone. All at once is asked first, being most often the answer; else each in turn, with those before it that run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Mapping, Sequence
from dataclasses import replace
from typing import Protocol, TypeVar

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.terms import Choice, Nice, Packed, Proof
from kitopt.operation.terms import Operation


class Tried(Protocol):
    """The best kit for some loads, or that there is none."""

    @property
    def packed(self) -> tuple[Packed, ...]:
        """Empty without a kit."""

    @property
    def proof(self) -> Proof:
        """That it is best, or that there is none."""

    @property
    def mass_g(self) -> int:
        """Of the kit. [g]"""


N = TypeVar("N")
T = TypeVar("T", bound=Tried)
Best = Callable[[Operation, float, Budget], Choice]
"""The best kit that runs every load of an operation and weighs no more than so many grams, within a budget."""


def serving_most(operation: Operation, best: Best, budget: Budget = UNLIMITED) -> Choice:
    """The best kit among those that run most of the nice loads, in the order of the file.

    Where no kit runs the musts alone, that is the choice, and no nice load runs.
    """

    def with_some(running: Sequence[str], mass_g: float, part: Budget) -> Choice:
        return best(operation.running(running), mass_g, part)

    choice, left = most_served(operation.nices, operation.nice_at_most_g, with_some, budget)
    told = replace(choice, nices=tuple(nice_of(one, one, left) for one in operation.nices))
    if all(nice.runs is not None for nice in told.nices):
        return told
    return replace(told, status="time-limit", proof=replace(choice.proof, proved=False))


def nice_of(load_id: str, key: N, left: Mapping[N, Tried | None]) -> Nice:
    """What becomes of one nice load, by what was tried with those that do not run."""
    if key not in left:
        return Nice(load_id, True)
    tried = left[key]
    if tried is None or not tried.proof.proved:
        return Nice(load_id, None)
    each = tried.blocks if isinstance(tried, Choice) else ()
    blocks = (block for _, some in each for block in some if load_id in block.items)
    return Nice(load_id, False, tuple(dict.fromkeys(blocks)))


def most_served(
    nices: Sequence[N], at_most_g: float | None, best: Callable[[Sequence[N], float, Budget], T], budget: Budget
) -> tuple[T, dict[N, T | None]]:
    """The best kit that runs most of what is nice, in its order; asks at most twice more than there are.

    Parameters
    ----------
    at_most_g : float or None
        What they may add to the kit without any. [g]
    best : callable
        The best kit that runs some of them and weighs no more than so many grams, within a budget.

    Returns
    -------
    best : Tried
        Without any of them where there is no kit, or where its mass is not settled and they are to be weighed by it.
    left : dict
        Those that do not run, each with what was tried with it, None where nothing was: proved, it cannot run.
    """
    if not nices:
        return best((), math.inf, budget), {}
    bare: T | None = None
    mass_g = math.inf
    if at_most_g is not None:
        bare = best((), math.inf, budget.slice(share=0.5))
        if not bare.packed or not bare.proof.proved:
            return bare, dict.fromkeys(nices, None if bare.packed else bare)
        mass_g = bare.mass_g + at_most_g
    everything = best(nices, mass_g, budget.slice(share=0.5))
    if everything.packed:
        return everything, {}
    found = best((), math.inf, budget.slice(share=0.5)) if bare is None else bare
    if not found.packed:
        return found, dict.fromkeys(nices, found)
    running: list[N] = []
    left: dict[N, T | None] = {}
    for one in nices:
        asked = [*running, one]
        # until now all run, so that this is the question that was asked first
        tried = everything if len(asked) == len(nices) else best(asked, mass_g, budget)
        if tried.packed:
            found, running = tried, asked
            continue
        left[one] = tried
        if not tried.proof.proved:
            return found, dict.fromkeys(nices[nices.index(one) :]) | left
    return found, left
