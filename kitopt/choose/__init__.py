"""Choose the best counts of a plan: propose, judge, cut, repeat."""

from kitopt.choose.loop import Outcome, Reporter, choose
from kitopt.choose.plan import Case, Objective, Plan, Row

__all__ = ["Case", "Objective", "Outcome", "Plan", "Reporter", "Row", "choose"]
