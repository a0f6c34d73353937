"""Choose the best counts of a plan: propose, judge, cut, repeat."""

from kitopt.engine.case import Case, Trial
from kitopt.engine.outcome import Outcome
from kitopt.engine.plan import Objective, Plan, Row
from kitopt.engine.search import choose

__all__ = ["Case", "Objective", "Outcome", "Plan", "Row", "Trial", "choose"]
