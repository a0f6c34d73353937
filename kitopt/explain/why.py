"""All that argues for a choice, found by choosing again."""

from __future__ import annotations

import math
from collections.abc import Callable
from dataclasses import dataclass

from kitopt.choose import Reporter
from kitopt.explain.without import Without, without_each
from kitopt.pack import Choice


@dataclass(frozen=True)
class Why:
    """The reasons that go with an answer; empty where none were asked for."""

    withouts: tuple[Without, ...] = ()


def why(
    choice: Choice,
    *,
    seconds: float = math.inf,
    reporter: Reporter | None = None,
    say: Callable[[str], None] = lambda text: None,
) -> Why:
    """Argue for a kit by what happens without each of its items.

    Parameters
    ----------
    seconds : float
        Time limit; what is not known then says so. [s]
    say : callable
        Is told what is being done.
    """
    return Why(withouts=without_each(choice, seconds=seconds, reporter=reporter, say=say))
