"""Whether an inventory has what an operation names."""

from __future__ import annotations

from kitopt.errors import BadInput, Fault
from kitopt.files.faults import quoted
from kitopt.files.nearest import did_you_mean
from kitopt.inventory.items import Inventory, Load
from kitopt.operation.terms import Operation


def check_against(operation: Operation, inventory: Inventory) -> None:
    """Check that every load of the operation is owned, often enough.

    Raises
    ------
    BadInput
        With one fault per load that is not.
    """
    faults: list[Fault] = []
    for n, use in enumerate(operation.loads, start=1):
        item = inventory.by_id.get(use.id)
        if isinstance(item, Load) and use.count <= item.count:
            continue
        key = "id"
        if isinstance(item, Load):
            key = "count"
            owned = f"{inventory.folder} has {item.count} of {quoted(use.id)}{', which is out' if item.out else ''}"
            text = f"found {use.count}, but {owned}; need no more than that."
        elif item is not None:
            text = f"found {quoted(use.id)}, which is in {item.file}, not in loads.csv; need the id of a load."
        else:
            hint = did_you_mean(use.id, [load.id for load in inventory.loads])
            text = f"found {quoted(use.id)}, need the id of a load in loads.csv of {inventory.folder}.{hint}"
        faults.append(Fault(operation.file, use.line or None, f"loads[{n}].{key}", text))
    if faults:
        raise BadInput(faults)
