"""The operation and inventory that a command line names, every fault of both together."""

from __future__ import annotations

from collections.abc import Callable
from pathlib import Path
from typing import TypeVar

from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.files.reading import what_lies_at
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation

T = TypeVar("T")


class Gather:
    """Calls readers one after another and keeps the faults of all."""

    def __init__(self) -> None:
        self.faults: list[Fault] = []

    def get(self, read: Callable[[], T]) -> T | None:
        """What a reader returns, or None after noting its faults."""
        try:
            return read()
        except BadInput as error:
            # what two readers trip over is told once
            self.faults.extend(fault for fault in error.faults if fault not in self.faults)
            return None

    def stop_if_any(self) -> None:
        """Raise every fault noted.

        Raises
        ------
        BadInput
        """
        if self.faults:
            raise BadInput(self.faults)


def read_owned(gather: Gather, folder: Path | None, *, may_lack_label: bool = False) -> Inventory:
    """Read the inventory that is named where there is no file beside which it may lie; the demo's where none is.

    Raises
    ------
    BadInput
        With every fault of it, and those gathered before.
    """
    from kitopt.inventory import demo_folder, read_inventory
    from kitopt.report.words import tell_in

    if folder is None:
        say("No inventory named: this is the invented demo's.")
    owned = folder if folder is not None else gather.get(demo_folder)
    inventory = None if owned is None else gather.get(lambda: read_inventory(owned, may_lack_label=may_lack_label))
    gather.stop_if_any()
    assert inventory is not None
    tell_in(inventory.units)
    return inventory


def read_both(gather: Gather, file: Path | None, folder: Path | None) -> tuple[Operation, Inventory]:
    """Read an operation and its inventory; the demo's where none is named.

    Raises
    ------
    BadInput
        With every fault of both files, and those gathered before.
    """
    from kitopt.inventory import demo_folder, demo_operation
    from kitopt.operation import check_against, read_operation

    named = file if file is not None else gather.get(demo_operation)
    if named is None:
        gather.stop_if_any()
    assert named is not None
    if file is None and folder is None:
        folder = gather.get(demo_folder)
    operation, inventory = read_with_inventory(gather, named, folder, read_operation)
    check_against(operation, inventory)
    return operation, inventory


def read_with_inventory(
    gather: Gather, file: Path, folder: Path | None, read: Callable[[Path], T], *, may_lack_label: bool = False
) -> tuple[T, Inventory]:
    """Read a file by its reader, and the inventory named or found near it.

    Raises
    ------
    BadInput
        With every fault of both, and those gathered before.
    """
    from kitopt.inventory import read_inventory
    from kitopt.operation import find_inventory
    from kitopt.report.words import tell_in

    asked = gather.get(lambda: read(file))
    if folder is None and (asked is not None or gather.get(lambda: what_lies_at(file)) == "file"):
        folder = gather.get(lambda: find_inventory(file))
    where = folder
    inventory = None if where is None else gather.get(lambda: read_inventory(where, may_lack_label=may_lack_label))
    gather.stop_if_any()
    assert asked is not None
    assert inventory is not None
    tell_in(inventory.units)
    return asked, inventory
