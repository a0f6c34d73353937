"""A table of a TOML file as `kitopt start` writes it: every key with a line on it, those not given behind a #."""

from __future__ import annotations

from collections.abc import Mapping
from typing import Any

from kitopt.inventory.columns import Column, Table, columns_of
from kitopt.inventory.fields import Number


def explained(model: type[Table], given: Mapping[str, str], header: str = "") -> str:
    """Return the text of a table.

    Parameters
    ----------
    given : mapping
        What stands at each key that is not left to its default, as TOML writes it.
    header : str
        Such as ``[site]``; nothing for the keys above the first table.
    """
    lines = [f"{header}\n"] if header else []
    for name, column in columns_of(model).items():
        value = given.get(name) or example_of(column)
        line = f"{'' if name in given else '# '}{name} = {value}"
        lines.append(f"{line:<36} # {column.help}\n")
    return "".join(lines)


def example_of(column: Column) -> str:
    """Return a value of a key as TOML writes it: its default, where it has one that says something."""
    if column.such:
        return column.such
    if column.default not in (None, ""):
        return _written(column.default)
    if isinstance(column.field, Number):
        return column.field.such.partition(" or ")[0]
    choices = getattr(column.field, "choices", ("",))
    return _written(choices[0])


def _written(value: Any) -> str:
    if isinstance(value, bool):
        return "true" if value else "false"
    return f'"{value}"' if isinstance(value, str) else f"{value:g}"
