"""What a command line asks for, and what comes back: the two ends of every command."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass

PLAN_SCHEMA = "kitopt/plan-1"
CHECK_SCHEMA = "kitopt/check-1"
WHY_SCHEMA = "kitopt/why-1"
SUN_SCHEMA = "kitopt/sun-1"
READING_SCHEMA = "kitopt/reading-1"
NOW_SCHEMA = "kitopt/now-1"
LEARNED_SCHEMA = "kitopt/learned-1"
REVIEW_SCHEMA = "kitopt/review-1"
STUDY_SCHEMA = "kitopt/study-1"
VERIFY_SCHEMA = "kitopt/verify-1"

FOUND, DEFECT, BAD_INPUT, NO_KIT, TIME_LIMIT, INTERRUPTED = 0, 1, 2, 3, 4, 130
"""Exit codes."""
EXIT_CODES = {"found": FOUND, "no-kit": NO_KIT, "time-limit": TIME_LIMIT}
"""By the status of an answer."""


@dataclass(frozen=True)
class Answer:
    """Text for standard output, and the exit code."""

    text: str
    exit_code: int = FOUND


@dataclass(frozen=True)
class Request:
    """A parsed command line, ready to run.

    Attributes
    ----------
    is_json : bool
        Whether standard output gets one JSON document, whatever happens.
    schema : str
        Name of that document's format.
    """

    run: Callable[[], Answer]
    is_json: bool = False
    schema: str = PLAN_SCHEMA
