"""One kit for one operation: builds the plan of each bus class, chooses, and measures the choice."""

from kitopt.pack.build import UNPRICED_CENTS, build_model, build_plan, cases_under
from kitopt.pack.measure import (
    FRESH_WINDOWS,
    KIND_ORDER,
    chosen,
    hours_without_sun,
    joins_of,
    kind_of,
    losses_of,
    measured,
    packed_of,
    step_end,
    with_fresh,
    with_need,
)
from kitopt.pack.solve import pack, strongest_of, values_of
from kitopt.pack.terms import Choice, Loss, Lowest, Packed, Proof, Shortfall, Solved, Status, Survival

__all__ = [
    "FRESH_WINDOWS",
    "KIND_ORDER",
    "UNPRICED_CENTS",
    "Choice",
    "Loss",
    "Lowest",
    "Packed",
    "Proof",
    "Shortfall",
    "Solved",
    "Status",
    "Survival",
    "build_model",
    "build_plan",
    "cases_under",
    "chosen",
    "hours_without_sun",
    "joins_of",
    "kind_of",
    "losses_of",
    "measured",
    "pack",
    "packed_of",
    "step_end",
    "strongest_of",
    "values_of",
    "with_fresh",
    "with_need",
]
