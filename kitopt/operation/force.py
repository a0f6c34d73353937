"""Items forced into a kit, or out of it: what was written of them, as bounds of an operation."""

from __future__ import annotations

from collections.abc import Iterable, Mapping
from dataclasses import replace

from kitopt.errors import BadInput, Fault
from kitopt.files.nearest import did_you_mean
from kitopt.inventory.items import Extra, Inventory, Item, Load
from kitopt.operation.terms import Bound, Operation

Pieces = str | Iterable[str] | Mapping[str, int]
"""Ids with or without a number: "lfp-30, fold-50:2", a list of such, or a mapping of id to number."""


def read_pieces(option: str, given: Pieces, *, known: Mapping[str, Item] | None = None) -> dict[str, int | None]:
    """How many of each id are named; None where no number was given.

    Parameters
    ----------
    option : str
        Where it was written, for the faults.
    known : mapping of id to item, optional
        What may be named.

    Raises
    ------
    BadInput
        With one fault for each that cannot be used.
    """
    if isinstance(given, Mapping):
        written = [f"{item_id}:{n}" for item_id, n in given.items()]
    else:
        texts = [given] if isinstance(given, str) else list(given)
        written = [part.strip() for text in texts for part in text.split(",") if part.strip()]
    found: dict[str, int | None] = {}
    faults = []
    for one in written:
        # an id may hold a colon itself
        item_id, colon, digits = one.rpartition(":")
        number: int | None = None
        if known is not None and one in known:
            item_id = one
        elif not colon:
            item_id = one
        elif digits.isascii() and digits.isdigit() and len(digits) <= 6 and int(digits) > 0:
            number = int(digits)
        else:
            faults.append(Fault(option, None, None, f'found "{one}", need ID or ID:N, such as lfp-30:2.'))
            continue
        if known is not None and item_id not in known:
            near = did_you_mean(item_id, known)
            text = f'found "{item_id}", need the id of an item in the inventory.{near}'
            faults.append(Fault(option, None, None, text))
        elif item_id in found:
            faults.append(Fault(option, None, None, f"found {item_id} twice, need it once, such as {item_id}:2."))
        else:
            found[item_id] = number
    if faults:
        raise BadInput(faults)
    return found


def forced(
    operation: Operation,
    stock: Mapping[str, Item],
    with_: Pieces = (),
    without: Pieces = (),
    *,
    names: tuple[str, str] = ("--with", "--without"),
) -> Operation:
    """The operation with items forced in and out of its kits.

    Parameters
    ----------
    stock : mapping of id to item
        What there is; `counts_of` makes one of an inventory and a catalogue.
    with_ : str, list or mapping
        Ids and the least number of each in a kit; 1 where none is given.
    without : str, list or mapping
        Ids and how many of each stay at home; all where none is given.

    Raises
    ------
    BadInput
        For ids that are not known, numbers above what there is, and loads or extras, which are given.
    """
    least = {i: n or 1 for i, n in read_pieces(names[0], with_, known=stock).items()}
    away = {i: n or stock[i].count for i, n in read_pieces(names[1], without, known=stock).items()}
    faults = []
    for name, counts in zip(names, (least, away), strict=True):
        for item_id, n in counts.items():
            item = stock[item_id]
            if isinstance(item, Load | Extra):
                what = "load: the operation says" if isinstance(item, Load) else "thing that is always packed: extras.csv says"
                faults.append(Fault(name, None, None, f"{item_id} is a {what} whether it goes along."))
            elif n > item.count:
                faults.append(Fault(name, None, None, f"found {n} × {item_id}, but there are {item.count}."))
    for item_id in sorted(least.keys() & away.keys()):
        left = stock[item_id].count - away[item_id]
        if least[item_id] > left and not faults:
            text = f"found {least[item_id]} × {item_id}, but without {away[item_id]} of them {left} are left."
            faults.append(Fault(names[0], None, None, text))
    if faults:
        raise BadInput(faults)
    bounds = tuple(
        Bound(i, least.get(i, 0), stock[i].count - away[i] if i in away else None)
        for i in sorted(least.keys() | away.keys())
    )
    return replace(operation, bounds=bounds) if bounds else operation


def counts_of(inventory: Inventory, catalogue: Inventory | None = None) -> dict[str, Item]:
    """Every item by id, counted with what a catalogue offers of it."""
    found = dict(inventory.by_id)
    for item_id, item in ({} if catalogue is None else catalogue.by_id).items():
        if item_id in found and type(found[item_id]) is type(item):
            found[item_id] = replace(found[item_id], count=found[item_id].count + item.count)
        elif not isinstance(item, Load | Extra):
            found.setdefault(item_id, item)
    return found
