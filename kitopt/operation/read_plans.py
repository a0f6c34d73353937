"""TOML files for many kits to values, or to every fault in them and in the operations that they name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, TypeVar, cast

from pydantic import ValidationError

from kitopt.errors import BadInput, Fault
from kitopt.files.decode import decode
from kitopt.files.faults import FaultList, quoted
from kitopt.files.marks import decimal_mark
from kitopt.files.nearest import did_you_mean
from kitopt.files.reading import read_bytes, what_lies_at
from kitopt.files.toml_text import LARGEST_BYTES, KeyLines, KeyPath, dotted, parse_toml, texts_in
from kitopt.files.unknown import is_unknown
from kitopt.inventory.ranges import judge
from kitopt.operation import plan_tables as tables
from kitopt.operation import read_operation
from kitopt.operation.moment import Skipped, moment_of
from kitopt.operation.plans import Bag, Event, Outing, Programme, Standing
from kitopt.operation.tables import Table
from kitopt.operation.terms import Operation

T = TypeVar("T", bound=Table)

MIDDLE = 15
"""Day of the month to which an operation is moved."""


def read_standing(path: Path | str) -> Standing:
    """Read what a grab-kit must be ready for.

    Raises
    ------
    BadInput
        With every fault found, in this file and in the operations that it names.
    """
    path = Path(path)
    document = _Document(path)
    values = document.values(tables.StandingTable, ("events", "bags"))
    top = document.table(tables.StandingTable, values, ())
    events = []
    for place, table in document.tables(tables.EventTable, values, "events"):
        operation = document.operation(table.file, place)
        if top is not None and operation is not None:
            event = _event(document, place, table, top, operation)
            events += [event] if event is not None else []
    bags = [
        Bag(table.name, table.mass_g) for _, table in document.tables(tables.BagTable, values, "bags", is_needed=False)
    ]
    document.stop_if_any()
    assert top is not None
    return Standing(
        str(path),
        top.name or path.stem,
        tuple(events),
        tuple(bags),
        cast(Any, top.least),
        tuple(document.warnings),
    )


def read_programme(path: Path | str) -> Programme:
    """Read a season or a club's programme: operations that draw on one stock.

    Raises
    ------
    BadInput
        With every fault found, in this file and in the operations that it names.
    """
    path = Path(path)
    document = _Document(path)
    values = document.values(tables.ProgrammeTable, ("operations",))
    top = document.table(tables.ProgrammeTable, values, ())
    outings = []
    for place, table in document.tables(tables.OutingTable, values, "operations"):
        operation = document.operation(table.file, place)
        if operation is None:
            continue
        if table.start is not None:
            try:
                operation = replace(operation, start=moment_of(table.start, operation.site.timezone).time)
            except Skipped as error:
                document.fault((*place, "start"), f"clocks there skip this time; need another, such as {error.shown}.")
        outings.append(Outing(operation, table.operator))
    document.stop_if_any()
    assert top is not None
    return Programme(str(path), top.name or path.stem, tuple(outings), tuple(document.warnings))


def _event(
    document: _Document, place: KeyPath, table: tables.EventTable, top: tables.StandingTable, written: Operation
) -> Event | None:
    """An event at each of its dates, with that month's temperatures."""
    months = top.months if table.months is None else table.months
    backup = written.need.backup if top.backup is None else top.backup
    operation = replace(written, need=replace(written.need, backup=backup))
    lists = {"coldest_degc": table.coldest_degc, "warmest_degc": table.warmest_degc}
    for key, given in lists.items():
        if given is not None and len(given) != len(months):
            text = f"found {len(given)} temperatures for {len(months)} months; need one for each month named."
            document.fault((*place, key), text)
            return None
    if not months:
        return Event(operation.name, (operation,), ("",))
    dates = []
    for i, month in enumerate(months):
        changes = {key: given[i] for key, given in lists.items() if given is not None}
        site = replace(operation.site, **cast(Any, changes))
        if site.coldest_degc is not None and site.warmest_degc is not None and site.coldest_degc > site.warmest_degc:
            name = tables.MONTHS[month - 1]
            text = f"in {name} found {site.coldest_degc:g} °C, above the warmest ({site.warmest_degc:g} °C)."
            document.fault((*place, "coldest_degc"), text)
            return None
        local = operation.start.replace(tzinfo=None, month=month, day=MIDDLE)
        dates.append(replace(operation, start=local.replace(tzinfo=site.timezone), site=site))
    return Event(operation.name, tuple(dates), tuple(tables.MONTHS[m - 1].capitalize() for m in months))


