"""A kit once more, minute by minute: what the planner simplifies is gone through in the open.

Nothing here is shared with the planner but the windows, pvlib and what the owner wrote. Where the two disagree, one of
them is wrong.
"""

from __future__ import annotations

from kitopt.second_opinion.kit import Circuit, Fed, Feed, PlainKit
from kitopt.second_opinion.minutes import CutOff, Opinion
from kitopt.second_opinion.opinion import load, second_opinion

__all__ = ["Circuit", "CutOff", "Fed", "Feed", "Opinion", "PlainKit", "load", "second_opinion"]
