"""A TOML file to checked tables, or to every fault in them with the line of its key."""

from __future__ import annotations

import re
from collections.abc import Iterable, Iterator
from pathlib import Path
from typing import Any, TypeVar

from pydantic import ValidationError

from kitopt.errors import BadInput, Fault
from kitopt.files.decode import decode
from kitopt.files.faults import FaultList, quoted
from kitopt.files.marks import decimal_mark
from kitopt.files.nearest import did_you_mean
from kitopt.files.reading import read_bytes
from kitopt.files.toml_text import LARGEST_BYTES, KeyLines, KeyPath, dotted, parse_toml, texts_in
from kitopt.files.unknown import is_unknown
from kitopt.inventory.columns import Table, columns_of
from kitopt.inventory.ranges import judge

NOTED_AT_MOST = 50
_SHAPES = {
    "tuple_type": "a list in square brackets",
    "model_type": "a table",
    "missing": "a value here",
    "too_long": "pairs, such as [270, 12]",
}


T = TypeVar("T", bound=Table)
_PRINTED = re.compile(r'\s*\{\s*"schema":\s*"(kitopt/[\w-]{1,40})"')
"""How a document of kitopt's own begins, of any version."""


class Document:
    """The state of reading one file.

    Parameters
    ----------
    path : Path
        The file. Whatever keeps it from being read is the one fault then, and `values` is None.
    """

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults = FaultList(str(path))
        self.others: list[Fault] = []
        """Faults of other files that this one names."""
        self.warnings: list[str] = []
        self.content = read_bytes(path, self.faults, LARGEST_BYTES)
        text = None if self.content is None else decode(self.content, self.faults, "save it as UTF-8 text")
        # TOML knows no lone carriage returns, and Windows ends lines with two characters
        text = None if text is None else text.replace("\r\n", "\n")
        printed = None if text is None else _PRINTED.match(text)
        if printed:
            told = f"found {quoted(printed[1])}, which kitopt writes and never reads as this; need the TOML file."
            self.faults.add(1, None, told)
        self.values = None if text is None or printed else parse_toml(text, self.faults)
        self._lines = KeyLines(text if text is not None and self.values is not None else "")
        self._decimal = decimal_mark(texts_in(self.values))

    def stop_if_any(self) -> None:
        """Raise every fault found.

        Raises
        ------
        BadInput
            If there is one.
        """
        if self.faults.n or self.others:
            raise BadInput([*self.faults.listed(), *self.others])

    def line(self, path: KeyPath) -> int:
        """Return the line of a key, or of what is nearest around it."""
        return self._lines.of(path) or 1

    def fault(self, path: KeyPath, text: str) -> None:
        """Note a fault at a key."""
        self.faults.add(self._lines.of(path), dotted(path) or None, text)

    def warn(self, path: KeyPath, text: str) -> None:
        """Note something that looks mistaken."""
        if len(self.warnings) < NOTED_AT_MOST:
            self.warnings.append(f"{self.path.name}, line {self._lines.of(path)}, {dotted(path)}: {text}")

    def warn_unknown(self, values: dict[str, Any], known: Iterable[str], path: KeyPath) -> None:
        """Note every key that is none of those known."""
        for key in values:
            if key not in known:
                self.warn((*path, key), f"the unknown key {quoted(key)} is ignored.{did_you_mean(key, known)}")

    def top(self, model: type[T], *tables: str) -> T | None:
        """The keys above the first table, and no other table than those named."""
        values = self.values or {}
        self.warn_unknown(values, [*columns_of(model), *tables], ())
        return self.table(model, values, ())

    def table(self, model: type[T], values: Any, path: KeyPath) -> T | None:
        """A checked table, or None after noting its faults."""
        if values is None:
            self.fault(path, f"the table [{dotted(path)}] is missing, and is needed.")
            return None
        if not isinstance(values, dict):
            self.fault(path, f"found {quoted(values)}, need a table, such as [{dotted(path)}].")
            return None
        known = columns_of(model)
        if path:
            self.warn_unknown(values, known, path)
        # a key left blank is as good as none
        given = {key: value for key, value in values.items() if key in known and not is_unknown(value)}
        try:
            table = model.model_validate(given, context={"decimal": self._decimal})
        except ValidationError as error:
            for one in error.errors(include_url=False):
                self._note(model, path, one)
            return None
        for found in judge(table, given, self._decimal):
            note = self.fault if found.is_fault else self.warn
            note((*path, found.column), found.text)
        return table

    def tables(self, model: type[T], key: str, need: str = "") -> Iterator[tuple[KeyPath, Any, T | None]]:
        """Every table of a list: its place, its values and, unless it is at fault, as checked.

        `need` is the fault where there is none; without it there may be none.
        """
        given = (self.values or {}).get(key, [])
        if not isinstance(given, list) or (need and not given):
            self.fault((key,), need or f"need at least one [[{key}]].")
            return
        for n, values in enumerate(given):
            if self.faults.is_hopeless:
                return
            yield (key, n), values, self.table(model, values, (key, n))

    def _note(self, model: type[Table], path: KeyPath, error: Any) -> None:
        where = error["loc"]
        if error["type"] == "need":
            text = error["msg"]
        elif error["type"] == "missing" and len(where) == 1:
            text = f"this key is missing, need {columns_of(model)[str(where[0])].needed}."
        else:
            text = f"found {quoted(error['input'])}, need {_SHAPES.get(error['type'], 'another value')}."
        self.fault((*path, *where), text)