class _Document:
    """The state of one reading."""

    def __init__(self, path: Path) -> None:
        self.path = path
        self.faults = FaultList(str(path))
        self.others: list[Fault] = []
        self.warnings: list[str] = []
        self._read: dict[Path, Operation | None] = {}
        content = read_bytes(path, self.faults, LARGEST_BYTES)
        text = None if content is None else decode(content, self.faults, "save it as UTF-8 text")
        text = None if text is None else text.replace("\r\n", "\n")
        self._values = None if text is None else parse_toml(text, self.faults)
        self.stop_if_any()
        self._lines = KeyLines(text or "")
        self._decimal = decimal_mark(texts_in(self._values))

    def values(self, model: type[Table], lists: tuple[str, ...]) -> dict[str, Any]:
        """What stands in the file; unknown keys are warned about."""
        values = self._values or {}
        self._warn_unknown(values, [*model.model_fields, *lists], ())
        return values

    def fault(self, path: KeyPath, text: str) -> None:
        """Note a fault at a key."""
        self.faults.add(self._lines.of(path), dotted(path) or None, text)

    def stop_if_any(self) -> None:
        """Raise what was found."""
        if self.faults.n or self.others:
            raise BadInput([*self.faults.listed(), *self.others])

    def _warn_unknown(self, values: dict[str, Any], known: list[str], path: KeyPath) -> None:
        for key in values:
            if key not in known:
                where = f"{self.path.name}, line {self._lines.of((*path, key))}, {dotted((*path, key))}"
                hint = did_you_mean(key, known)
                self.warnings.append(f"{where}: the unknown key {quoted(key)} is ignored.{hint}")

    def table(self, model: type[T], values: Any, path: KeyPath) -> T | None:
        """A checked table, or None after noting its faults."""
        if not isinstance(values, dict):
            self.fault(path, f"found {quoted(values)}, need a table.")
            return None
        known = list(model.model_fields)
        if path:
            self._warn_unknown(values, known, path)
        given = {key: value for key, value in values.items() if key in known and not is_unknown(value)}
        try:
            table = model.model_validate(given, context={"decimal": self._decimal})
        except ValidationError as error:
            for one in error.errors(include_url=False):
                if one["type"] == "need":
                    text = one["msg"]
                elif one["type"] == "missing":
                    text = "this key is missing, and is needed."
                else:
                    text = f"found {quoted(one['input'])}, need another value."
                self.fault((*path, *one["loc"]), text)
            return None
        for found in judge(model.KIND, table, given, self._decimal):
            place = (*path, found.column)
            if found.is_fault:
                self.fault(place, found.text)
            else:
                self.warnings.append(f"{self.path.name}, line {self._lines.of(place)}, {dotted(place)}: {found.text}")
        return table

    def tables(
        self, model: type[T], values: dict[str, Any], key: str, *, is_needed: bool = True
    ) -> list[tuple[KeyPath, T]]:
        """The checked tables of a list, each with its place."""
        given = values.get(key, [])
        if not isinstance(given, list) or (is_needed and not given):
            self.fault((key,), f"need at least one [[{key}]].")
            return []
        found: list[tuple[KeyPath, T]] = []
        for n, one in enumerate(given):
            table = self.table(model, one, (key, n))
            if table is not None:
                found.append(((key, n), table))
        return found

    def operation(self, name: str, place: KeyPath) -> Operation | None:
        """An operation named in this file, or None after noting its faults; each file is read once."""
        path = self.path.parent / name
        if path not in self._read:
            self._read[path] = None
            try:
                if what_lies_at(path) == "file":
                    self._read[path] = read_operation(path)
                else:
                    text = f"found {quoted(name)}, but {quoted(path)} is no file; need an operation."
                    self.fault((*place, "file"), text)
            except BadInput as error:
                self.others.extend(error.faults)
        found = self._read[path]
        if found is not None:
            self.warnings += [w for w in found.warnings if w not in self.warnings]
        return found
