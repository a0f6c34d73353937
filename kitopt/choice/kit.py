"""One kit for one operation."""

from __future__ import annotations

import math
from collections.abc import Callable, Collection
from dataclasses import replace
from typing import Literal

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.circuits import best_circuits, together
from kitopt.choice.laid import Layouts
from kitopt.choice.measure import measured, of_found, with_need
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.search import Search
from kitopt.choice.serving import serving_most
from kitopt.choice.strongest import Before, strongest_of
from kitopt.choice.terms import Choice
from kitopt.inventory.items import Inventory
from kitopt.model.bus import BusClass
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky


def pack(operation: Operation, inventory: Inventory, sky: Sky, *, budget: Budget = UNLIMITED) -> Choice:
    """Choose the best kit of an inventory for an operation under a sky: that with most nice loads, then the least.

    Returns
    -------
    Choice
        Status "no-kit" comes with the strongest kit; "time-limit" with the best so far, if any.
    """

    def best(at: Operation, mass_g: float, part: Budget) -> Choice:
        return best_kit(at, inventory, sky, budget=part, mass_g=mass_g)

    return in_full(serving_most(operation, best, budget), budget)


def best_kit(
    operation: Operation,
    inventory: Inventory,
    sky: Sky,
    *,
    budget: Budget = UNLIMITED,
    mass_g: float = math.inf,
    cutoff: float = math.inf,
    is_any_good: bool = False,
    with_any_of: Collection[str] | None = None,
    skips: Callable[[BusClass], bool] = lambda bus: False,
    least: float = -math.inf,
    enough: float = -math.inf,
    layouts: Layouts | None = None,
    told: Literal["all", "allowed"] = "all",
) -> Choice:
    """The best kit that runs every load, and its proof alone: not measured yet, and no strongest kit looked for.

    Parameters
    ----------
    mass_g : float
        No kit above this. [g]
    cutoff : float
        Only up to this the quantity that counts first is of interest; "no-kit" says then that none is so good.
    is_any_good : bool
        Whether of several kits that are as good by what counts first any one will do.
    with_any_of, skips, least, enough, told
        As for `Search`.
    layouts : Layouts, optional
        What other questions have laid out.
    """
    if len(operation.circuits) > 1:
        # what the others tell only saves work
        return best_circuits(
            operation, inventory, sky, budget=budget, mass_g=mass_g, cutoff=cutoff, is_any_good=is_any_good
        )
    problem = Problem((Wanted((operation,)),), inventory, lambda _: sky, layouts=layouts or Layouts())
    first, *others = in_order(operation.least)
    names = [first] if is_any_good else [first, "ends", *others]
    limits = {"mass": mass_g}
    search = Search(
        *(problem, names, budget, {}, limits),
        told=told,
        with_any_of=with_any_of,
        skips=skips,
        least=least,
        enough=enough,
    )
    found = search.alone(0, cutoff)
    return of_found(operation, inventory, sky, found, found.tried)


def in_full(choice: Choice, budget: Budget = UNLIMITED, before: Before | None = None) -> Choice:
    """The choice with how its kit fares; where none works, with the strongest.

    Parameters
    ----------
    before : Before, optional
        The strongest where there was less to choose from.
    """
    if choice.survival is not None or choice.shortfall is not None:
        return choice
    if choice.circuits and choice.packed:
        return together(choice)
    if len(choice.operation.circuits) > 1:
        return replace(choice, circuits=tuple((name, in_full(one, budget)) for name, one in choice.circuits))
    if choice.made is not None:
        return measured(choice, choice.made)
    base = with_need(choice, choice.solved[0].model.bus if choice.solved else None)
    if choice.status != "no-kit":
        return base
    return replace(base, shortfall=strongest_of(base, choice.solved, budget, before))
