"""Options of the command line that stand in for keys of the operation."""

from __future__ import annotations

import math
from dataclasses import dataclass, replace
from fractions import Fraction
from typing import TYPE_CHECKING, Any, cast

from kitopt.budget import STARTED_S, Budget, Reporter
from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Objective, Operation

if TYPE_CHECKING:
    from kitopt.inventory.columns import Table
    from kitopt.inventory.fields import Number

    Key = tuple[type[Table], str]
    """A table and one of its keys."""


@dataclass(frozen=True)
class Options:
    """Each as it was typed; None when it was not."""

    least: str | None = None
    confidence: str | None = None
    hours: str | None = None
    seconds: str | None = None
    windows: str | None = None
    seed: str | None = None
    step: str | None = None
    backup: str | None = None
    with_: tuple[str, ...] = ()
    without: tuple[str, ...] = ()


@dataclass(frozen=True)
class Overrides:
    """The same, checked; None leaves the operation as it is."""

    least: Objective | None = None
    confidence: Fraction | None = None
    hours: float | None = None
    windows: int | None = None
    seed: int | None = None
    step_h: float | None = None
    backup: tuple[str, ...] | None = None
    seconds: float = math.inf
    warnings: tuple[str, ...] = ()
    """What was typed outside the usual."""

    def budget(self, reporter: Reporter) -> Budget:
        """The time that there is, counted from the start of the process."""
        return Budget(STARTED_S + self.seconds, reporter)

    def of(self, operation: Operation) -> Operation:
        """The operation with what was overridden replaced; its weather windows stay what they were."""
        need = operation.need
        need = replace(
            need,
            confidence=need.confidence if self.confidence is None else self.confidence,
            windows=need.windows if self.windows is None else self.windows,
            seed=need.seed if self.seed is None else self.seed,
            step_h=need.step_h if self.step_h is None else self.step_h,
            backup=need.backup if self.backup is None else self.backup,
        )
        return replace(
            operation,
            need=need,
            hours=operation.hours if self.hours is None else self.hours,
            least=operation.least if self.least is None else self.least,
            warnings=(*operation.warnings, *self.warnings),
        )


def check_options(options: Options) -> Overrides:
    """Check every option as strictly as the key that it stands in for.

    Raises
    ------
    BadInput
        With one fault per option that cannot be used.
    """
    if options == Options():
        return Overrides()
    from kitopt.inventory.fields import Number
    from kitopt.operation import tables

    stands_for: dict[str, Number | Key] = {
        "hours": (tables.TopTable, "hours"),
        "confidence": (tables.NeedTable, "confidence"),
        "windows": (tables.NeedTable, "windows"),
        "seed": (tables.NeedTable, "seed"),
        "step": (tables.NeedTable, "step_minutes"),
        "least": (tables.GoalTable, "least"),
        "backup": (tables.NeedTable, "backup"),
        "seconds": Number("a number of seconds", "30", above=0, most=10**7),
    }
    values: dict[str, Any] = {}
    faults: list[Fault] = []
    warnings: list[str] = []
    for name, key in stands_for.items():
        text = getattr(options, name)
        if text is None:
            continue
        try:
            typed = text.replace(",", " ") if name == "backup" else text
            values[name] = read_option(f"--{name}", key, typed, warnings)
        except BadInput as error:
            faults.extend(error.faults)
    if faults:
        raise BadInput(faults)
    return Overrides(
        least=cast("Objective | None", values.get("least")),
        # through its shortest decimal form: 0.55 of 100 is 55
        confidence=Fraction(str(values["confidence"])) if "confidence" in values else None,
        hours=values.get("hours"),
        windows=values.get("windows"),
        seed=values.get("seed"),
        step_h=values["step"] / 60 if "step" in values else None,
        backup=values.get("backup"),
        seconds=values.get("seconds", math.inf),
        warnings=tuple(warnings),
    )


def read_option(name: str, key: Number | Key, text: str, warnings: list[str] | None = None) -> Any:
    """What an option says, read and held to the usual as the key of a table for which it stands.

    Parameters
    ----------
    key : Number or (table, key)
        What it stands for; a number that stands in no file is only read.
    warnings : list of str, optional
        Added to where the value is outside the usual but may be meant.

    Raises
    ------
    BadInput
        If it cannot be read, or must be a mistake in writing.
    """
    from pydantic_core import PydanticCustomError

    from kitopt.inventory.columns import columns_of
    from kitopt.inventory.ranges import judge

    try:
        if not isinstance(key, tuple):
            return key.read(text, None)
        table, column = key
        value = columns_of(table)[column].field.read(text, None)
    except PydanticCustomError as error:
        raise BadInput([Fault(name, None, None, error.message())]) from error
    for found in judge(table.model_construct(**{column: value}), {column: text}, None):
        if found.is_fault:
            raise BadInput([Fault(name, None, None, found.text)])
        if warnings is not None:
            warnings.append(f"{name}: {found.text}")
    return value
