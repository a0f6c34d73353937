"""A kit in hand, wired as it can be, whether or not its energy is enough: what it comes to is another question."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import replace

import numpy as np

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.found import Found
from kitopt.choice.measure import measured
from kitopt.choice.named import only_of
from kitopt.choice.problem import Problem, Wanted
from kitopt.choice.search import Search
from kitopt.choice.terms import Choice, Floats, Made, Proof
from kitopt.errors import BadInput, Fault
from kitopt.inventory.items import Inventory
from kitopt.model.kit import KitModel
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

_NEXT_TO_NOTHING_WH = 1e-6


def of_wired(model: KitModel, counts: Floats, sky: Sky) -> Choice:
    """Counts of a model as a choice that is measured, of which nothing is proved."""
    base = Choice(model.operation, model.inventory, sky, "found", Proof("mass", None, None, False))
    # the many other windows are for whoever chooses
    return measured(base, Made(model, replace(sky, others=None), counts))


def wired(
    operation: Operation, inventory: Inventory, sky: Sky, counts: Mapping[str, int], *, budget: Budget = UNLIMITED
) -> tuple[KitModel, Floats]:
    """The pieces as counts of a model, as many used as the rules allow.

    Energy is left out of it: the loads draw next to nothing, from full batteries. Where no lead is named the leads
    of the kit are taken to be there: it stands wired before its owner.

    Raises
    ------
    BadInput
        Where nothing of it fits together.
    """
    need = replace(operation.need, start_charge_share=1.0, reserve_share=0.0, reserve_wh=0.0, backup=())
    uses = tuple(replace(use, wh_per_day=_NEXT_TO_NOTHING_WH) for use in operation.loads)
    asked = replace(
        operation, need=need, loads=uses, mass_limit_g=None, nice_at_most_g=None, air_travel=False, bounds=()
    )
    only = only_of(inventory, counts)
    if not any(lead.id in counts for lead in inventory.leads):
        only = replace(only, leads=(), has_leads_file=False)
    one = replace(sky.only(np.array([0])), others=None)
    search = Search(Problem((Wanted((asked,)),), only, lambda _: one), ("idle", "items", "mass"), budget)
    found: Found = search.alone(0)
    if found.best is None or found.best.outcome.counts is None:
        text = "nothing of this kit fits together; see kitopt pack --kit for what is in the way."
        raise BadInput([Fault("--kit", None, None, text)])
    return replace(found.best.model, operation=operation, inventory=inventory), found.best.outcome.counts
