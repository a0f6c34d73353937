"""One question asked again: a change as a small value, and an asker that keeps what it has learned."""

from kitopt.ask.asker import Asker
from kitopt.ask.change import Change, Question, at_least, at_most

__all__ = ["Asker", "Change", "Question", "at_least", "at_most"]
