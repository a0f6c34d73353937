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


ANY_NODES = 2**31 - 1
"""As many as the solver can count."""
_NODES_A_STEP = 10
"""Of the solver's branching: they take about as long as to look at a panel side."""


@dataclass
class Allowance:
    """So many steps of work may still be done, and no more than what it is a part of allows."""

    mine: int
    whole: Allowance | None = None

    @property
    def left(self) -> int:
        """Steps that are left."""
        return self.mine if self.whole is None else min(self.mine, self.whole.left)

    def count(self, n: int) -> None:
        """So many were done."""
        self.mine -= n
        if self.whole is not None:
            self.whole.count(n)


@dataclass(frozen=True)
class Budget:
    """A moment by which work must end, and a reporter.

    Attributes
    ----------
    ends_s : float
        On the clock of ``time.monotonic``; infinite without a limit. [s]
    allowed : Allowance or None
        How many steps of work may be done, whatever the time; None for any number. A step is a look at a panel side or
        at a linear program, or some nodes of the solver's branching.
    """

    ends_s: float = math.inf
    reporter: Reporter = SILENT
    allowed: Allowance | None = None

    @classmethod
    def of(cls, seconds: float, reporter: Reporter | None = None) -> Budget:
        """So many seconds from now. [s]"""
        return cls(time.monotonic() + seconds, reporter or SILENT)

    def part(self, share: float) -> Budget:
        """A share of the time that is left, and all of the steps."""
        return replace(self, ends_s=time.monotonic() + share * self.left_s)

    @property
    def left_s(self) -> float:
        """What is left; 0 when the time is up, or no step is allowed any more. [s]"""
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

    def step(self) -> None:
        """Count one step of work, and go on only while there are any.

        Raises
        ------
        OutOfTime
        """
        self.count_nodes(_NODES_A_STEP)
        self.check()

    @property
    def most_nodes(self) -> int:
        """So many nodes may the solver still branch to."""
        return ANY_NODES if self.allowed is None else min(ANY_NODES, _NODES_A_STEP * max(1, self.allowed.left))

    def count_nodes(self, n: int) -> None:
        """Count what the solver has branched to."""
        if self.allowed is not None:
            self.allowed.count(n // _NODES_A_STEP)

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

    def steps(self, most: int) -> Budget:
        """A part of it in which no more than so many steps are done: the same on every machine."""
        return replace(self, allowed=Allowance(most, self.allowed))

    def round(self, *, bound: float, best: float | None, n_rows: int) -> None:
        """Tell the reporter that a proposal has been judged."""
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
