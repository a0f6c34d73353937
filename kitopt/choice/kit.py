"""One kit for one operation."""

from __future__ import annotations

from dataclasses import replace

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.measure import measured, with_need
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.search import Search
from kitopt.choice.strongest import strongest_of
from kitopt.choice.terms import Choice, Made, Proof
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

_SECONDS_STRONGEST = 60.0


def pack(operation: Operation, inventory: Inventory, sky: Sky, *, budget: Budget = UNLIMITED) -> Choice:
    """Choose the best kit of an inventory for an operation under a sky.

    Returns
    -------
    Choice
        Status "no-kit" comes with the strongest kit; "time-limit" with the best so far, if any.
    """
    problem = Problem((Wanted((operation,)),), inventory, lambda _: sky)
    first, *others = in_order(operation.least)
    found = Search(problem, [first, "ends", *others], budget).alone(0)
    proof = Proof.reached(operation.least, found.value, found.bound)
    base = Choice(
        operation,
        inventory,
        sky,
        proof.status,
        proof,
        solved=found.tried,
        blocks=tuple((one.model.bus, tuple(one.model.blocks)) for one in found.tried),
    )
    if found.best is not None:
        counts = found.best.outcome.counts
        assert counts is not None
        return measured(base, Made(found.best.model, sky, counts))
    base = with_need(base, found.tried[0].model.bus if found.tried else None)
    if not found.is_sure:
        return base
    return replace(base, shortfall=strongest_of(base, found.tried, budget.slice(_SECONDS_STRONGEST)))
