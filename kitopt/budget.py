"""How much time there is, and who hears how the work goes: one object for a whole command.

Every part of the work is given the same budget, or a slice of it. What is known when the time is up is all
that is told. Deep loops that know nothing of budgets call ``check_time``, which asks the one in force.
"""

from __future__ import annotations

import contextlib
import math
import time
from collections.abc import Iterator
from contextvars import ContextVar
from dataclasses import dataclass, replace
from typing import Protocol

STARTED_S = time.monotonic() - time.process_time()
"""When the process began: what it has computed until this is imported counts too. [s]"""


class OutOfTime(Exception):
    """The time is up: a signal between parts of the work, never seen by a user."""


class Reporter(Protocol):
    """Hears how the work goes."""

    def round(self, *, bound: float, best: float | None, n_rows: int) -> None:
        """One proposal has been judged."""

    def say(self, text: str) -> None:
        """Something else is begun."""


class Silent:
    """Hears and says nothing."""

    def round(self, *, bound: float, best: float | None, n_rows: int) -> None:
        """Ignore it."""

    def say(self, text: str) -> None:
        """Ignore it."""


SILENT = Silent()


@dataclass
class Allowance:
    """So many proposals may still be judged."""

    left: int


@dataclass(frozen=True)
class Budget:
    """A moment by which work must end, and a reporter.

    Attributes
    ----------
    ends_s : float
        On the clock of ``time.monotonic``; infinite without a limit. [s]
    allowed : Allowance or None
        How many proposals may be judged, whatever the time; None for any number.
    """

    ends_s: float = math.inf
    reporter: Reporter = SILENT
    allowed: Allowance | None = None

    @classmethod
    def of(cls, seconds: float, reporter: Reporter | None = None) -> Budget:
        """So many seconds from now. [s]"""
        return cls(time.monotonic() + seconds, reporter or SILENT)

    @property
    def left_s(self) -> float:
        """What is left; 0 when the time is up, or no proposal is allowed any more. [s]"""
        if self.allowed is not None and self.allowed.left <= 0:
            return 0.0
        return max(0.0, self.ends_s - time.monotonic())

    @property
    def is_over(self) -> bool:
        """Whether the time is up."""
        return self.left_s <= 0.0

    def check(self) -> None:
        """Go on only while there is time.

        Raises
        ------
        OutOfTime
        """
        if self.is_over:
            raise OutOfTime

    @contextlib.contextmanager
    def in_force(self) -> Iterator[None]:
        """Let ``check_time`` ask this budget."""
        token = _IN_FORCE.set(self)
        try:
            yield
        finally:
            _IN_FORCE.reset(token)

    def slice(self, seconds: float = math.inf, *, share: float = 1.0) -> Budget:
        """A part of it: so many seconds at most, and that share of what is left at most. [s]"""
        left_s = min(seconds, share * self.left_s)
        return replace(self, ends_s=min(self.ends_s, time.monotonic() + left_s))

    def proposals(self, most: int) -> Budget:
        """A part of it in which no more than so many proposals are judged: the same on every machine."""
        return replace(self, allowed=Allowance(most))

    def round(self, *, bound: float, best: float | None, n_rows: int) -> None:
        """Tell the reporter that a proposal has been judged, and count it."""
        if self.allowed is not None:
            self.allowed.left -= 1
        self.reporter.round(bound=bound, best=best, n_rows=n_rows)

    def say(self, text: str) -> None:
        """Tell the reporter what is begun."""
        self.reporter.say(text)


UNLIMITED = Budget()
_IN_FORCE: ContextVar[Budget] = ContextVar("budget", default=UNLIMITED)


def check_time() -> None:
    """Go on only while the budget in force has time: for loops that may take long without the solver.

    Raises
    ------
    OutOfTime
    """
    _IN_FORCE.get().check()
