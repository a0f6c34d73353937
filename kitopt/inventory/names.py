"""The names of an inventory's files, and what else lies in its folder."""

from __future__ import annotations

from pathlib import Path

from kitopt.files.nearest import nearest
from kitopt.inventory.fill import KINDS

CONNECTORS, FUSES, READINGS = "connectors.csv", "fuses.csv", "readings.csv"
"""Not files of items: what is known of connector families, the fuses owned, and what panels gave."""

CATALOGUE = "catalogue"
SETTINGS = "inventory.toml"
NAMES = (*(kind.file for kind in KINDS), CONNECTORS, FUSES, READINGS, SETTINGS, CATALOGUE)
"""Everything that an inventory may hold by name."""
_MISNAMED_LISTED = 50
_LIKE = 0.8


def other_names(folder: Path) -> tuple[dict[str, str], tuple[str, ...]]:
    """Names in a folder that are no inventory's: those that look misspelt, each with what is meant, and the others.

    Operations and plans may lie in the same folder, so other TOML files and folders are no matter.
    """
    try:
        there = {path.name: path.is_dir() for path in sorted(folder.iterdir())}
    except OSError:
        # each file that cannot be reached has its own fault
        return {}, ()
    free = [name for name in NAMES if name not in there]
    misnamed: dict[str, str] = {}
    others: list[str] = []
    for name, is_folder in there.items():
        # where a file system knows no capitals, Panels.csv has been read
        if name in NAMES or name.startswith((".", "~")) or _is_read_as(folder / name):
            continue
        stem, _, ending = name.rpartition(".")
        is_toml = ending.lower() == "toml"
        meant = nearest(name, free, cutoff=_LIKE)
        if meant is None and stem and not (is_folder or is_toml):
            # panels.txt and panels.xlsx are meant as panels.csv
            meant = nearest(f"{stem}.csv", free, cutoff=_LIKE)
        if meant is not None and is_folder == (meant == CATALOGUE) and len(misnamed) < _MISNAMED_LISTED:
            misnamed[name] = meant
        elif not is_folder and not is_toml:
            others.append(name)
    return misnamed, tuple(others)


def _is_read_as(path: Path) -> bool:
    """Whether the file system takes a file for one of an inventory's."""
    small = path.name.lower()
    try:
        return small in NAMES and path.samefile(path.with_name(small))
    except OSError:
        return False
