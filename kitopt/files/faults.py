"""Faults of one file: all counted, a readable number kept."""

from __future__ import annotations

from kitopt.errors import Fault
from kitopt.files.plain import printable

LISTED = 50
HOPELESS = 10_000
"""Past this many faults it is the wrong file; reading stops."""


def quoted(value: object) -> str:
    """Return what was found, in quotes, on one line and cut to a length that can be read."""
    try:
        shown = str(value).lower() if isinstance(value, bool) else str(value)
    except RecursionError:
        shown = "something deeply nested"
    except ValueError:
        # Python spells no whole number of more than 4,300 digits, which TOML may hold in base 16
        shown = "a number of thousands of digits"
    text = printable(shown[:200])
    return f'"{text[:60]}…"' if len(text) > 60 else f'"{text}"'


class FaultList:
    """Collect the faults of one file.

    Parameters
    ----------
    file : str
        Path as the user gave it.
    """

    def __init__(self, file: str) -> None:
        self.file = file
        self.n = 0
        self._kept: list[Fault] = []

    def add(self, line: int | None, column: str | None, text: str) -> None:
        """Note one fault."""
        self.n += 1
        if len(self._kept) < LISTED:
            self._kept.append(Fault(self.file, line, column, text))

    @property
    def is_hopeless(self) -> bool:
        """Whether reading on is a waste of the user's time."""
        return self.n >= HOPELESS

    def listed(self) -> list[Fault]:
        """Return the faults in the order of their lines, the last one saying how many were left out."""
        faults = sorted(self._kept, key=lambda fault: fault.line or 0)
        left = self.n - len(faults)
        if left:
            stopped = "; reading stopped there. Is it the right file?" if self.is_hopeless else "."
            faults.append(Fault(self.file, None, None, f"and {left:,} more faults in this file{stopped}"))
        return faults
