"""TOML files for many kits to values, or to every fault in them and in the operations that they name."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import Any, cast

from kitopt.errors import BadInput
from kitopt.files.faults import quoted
from kitopt.files.reading import what_lies_at
from kitopt.files.toml_text import KeyPath
from kitopt.inventory.document import Document
from kitopt.operation import plan_tables as tables
from kitopt.operation import read_operation
from kitopt.operation.moment import Skipped, moment_of
from kitopt.operation.plans import Bag, Event, Outing, Programme, Standing
from kitopt.operation.terms import Operation

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
    document = NamingOperations(path)
    top = document.top(tables.StandingTable, "events", "bags")
    events = []
    for place, _, table in document.tables(tables.EventTable, "events", "need at least one [[events]]."):
        operation = None if table is None else document.operation(table.file, place)
        if top is not None and table is not None and operation is not None:
            event = _event(document, place, table, top, operation)
            events += [event] if event is not None else []
    bags = [Bag(table.name, table.mass_g) for _, _, table in document.tables(tables.BagTable, "bags") if table]
    document.stop_if_any()
    assert top is not None
    return Standing(
        str(path),
        top.name or path.stem,
        tuple(events),
        tuple(bags),
        cast(Any, top.least),
        top.recharge_days,
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
    document = NamingOperations(path)
    top = document.top(tables.ProgrammeTable, "operations")
    outings = []
    for place, _, table in document.tables(tables.OutingTable, "operations", "need at least one [[operations]]."):
        operation = None if table is None else document.operation(table.file, place)
        if table is None or operation is None:
            continue
        if table.start is not None:
            try:
                operation = replace(operation, start=moment_of(table.start, operation.site.timezone).time)
            except Skipped as error:
                document.fault((*place, "start"), f"clocks there skip this time; need another, such as {error.shown}.")
        outings.append(Outing(operation, table.operator))
    document.stop_if_any()
    assert top is not None
    warnings = tuple(document.warnings)
    return Programme(str(path), top.name or path.stem, tuple(outings), warnings, top.hours_between)


def _event(
    document: NamingOperations, place: KeyPath, table: tables.EventTable, top: tables.StandingTable, written: Operation
) -> Event | None:
    """An event at each of its dates, with that month's temperatures."""
    months = top.months if table.months is None else table.months
    backup = written.need.backup if top.backup is None else top.backup
    operation = replace(written, need=replace(written.need, backup=backup))
    lists = {"coldest_degc": table.coldest_degc, "warmest_degc": table.warmest_degc}
    for key, given in lists.items():
        if given is not None and len(given) != len(months):
            text = f"temperatures: found {len(given)}, need {len(months)}, one for each month named."
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


class NamingOperations(Document):
    """The state of reading a file that names operations.

    Raises
    ------
    BadInput
        If it cannot be read as TOML.
    """

    def __init__(self, path: Path) -> None:
        super().__init__(path)
        self._read: dict[Path, Operation | None] = {}
        if self.values is None:
            self.stop_if_any()

    def operation(self, name: str, place: KeyPath) -> Operation | None:
        """An operation named in this file, or None after noting its faults; each file is read once."""
        path = self.path.parent / name
        try:
            if what_lies_at(path) != "file":
                text = f"found {quoted(name)}, but {quoted(path)} is no file; need an operation."
                self.fault((*place, "file"), text)
            elif path not in self._read:
                self._read[path] = None
                self._read[path] = read_operation(path)
        except BadInput as error:
            self.others.extend(error.faults)
        found = self._read.get(path)
        if found is not None:
            self.warnings += [w for w in found.warnings if w not in self.warnings]
        return found
