"""Reasons as data: why a kit is what it is, and what its owner must mind. The words are put in order elsewhere."""

from kitopt.explain.agreement import Agreement, agreement
from kitopt.explain.binding import Binding, binding
from kitopt.explain.caution import Caution
from kitopt.explain.cautions import cautions
from kitopt.explain.edges import Edge, Edges, edges
from kitopt.explain.reasons import Reason, not_packed
from kitopt.explain.repairs import BESIDE, THOROUGH
from kitopt.explain.why import Why, second_look, why
from kitopt.explain.within import Within, within
from kitopt.explain.without import Without, without_each

__all__ = [
    "BESIDE",
    "THOROUGH",
    "Agreement",
    "Binding",
    "Caution",
    "Edge",
    "Edges",
    "Reason",
    "Why",
    "Within",
    "Without",
    "agreement",
    "binding",
    "cautions",
    "edges",
    "not_packed",
    "second_look",
    "why",
    "within",
    "without_each",
]
