"""How the work goes, on one line of a terminal that is written over and over."""

from __future__ import annotations

import math
import os
import time
from typing import TextIO

from kitopt.cli.streams import columns, write
from kitopt.files.plain import columns_of, cut

EVERY_S = 0.1
FIRST_AFTER_S = 0.5


class Progress:
    """A reporter of the propose-and-judge loop that draws on a terminal, and on nothing else."""

    def __init__(self, stream: TextIO | None, least: str) -> None:
        self._stream = stream
        self._least = least
        self._is_on = stream is not None and stream.isatty() and os.environ.get("TERM") != "dumb"
        self._rounds = 0
        self._next_s = time.monotonic() + FIRST_AFTER_S
        self._width = 0
        self._proved: float | None = None
        self._best: float | None = None

    def round(self, *, bound: float, best: float | None, n_rows: int = 0, **_: object) -> None:
        """Show bound, best and rounds, a few times a second at most."""
        self._rounds += 1
        self._say(f"round {self._rounds}: {self._standing(bound, best)}")

    def say(self, text: str) -> None:
        """Show what is being done."""
        self._say(text)

    def clear(self) -> None:
        """Leave the line empty."""
        if self._width:
            self._draw("")
            self._width = 0

    def _standing(self, bound: float, best: float | None) -> str:
        """How far it is, in words.

        With a bound that has been reached, later rounds are about ties and count something else; the
        next class of batteries begins with a lower bound.
        """
        if self._proved is None or bound < self._proved:
            self._proved = None
            if best is not None:
                self._best = best if self._best is None else min(self._best, best)
                if best <= bound + 1e-6:
                    self._proved = bound
        known = "none yet" if self._best is None else self._amount(self._best)
        return f"bound {self._amount(bound)}, best {known}" if self._proved is None else f"best {known}, among equals"

    def _amount(self, value: float) -> str:
        if not math.isfinite(value):
            return "none yet"
        if self._least == "mass":
            return f"{value / 1000:.2f} kg"
        return f"{value / 100:,.2f}" if self._least == "price" else f"{value:.0f} items"

    def _say(self, text: str) -> None:
        if self._is_on and time.monotonic() >= self._next_s:
            self._next_s = time.monotonic() + EVERY_S
            self._draw(text)

    def _draw(self, text: str) -> None:
        assert self._stream is not None
        # a line as wide as the terminal would wrap, and each new one would push the last upwards
        text = cut(text, columns(self._stream) - 1)
        width = columns_of(text)
        blanks = " " * min(self._width - width, columns(self._stream) - 1 - width)
        write(self._stream, f"\r{text}{blanks}" + ("" if text else "\r"))
        self._width = width
