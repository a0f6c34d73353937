"""Choose the best counts of a plan: propose, judge, cut, repeat."""

from kitopt.engine.outcome import Outcome
from kitopt.engine.plan import Case, Objective, Plan, Row, Trial
from kitopt.engine.search import choose

__all__ = ["Case", "Objective", "Outcome", "Plan", "Row", "Trial", "choose"]
