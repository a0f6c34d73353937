"""Reasons as data: why a kit is what it is, and what its owner must mind. The words are put in order elsewhere."""

from kitopt.explain.caution import Caution
from kitopt.explain.cautions import cautions
from kitopt.explain.reasons import Reason, not_packed
from kitopt.explain.why import Why, why
from kitopt.explain.without import Without, without_each

__all__ = ["Caution", "Reason", "Why", "Without", "cautions", "not_packed", "why", "without_each"]
