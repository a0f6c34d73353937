"""The letters that pictures on a terminal are drawn with."""

from __future__ import annotations

from collections.abc import Iterable
from contextvars import ContextVar
from dataclasses import dataclass


@dataclass(frozen=True)
class Letters:
    """What is drawn with: heights from low to high, then a band, the hardest spell, what is held, night and day."""

    heights: str
    band: str
    hardest: str
    held: str
    night: str
    day: str


BLOCKS = Letters("▁▂▃▄▅▆▇█", "░", "●", "─", "━", "┄")
PLAIN = Letters("_.:-=+*#", ":", "*", "-", "=", ".")

_DRAWN: ContextVar[tuple[Letters, bool]] = ContextVar("drawn", default=(BLOCKS, False))


def draw_with(letters: Letters, *, is_large: bool) -> None:
    """Draw with those letters from now on, ten lines high or two."""
    _DRAWN.set((letters, is_large))


def drawn() -> tuple[Letters, bool]:
    """The letters, and whether pictures are ten lines high."""
    return _DRAWN.get()


def spark(values: Iterable[float], low: float, high: float, letters: Letters | None = None) -> str:
    """A letter a value, by its height between two values."""
    heights = (drawn()[0] if letters is None else letters).heights
    top, span = len(heights) - 1, max(high - low, 1e-9)
    return "".join(heights[round(min(max((float(one) - low) / span, 0.0), 1.0) * top)] for one in values)
