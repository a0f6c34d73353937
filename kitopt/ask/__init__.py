"""One question asked again: a change as a small value, and an asker that keeps what it has learned."""

from kitopt.ask.asker import MOST_STEPS, Asker
from kitopt.ask.change import Change, Question, at_least, at_most

__all__ = ["MOST_STEPS", "Asker", "Change", "Question", "at_least", "at_most"]
