"""The end that every command has in common: work under a progress line, then text or JSON and an exit code."""

from __future__ import annotations

import os
import sys
from collections.abc import Callable, Iterable
from typing import Any, Protocol, TextIO

from kitopt.budget import Budget
from kitopt.cli.freed_memory import keep_freed_memory
from kitopt.cli.options import Overrides
from kitopt.cli.paper import NO_PAPER, Paper
from kitopt.cli.progress import Progress
from kitopt.cli.request import EXIT_CODES, Answer
from kitopt.cli.streams import columns, say


class Told(Protocol):
    """What a call came to."""

    @property
    def status(self) -> str:
        """Possible, impossible or not known."""

    def to_dict(self) -> dict[str, Any]:
        """As JSON."""

    def to_text(self, *, is_brief: bool = False) -> str:
        """In words."""


def answered(
    call: Callable[[Budget], Told],
    overrides: Overrides,
    least: str,
    *,
    is_json: bool = False,
    is_brief: bool = False,
    is_plain: bool = False,
    paper: Paper = NO_PAPER,
) -> Answer:
    """Call with the time that there is, and render what comes of it.

    Parameters
    ----------
    least : str
        What the progress line counts: mass, price or items.
    is_plain : bool
        Whether pictures are drawn in letters of ASCII alone.
    paper : Paper
        What is written beside the answer.
    """
    keep_freed_memory()
    progress = Progress(sys.stderr, least)
    try:
        clock = overrides.budget(progress)
        found = call(clock)
        paper.write(found, clock)
        if is_json:
            from kitopt.report.encode import as_json

            text = as_json(found.to_dict())
        else:
            fit_the_page(is_plain=is_plain)
            text = found.to_text(is_brief=is_brief)
    finally:
        progress.clear()
    return Answer(text, EXIT_CODES[found.status])


def fit_the_page(*, is_plain: bool = False) -> None:
    """Word what follows for the page that standard output is read on."""
    from kitopt.report.words import tell_within

    tell_within(columns(sys.stdout))
    from kitopt.report.letters import BLOCKS, PLAIN, draw_with

    letters = BLOCKS if _can_draw(sys.stdout) and not is_plain else PLAIN
    draw_with(letters, is_large=sys.stdout is not None and sys.stdout.isatty())


def _can_draw(stream: TextIO | None) -> bool:
    """Whether a stream has letters beyond ASCII; where TERM is "dumb" that is taken as a wish for none."""
    encoding = (getattr(stream, "encoding", None) or "ascii").lower().replace("-", "")
    return encoding.startswith("utf") and os.environ.get("TERM") != "dumb"


def warn(*lists: Iterable[str]) -> None:
    """Say what was read but looks mistaken, each once."""
    for warning in dict.fromkeys(text for some in lists for text in some):
        say(f"warning: {warning}")
