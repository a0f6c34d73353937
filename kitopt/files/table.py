"""CSV text to rows whose cells know their physical line."""

from __future__ import annotations

import csv
import io
import re
from collections.abc import Iterator
from dataclasses import dataclass, field

from kitopt.files.faults import FaultList, quoted

MOST_ROWS = 20_000
DELIMITERS = ",;\t"
_NAMES = {",": "commas", ";": "semicolons", "\t": "tabs"}
# a spreadsheet may quote a remark, and guard its sign with an apostrophe
_REMARK = re.compile(r"""\s*"?\s*'?#""")
_SEP_LINE = re.compile(r'"?sep=(.)"?[,;\t]*$', re.IGNORECASE)


@dataclass(frozen=True)
class Row:
    """One row: the cells that are not blank, each with the line on which it begins."""

    line: int
    cells: dict[str, str]
    lines: dict[str, int]


@dataclass
class Table:
    """A table as written; cells are text without outer blanks."""

    header_line: int = 1
    columns: tuple[str, ...] = ()
    rows: list[Row] = field(default_factory=list)


class _Lines:
    """Physical lines for the CSV reader, without the comment lines between records.

    A line that begins with # inside a quoted cell is part of that cell, so the filter must know where
    a record starts: the caller says so before it asks for each record.
    """

    def __init__(self, text: str) -> None:
        self._stream = io.StringIO(text, newline="")
        self.number = 0
        self.first = 0
        self.at_start = True

    def __next__(self) -> str:
        for line in self._stream:
            self.number += 1
            if self.at_start:
                if not line.strip():
                    continue
                if _REMARK.match(line):
                    self._pass_over(line)
                    continue
                self.first = self.number
                self.at_start = False
            return line
        raise StopIteration

    def _pass_over(self, line: str) -> None:
        """Skip the other lines of a remark that was quoted as one cell, unless its mark is never closed."""
        if not line.lstrip().startswith('"') or line.count('"') % 2 == 0:
            return
        here, number = self._stream.tell(), self.number
        for other in self._stream:
            self.number += 1
            if other.count('"') % 2:
                return
        self._stream.seek(here)
        self.number = number


def read_table(text: str, faults: FaultList) -> Table | None:
    """Split CSV text into rows.

    The delimiter is the one of comma, semicolon and tab that the header holds most of, unless a first line
    ``sep=;`` names it. Blank rows and rows that begin with # are skipped, quoted or not.

    Returns
    -------
    Table or None
        None when there is no usable header; `faults` then says why.
    """
    lines = _Lines(text)
    header = next(lines, None)
    if header is not None and (named := _SEP_LINE.fullmatch(header.strip("\r\n"))):
        delimiter = named.group(1)
        if delimiter not in DELIMITERS:
            faults.add(lines.number, None, f"found sep={delimiter}, need a comma, a semicolon or a tab.")
            return None
        lines.at_start = True
        header = next(lines, None)
    elif header is not None:
        delimiter = max(DELIMITERS, key=header.count)
    if header is None:
        faults.add(1, None, "the file is empty; need a first line that names the columns, and below it a row per item.")
        return None
    if delimiter not in header:
        need = "column names separated by commas, semicolons or tabs"
        faults.add(lines.number, None, f"found {quoted(header.strip())} as the header, need {need}.")
        return None
    return _Reader(_Rewound(header, lines), delimiter, faults).read()


class _Rewound:
    """The lines again, from the header on."""

    def __init__(self, header: str, lines: _Lines) -> None:
        self.lines = lines
        self._header: str | None = header

    def __iter__(self) -> Iterator[str]:
        return self

    def __next__(self) -> str:
        if self._header is not None:
            header, self._header = self._header, None
            return header
        return next(self.lines)


class _Reader:
    def __init__(self, source: _Rewound, delimiter: str, faults: FaultList) -> None:
        self.lines = source.lines
        self.faults = faults
        self.delimiter = delimiter
        # strict: otherwise an open quote swallows the rest of the file in silence
        self.records = csv.reader(source, delimiter=delimiter, strict=True)

    def read(self) -> Table | None:
        header = self._record()
        if header is None:
            return None
        columns = self._columns(header)
        if columns is None:
            return None
        table = Table(self.lines.first, columns)
        while not self.faults.is_hopeless:
            self.lines.at_start = True
            before = self.lines.number
            cells = self._record()
            if cells is None:
                if self.lines.number == before or self.lines.at_start:
                    break
                continue
            if any(cell.strip() for cell in cells):
                if len(table.rows) == MOST_ROWS:
                    text = f"found more than {MOST_ROWS:,} rows; the rest was not read. Is it the right file?"
                    self.faults.add(self.lines.first, None, text)
                    break
                self._append(table, cells)
        return table

    def _record(self) -> list[str] | None:
        """Return the next record; None at the end, and after a fault in one."""
        try:
            return next(self.records, None)
        except csv.Error as error:
            text = str(error)
            if "end of data" in text:
                text = 'a quotation mark opened in this row is never closed; close it, or write "" for one mark.'
            elif "field limit" in text:
                text = "found a cell of more than 100,000 characters. Is it the right file?"
            else:
                text = 'found text after a closing quotation mark; quote the whole cell, or write "" for one mark.'
            self.faults.add(self.lines.first, None, text)
            return None

    def _columns(self, header: list[str]) -> tuple[str, ...] | None:
        columns = tuple("_".join(name.strip().lower().split()) for name in header)
        if len(columns) > 200:
            self.faults.add(self.lines.first, None, f"found {len(columns):,} columns. Is it the right file?")
            return None
        twice = sorted({name for name in columns if name and columns.count(name) > 1})
        for name in twice:
            self.faults.add(self.lines.first, name[:60], "this column is there twice; remove one.")
        return None if twice else columns

    def _append(self, table: Table, cells: list[str]) -> None:
        line = self.lines.first
        if len(cells) != len(table.columns):
            separators = _NAMES[self.delimiter]
            found = f"found {len(cells)} cells, need {len(table.columns)} as in the header"
            self.faults.add(line, None, f"{found}; count the {separators}, and quote a cell that holds one.")
            return
        row = Row(line, {}, {})
        for name, cell in zip(table.columns, cells, strict=True):
            inner = cell.strip()
            if inner and name:
                row.cells[name] = inner
                row.lines[name] = line
            elif inner:
                self.faults.add(line, None, f"found {quoted(inner)} in a column without a name; name or empty it.")
            line += cell.replace("\r\n", "\n").replace("\r", "\n").count("\n")
        table.rows.append(row)
