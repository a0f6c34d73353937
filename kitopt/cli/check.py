"""``kitopt check``."""

from __future__ import annotations

from pathlib import Path

from kitopt.cli.answering import fit_the_page
from kitopt.cli.inputs import Gather, read_both
from kitopt.cli.request import CHECK_SCHEMA, Answer
from kitopt.cli.streams import say
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Climate, Operation, WeatherFile


def run_check(file: Path | None, folder: Path | None, *, is_json: bool = False) -> Answer:
    """Read an operation and inventory, or an inventory alone, and say what was read and assumed.

    Raises
    ------
    BadInput
        With every fault found.
    """
    gather = Gather()
    operation: Operation | None = None
    inventory: Inventory
    if file is None and folder is not None:
        from kitopt.inventory import read_inventory

        inventory = read_inventory(folder)
    else:
        operation, inventory = read_both(gather, file, folder)
        if file is None:
            say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")
        from kitopt.sky import check_fits, windows_for

        if isinstance(operation.need.weather, Climate):
            check_fits(operation, operation.need.windows)
        elif isinstance(operation.need.weather, WeatherFile):
            # whether it holds weather, and enough of it, is seen only from inside
            windows_for(operation, n=1)
    if is_json:
        from kitopt.report.encode import as_json
        from kitopt.report.reading import reading_document

        return Answer(as_json({"schema": CHECK_SCHEMA, **reading_document(operation, inventory)}))
    from kitopt.report.reading import reading_text

    fit_the_page()
    return Answer(reading_text(operation, inventory))


def run_connectors(folder: Path | None, *, is_json: bool = False) -> Answer:
    """Print the families of connectors that are known, and what an inventory says of its own.

    Raises
    ------
    BadInput
        With every fault of the inventory, where one is named.
    """
    from kitopt.report.families import families_document, families_text

    inventory: Inventory | None = None
    if folder is not None:
        from kitopt.inventory import read_inventory

        inventory = read_inventory(folder)
    if is_json:
        from kitopt.report.encode import as_json

        return Answer(as_json({"schema": CHECK_SCHEMA, **families_document(inventory)}))
    fit_the_page()
    return Answer(families_text(inventory))
