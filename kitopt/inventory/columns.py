"""What is said of a column or key beside its field: what it is, and what is assumed without it.

A class of rows or of tables is the one list of its columns or keys: the reader, the filler, what `kitopt start`
writes and what `kitopt check` asks for are all made from it. Plain text among a column's annotations is the line
that says what it is.
"""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass
from functools import cached_property, lru_cache
from typing import Any, ClassVar, cast

from pydantic import BaseModel, ConfigDict

from kitopt.inventory.fields import Field


def shown(value: object) -> str:
    """Return a value as a cell holds it."""
    if isinstance(value, bool):
        return "yes" if value else "no"
    return f"{value:.4g}" if isinstance(value, float) else str(value)


@dataclass(frozen=True)
class Such:
    """A key's value as TOML has it, where neither its default nor its field gives one."""

    text: str


@dataclass(frozen=True)
class Blank:
    """What is assumed where a cell is blank.

    Attributes
    ----------
    value : Any
        What is put there.
    rule : str
        The sentence that says why; without it nothing is said.
    shown : str
        What is said to be there, where that is not the value.
    """

    value: Any
    rule: str = ""
    shown: str = ""


@dataclass(frozen=True)
class Unless:
    """What is assumed where a cell is blank, from the rest of the row.

    Attributes
    ----------
    told : str
        The rules, in one line.
    of : callable
        From a row, whose columns before this one are filled, to what is assumed, or None for nothing.
    """

    told: str
    of: Callable[[Any], Blank | None]


@dataclass(frozen=True)
class Column:
    """One column of a file, or key of a table, with all that its class says of it."""

    name: str
    attribute: str
    is_required: bool
    default: Any
    parts: tuple[Any, ...]

    def _part(self, kind: type[Any]) -> Any:
        return next((part for part in self.parts if isinstance(part, kind)), None)

    @cached_property
    def field(self) -> Any:
        """What reads it; None for a list, whose members have their own."""
        return self._part(Field)

    @property
    def help(self) -> str:
        """What it is, in one line."""
        return str(self._part(str) or "")

    @property
    def such(self) -> str:
        """A value as TOML has it, where its class gives one."""
        return getattr(self._part(Such), "text", "")

    @cached_property
    def blank(self) -> Blank | Unless | None:
        """What is assumed where it is blank; None for nothing."""
        return cast("Blank | Unless | None", self._part(Blank) or self._part(Unless))

    @property
    def needed(self) -> str:
        """What is needed, in words."""
        return self.field.needed if self.field else "a value"


class Table(BaseModel):
    """A row of a CSV file or a table of a TOML file: its class is the one list of columns or keys."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, arbitrary_types_allowed=True, frozen=True)

    KIND: ClassVar[str] = ""
    """Under which name its usual values stand in `kitopt.inventory.ranges`; that of a CSV file of items."""


@lru_cache(maxsize=64)
def columns_of(model: type[Table]) -> Mapping[str, Column]:
    """Return the columns of a file, or the keys of a table, by name in the order of its class."""
    return {
        field.alias or name: Column(
            field.alias or name, name, field.is_required(), field.get_default(), tuple(field.metadata)
        )
        for name, field in model.model_fields.items()
    }
