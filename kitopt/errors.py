"""Every error that kitopt raises on purpose.

    KitoptError
    ├── BadInput            the user's files or options; carries every Fault found
    ├── ModelError          two parts of the model disagree; a defect in kitopt
    │   └── ShapeMismatch
    └── SolverFailed        the solver gave no usable answer; a defect or a broken install

"No kit works" is an answer, not an error: it is a Choice with its own status.
Libraries raise; only the command line turns an error into words and an exit code.
"""

from __future__ import annotations

from collections.abc import Sequence
from dataclasses import dataclass


@dataclass(frozen=True)
class Fault:
    """One thing wrong in one place of the user's input.

    Attributes
    ----------
    file : str
        Path as the user gave it; an option's name for the command line.
    line : int or None
        Physical line, counted from 1.
    column : str or None
        Name of the CSV column, or dotted key of the TOML value.
    text : str
        What was found, what was needed, and the next move.
    """

    file: str
    line: int | None
    column: str | None
    text: str

    def __str__(self) -> str:
        where = self.file
        if self.line is not None:
            where += f", line {self.line}"
        if self.column is not None:
            where += f", column {self.column}" if self.file.endswith(".csv") else f", {self.column}"
        return f"{where}: {self.text}"


class KitoptError(Exception):
    """Root of the tree."""


class BadInput(KitoptError):
    """The user's files or options cannot be used; every fault is carried."""

    def __init__(self, faults: Sequence[Fault]) -> None:
        self.faults = tuple(faults)
        super().__init__("\n".join(str(fault) for fault in self.faults))


class ModelError(KitoptError):
    """Two parts of the model disagree: a defect in kitopt."""


class ShapeMismatch(ModelError):
    """Arrays that must share a shape do not."""


class SolverFailed(KitoptError):
    """The solver gave no usable answer."""
