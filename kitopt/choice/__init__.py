"""Choosing kits: one description of a problem, one search over bus classes, and what a choice comes to."""

from kitopt.choice.found import Solved
from kitopt.choice.kit import pack
from kitopt.choice.laid import build_model, cases_under
from kitopt.choice.measure import (
    KIND_ORDER,
    kind_of,
    measured,
    packed_of,
    step_end,
    with_fresh,
    with_need,
)
from kitopt.choice.strongest import strongest_of
from kitopt.choice.terms import Choice, Loss, Lowest, Made, Nice, Packed, Proof, Shortfall, Status, Survival

__all__ = [
    "KIND_ORDER",
    "Choice",
    "Loss",
    "Lowest",
    "Made",
    "Nice",
    "Packed",
    "Proof",
    "Shortfall",
    "Solved",
    "Status",
    "Survival",
    "build_model",
    "cases_under",
    "kind_of",
    "measured",
    "pack",
    "packed_of",
    "step_end",
    "strongest_of",
    "with_fresh",
    "with_need",
]
