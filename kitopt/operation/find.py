"""Where the inventory of an operation lies when nobody names it."""

from __future__ import annotations

from pathlib import Path

from kitopt.errors import BadInput, Fault
from kitopt.files.reading import what_lies_at
from kitopt.inventory.names import other_names


def find_inventory(operation_file: Path) -> Path:
    """Return the inventory folder that belongs to an operation.

    It is the operation's own folder, or the one above it, if that holds ``batteries.csv``;
    else ``inventory`` beside the operation. Where none of them holds it, a misspelt one will do: the fault is then told
    by whoever reads the folder.

    Raises
    ------
    BadInput
        If none of them holds ``batteries.csv``, or the system lets none be looked into.
    """
    own = operation_file.parent
    # Path("..").parent is ".", which is the way down, not up
    above = own / ".." if own.name in ("", "..") else own.parent
    candidates = (own, above, own / "inventory")
    for folder in candidates:
        if what_lies_at(folder / "batteries.csv") == "file":
            return folder
    for folder in candidates:
        # the reader says what is misspelt there
        if "batteries.csv" in other_names(folder)[0].values():
            return folder
    looked = ", ".join(str(folder) for folder in candidates)
    text = f"no inventory belongs to this operation: no batteries.csv in {looked}; name one with --inventory."
    raise BadInput([Fault(str(operation_file), None, None, text)])
