"""How the work goes, on one line of a terminal that is written over and over."""

from __future__ import annotations

import math
import os
import time
from typing import TextIO

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

    def round(self, *, bound: float, best: float | None, n_rows: int = 0, **_: object) -> None:
        """Show bound, best and rounds, a few times a second at most."""
        self._rounds += 1
        now_s = time.monotonic()
        if self._is_on and now_s >= self._next_s:
            self._next_s = now_s + EVERY_S
            self._draw(f"round {self._rounds}: bound {self._amount(bound)}, best {self._amount(best)}")

    def say(self, text: str) -> None:
        """Show what is being done."""
        if self._is_on and time.monotonic() >= self._next_s:
            self._draw(text)

    def clear(self) -> None:
        """Leave the line empty."""
        if self._width:
            self._draw("")
            self._width = 0

    def _amount(self, value: float | None) -> str:
        if value is None or not math.isfinite(value):
            return "none yet"
        if self._least == "mass":
            return f"{value / 1000:.2f} kg"
        return f"{value / 100:,.2f}" if self._least == "price" else f"{value:.0f} items"

    def _draw(self, text: str) -> None:
        assert self._stream is not None
        self._stream.write("\r" + text.ljust(self._width) + ("\r" if not text else ""))
        self._stream.flush()
        self._width = len(text)
