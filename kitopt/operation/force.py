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
        if not colon or (known is not None and one in known):
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
) -> Operation:
    """The operation with items forced in and out of its kits.

    Parameters
    ----------
    stock : mapping of id to item
        What there is; see `in_all`.
    with_ : str, list or mapping
        Ids and the least number of each in a kit; 1 where none is given.
    without : str, list or mapping
        Ids and how many of each stay at home; all where none is given.

    Raises
    ------
    BadInput
        For ids that are not known, numbers above what there is, and loads or extras, which are given.
    """
    least = {i: n or 1 for i, n in read_pieces("--with", with_, known=stock).items()}
    away = {i: n or stock[i].count for i, n in read_pieces("--without", without, known=stock).items()}
    faults = []
    for name, counts in (("--with", least), ("--without", away)):
        for item_id, n in counts.items():
            item = stock[item_id]
            if isinstance(item, Load | Extra):
                kind, file = ("load", "the operation") if isinstance(item, Load) else ("extra", "extras.csv")
                faults.append(Fault(name, None, None, f"{item_id} is a {kind}: {file} says whether it is packed."))
            elif n > item.count:
                faults.append(Fault(name, None, None, _too_many(item, n)))
    for item_id in sorted(least.keys() & away.keys()):
        left = stock[item_id].count - away[item_id]
        if least[item_id] > left and not faults:
            text = f"found {least[item_id]} × {item_id}, but without {away[item_id]} of them {left} are left."
            faults.append(Fault("--with", None, None, text))
    if faults:
        raise BadInput(faults)
    bounds = tuple(
        Bound(i, least.get(i, 0), stock[i].count - away[i] if i in away else None)
        for i in sorted(least.keys() | away.keys())
    )
    return replace(operation, bounds=bounds) if bounds else operation


def in_all(inventory: Inventory, catalogue: Inventory | None = None) -> dict[str, Item]:
    """Every item by id, counted with what a catalogue offers of it."""
    found = dict(inventory.by_id)
    for item_id, item in ({} if catalogue is None else catalogue.by_id).items():
        if item_id in found and type(found[item_id]) is type(item):
            found[item_id] = replace(found[item_id], count=found[item_id].count + item.count)
        elif not isinstance(item, Load | Extra):
            found.setdefault(item_id, item)
    return found


def pieces_of_kit(inventory: Inventory, given: Pieces) -> dict[str, int]:
    """The pieces of a kit that is named; 1 of each where no number is given.

    Raises
    ------
    BadInput
        For ids that are not known, and numbers above what is owned.
    """
    counts = {i: n or 1 for i, n in read_pieces("--kit", given, known=inventory.by_id).items()}
    too_many = [(inventory.by_id[i], n) for i, n in counts.items() if n > inventory.by_id[i].count]
    faults = [Fault("--kit", None, None, _too_many(item, n)) for item, n in too_many]
    if not counts:
        faults = [Fault("--kit", None, None, "found nothing, need ID:COUNT,…, such as lfp-30:2,fold-50.")]
    if faults:
        raise BadInput(faults)
    return counts


def _too_many(item: Item, n: int) -> str:
    return f"found {n} × {item.id}, but {item.count} owned; need no more than that, or another count in {item.file}."
