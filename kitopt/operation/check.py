"""Whether an inventory has what an operation, or several, name."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kitopt.errors import BadInput, Fault
from kitopt.files.faults import quoted
from kitopt.files.nearest import did_you_mean
from kitopt.inventory.items import Inventory, Load
from kitopt.operation.plans import Programme, at_once
from kitopt.operation.terms import Operation


def check_against(operation: Operation, inventory: Inventory) -> None:
    """Check that every load of the operation is owned, often enough.

    Raises
    ------
    BadInput
        With one fault per load that is not; where every load is nice.
    """
    faults: list[Fault] = []
    if operation.loads and not operation.running().loads:
        text = 'found no load that must run; need one with priority = "must", the one that the outing is for.'
        faults.append(Fault(operation.file, operation.loads[0].line or None, "loads[1].priority", text))
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


def check_each(operations: Iterable[Operation], inventory: Inventory) -> None:
    """Check that every load of every operation is owned.

    Raises
    ------
    BadInput
        With the faults of all; those of one file are told once.
    """
    faults: list[Fault] = []
    for operation in {one.file: one for one in operations}.values():
        if len(operation.circuits) > 1:
            n, use = next((n, use) for n, use in enumerate(operation.loads, start=1) if use.circuit)
            text = f"found {quoted(use.circuit)}; need one circuit where several kits are asked for: leave circuit out."
            faults.append(Fault(operation.file, use.line or None, f"loads[{n}].circuit", text))
        try:
            check_against(operation, inventory)
        except BadInput as error:
            faults.extend(error.faults)
    if faults:
        raise BadInput(faults)


def check_programme(programme: Programme, inventory: Inventory, sets: Sequence[tuple[int, ...]] | None = None) -> None:
    """Check that every load is owned, and often enough for the operations at the same time.

    Parameters
    ----------
    sets : sequence of sets, optional
        Operations that cannot have one another's loads, by number; those that overlap when left out.

    Raises
    ------
    BadInput
    """
    check_each((outing.operation for outing in programme.outings), inventory)
    faults = []
    for together in at_once(programme.outings) if sets is None else sets:
        needs: dict[str, int] = {}
        for o in together:
            for use in programme.musts.outings[o].operation.loads:
                needs[use.id] = needs.get(use.id, 0) + use.count
        names = ", ".join(programme.outings[o].operation.name for o in together)
        for load_id, n in sorted(needs.items()):
            owned = inventory.by_id[load_id].count
            if n > owned:
                text = (
                    f"found {n} × {load_id} at the same time ({names}), but {owned} owned; need other loads or dates."
                )
                faults.append(Fault(programme.file, None, "operations", text))
    if faults:
        raise BadInput(faults)
