"""What follows from files and weather alone, as a certificate tells it: each bus class, and how a kit fares."""

from __future__ import annotations

from collections import Counter
from collections.abc import Iterator, Sequence
from dataclasses import dataclass
from typing import Any

import numpy as np
from numpy.typing import NDArray

from kitopt.budget import UNLIMITED, Budget
from kitopt.certificate.document import bound_value, sort_of
from kitopt.certificate.learned import Learned, Origin
from kitopt.choice.measure import packed_of
from kitopt.choice.problem import Problem, Wanted, in_order
from kitopt.choice.program import Program
from kitopt.engine import Plan
from kitopt.engine.judge import TOLERANCE_WH
from kitopt.engine.learned import CaseMemory
from kitopt.inventory.items import Inventory
from kitopt.model.bus import bus_classes
from kitopt.model.kit import KitModel
from kitopt.operation.terms import Operation
from kitopt.sky.windows import Sky

Floats = NDArray[np.float64]

_SAYS = (
    "No kit from the files below that runs all these loads and obeys all these rows has less {of} than the incumbent, "
    "whose spells were judged. Which of several kits with no more {of} is taken, and that no nice load more could "
    "run, is not certified."
)


@dataclass(frozen=True, eq=False)
class OfClass:
    """One bus class: its model, and the plan in which what counts first is made small."""

    model: KitModel
    plan: Plan


def classes_of(operation: Operation, inventory: Inventory, sky: Sky, budget: Budget = UNLIMITED) -> Iterator[OfClass]:
    """Every bus class of an inventory."""
    problem = Problem((Wanted((operation,)),), inventory, lambda _: sky)
    for bus in bus_classes(inventory.batteries):
        program = Program(problem, {0: [bus]}, budget=budget)
        ((kit,),) = program.kits.values()
        yield OfClass(kit.model, program.plan(in_order(operation.least)))


def class_value(one: OfClass) -> dict[str, Any]:
    """The columns and rules of a class: what whoever solves it needs besides the learned rows."""
    plan, columns = one.plan, one.model.columns
    weights = plan.objectives[0].weights
    uses = [", ".join(f"{n} {i}" for i, n in column.uses.items()) for column in columns]
    uses += [""] * (plan.n_columns - len(uses))
    return {
        "bus": one.model.bus.name,
        "columns": [
            {
                "counts": uses[j],
                "lower": float(plan.lower[j]),
                "upper": float(plan.upper[j]),
                "is_whole": plan.is_count[j],
                "weight": float(weights[j]),
            }
            for j in range(plan.n_columns)
        ],
        "fixed": plan.objectives[0].fixed,
        "rows": [
            {
                "rule": row.rule,
                "text": row.text,
                "terms": [[int(j), float(c)] for j, c in row.terms],
                "lower": bound_value(row.lower),
                "upper": bound_value(row.upper),
            }
            for row in plan.rows
        ],
    }


def cases_value(origins: Sequence[Origin], others: Sequence[tuple[int, ...]]) -> list[dict[str, Any]]:
    """The cases that rows were learned under; of the many other spells only some."""
    each: list[tuple[int, ...] | None] = [None] * (len(origins) - len(others)) + list(others)
    return [
        {
            "name": origin.case.name,
            "spells": origin.case.conditions.n_windows,
            "needed": origin.case.n_needed,
            "others": None if spells is None else list(spells),
            "margin_wh": list(origin.box_margin_wh),
        }
        for origin, spells in zip(origins, each, strict=True)
    ]


def incumbent_value(number: int, one: OfClass, counts: Floats) -> dict[str, Any]:
    """A kit and how it fares, as the judge has it."""
    plan = one.plan
    packed = packed_of(one.model, counts)
    by_id = one.model.inventory.by_id
    cents = [(p, by_id[p.id].price_cents) for p in packed]
    verdicts = [CaseMemory(case).judge(counts).margin_wh for case in plan.cases if case.is_asked(counts)]
    tried = [(trial, margin_wh) for trial in plan.trials if (margin_wh := trial.margins_wh(counts)) is not None]
    return {
        "class": number,
        "counts": [[int(j), float(counts[j])] for j in np.flatnonzero(counts)],
        "objective": plan.objectives[0].of(counts),
        "packed": [
            {"id": p.id, "count": p.count, "mass_g": by_id[p.id].mass_g, "price": None if c is None else c / 100}
            for p, c in cents
        ],
        "mass_g": sum(p.count * by_id[p.id].mass_g for p in packed),
        "price": sum(p.count * (c or 0) for p, c in cents) / 100,
        "cases": [_survived(margin_wh) for margin_wh in verdicts],
        "others": [
            {"tried": len(margin_wh), "needed": trial.needed_of(len(margin_wh)), **_survived(margin_wh)}
            for trial, margin_wh in tried
        ],
    }


def _survived(margin_wh: Floats) -> dict[str, Any]:
    survived = margin_wh >= -TOLERANCE_WH
    lowest = float(np.min(margin_wh[survived])) if np.any(survived) else 0.0
    return {"survived": int(np.count_nonzero(survived)), "lowest_wh": lowest}


def totals_value(classes: Sequence[tuple[OfClass, Sequence[Learned]]]) -> dict[str, int]:
    """How many columns, rules and learned rows there are."""
    sorts = Counter(sort_of(row) for _, rows in classes for row in rows)
    return {
        "columns": sum(one.plan.n_columns for one, _ in classes),
        "rows": sum(len(one.plan.rows) for one, _ in classes),
        **{sort: sorts[sort] for sort in ("cut", "side", "spell", "kit")},
    }


def said(of: str) -> str:
    """What a certificate proves, and what it does not."""
    return _SAYS.format(of=of)
