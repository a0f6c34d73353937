"""Which nice loads run: the first of the file before the second, and none in the place of one before it.

A kit that runs more loads runs fewer, so a nice load can run beside those that are settled just when a kit runs these
alone. All at once is asked first, being most often the answer; else each in turn, with those before it that run.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from dataclasses import replace

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.terms import Choice, Nice
from kitopt.operation.terms import Operation

Best = Callable[[Operation, float, Budget], Choice]
"""The best kit that runs every load of an operation and weighs no more than so many grams, within a budget."""


def serving_most(operation: Operation, best: Best, budget: Budget = UNLIMITED) -> Choice:
    """The best kit among those that run most of the nice loads, in their order; asks twice more than there are at most.

    Where no kit runs the musts alone, that is the choice, and no nice load runs.
    """
    nices = operation.nices
    if not nices:
        return best(operation, math.inf, budget)
    musts: Choice | None = None
    mass_g = math.inf
    if operation.nice_at_most_g is not None:
        musts = best(operation.running(), math.inf, budget.slice(share=0.5))
        if not musts.packed or not musts.proof.proved:
            return _told(musts, nices, _all_of(nices, musts))
        mass_g = musts.mass_g + operation.nice_at_most_g
    everything = best(operation, mass_g, budget.slice(share=0.5))
    if everything.packed:
        return _told(everything, nices, [])
    found = best(operation.running(), math.inf, budget.slice(share=0.5)) if musts is None else musts
    if not found.packed:
        return _told(found, nices, _all_of(nices, found))
    running: list[str] = []
    others: list[Nice] = []
    for place, one in enumerate(nices):
        asked = [*running, one]
        # until now all run, so that this is the question that was asked first
        tried = everything if len(asked) == len(nices) else best(operation.running(asked), mass_g, budget)
        if tried.packed:
            found, running = tried, asked
        elif tried.proof.proved:
            blocks = (block for _, some in tried.blocks for block in some if one in block.items)
            others.append(Nice(one, False, tuple(dict.fromkeys(blocks))))
        else:
            others += [Nice(late, None) for late in nices[place:]]
            break
    return _told(found, nices, others)


def _all_of(nices: Sequence[str], musts: Choice) -> list[Nice]:
    """None of them runs where no kit runs the musts; otherwise nothing is known of them."""
    is_impossible = not musts.packed and musts.proof.proved
    return [Nice(one, False if is_impossible else None) for one in nices]


def _told(choice: Choice, nices: Sequence[str], others: Sequence[Nice]) -> Choice:
    """A choice with what becomes of each nice load, all but some of which run; not proved while one is not settled."""
    known = {nice.id: nice for nice in others}
    told = replace(choice, nices=tuple(known.get(one) or Nice(one, True) for one in nices))
    if all(nice.runs is not None for nice in others):
        return told
    return replace(told, status="time-limit", proof=replace(choice.proof, proved=False))
