"""The rows of one CSV file, each held to the class that lists its columns."""

from __future__ import annotations

from collections.abc import Callable, Iterator, Mapping
from typing import TypeVar

from pydantic import ValidationError

from kitopt.files.faults import FaultList, quoted
from kitopt.files.marks import decimal_mark
from kitopt.files.nearest import did_you_mean
from kitopt.files.table import Row, Table
from kitopt.files.unknown import is_unknown
from kitopt.inventory.columns import Column, columns_of
from kitopt.inventory.columns import Table as Described
from kitopt.inventory.fields import Number, OneOf

_WARNINGS_LISTED = 50

Checked = TypeVar("Checked", bound=Described)


def rows_of(
    model: type[Checked],
    file: str,
    table: Table,
    faults: FaultList,
    warnings: list[str],
    look: Callable[[Row], None] = lambda row: None,
) -> Iterator[tuple[Row, Checked | None, str | None]]:
    """Every row of a file, as checked unless it is at fault, and the file's decimal mark.

    Parameters
    ----------
    file : str
        Its name, for warnings.
    warnings : list of str
        Added to where a column is not known.
    look : callable
        Sees each row before it is checked.
    """
    known = columns_of(model)
    _check_header(file, table, known, faults, warnings)
    # the mark that the file's numbers prove
    numbers = [name for name in table.columns if name in known and isinstance(known[name].field, Number)]
    decimal = decimal_mark(row.cells[name] for row in table.rows for name in numbers if name in row.cells)
    for row in table.rows:
        if faults.is_hopeless:
            return
        look(row)
        yield row, _checked(model, row, table, known, faults, decimal), decimal


def _check_header(file: str, table: Table, known: Mapping[str, Column], faults: FaultList, warnings: list[str]) -> None:
    unknown = [name for name in table.columns if name and name not in known]
    for column, told in known.items():
        if told.is_required and column not in table.columns:
            found = ", ".join(name for name in table.columns if name)
            found = found if len(found) <= 200 else found[:200] + "…"
            text = f"this required column is missing ({told.help}); the header has {found}."
            faults.add(table.header_line, column, text)
    free = [column for column in known if column not in table.columns]
    for name in unknown[:_WARNINGS_LISTED]:
        hint = did_you_mean(name, free) or did_you_mean(name, known)
        where = f"{file}, line {table.header_line}"
        warnings.append(f"{where}: the unknown column {quoted(name)} is ignored.{hint}")


def _checked(
    model: type[Checked],
    row: Row,
    table: Table,
    known: Mapping[str, Column],
    faults: FaultList,
    decimal: str | None,
) -> Checked | None:
    given = {
        name: cell
        for name, cell in row.cells.items()
        if name in known and (not is_unknown(cell) or _is_word_of(known[name], cell))
    }
    try:
        return model.model_validate(given, context={"decimal": decimal})
    except ValidationError as error:
        for one in error.errors(include_url=False):
            name = str(one["loc"][0])
            if one["type"] != "missing":
                faults.add(row.lines.get(name, row.line), name, one["msg"])
            elif name in table.columns:
                # a column that is missing altogether has its one fault at the header
                cell = row.cells.get(name, "")
                found = f"found {quoted(cell)}, which says that it is unknown" if cell else "the cell is blank"
                faults.add(row.line, name, f"{found}; need {known[name].needed}.")
        return None


def _is_word_of(column: Column, cell: str) -> bool:
    """Whether a word that elsewhere says nothing is one of those that a column takes."""
    return isinstance(column.field, OneOf) and cell.lower() in column.field.choices
