"""The files that a certificate carries, so that a stranger needs nothing but it: their text, and what was typed."""

from __future__ import annotations

import contextlib
import tempfile
from collections.abc import Callable, Iterator, Mapping
from dataclasses import replace
from pathlib import Path, PurePosixPath
from typing import Any

from kitopt.errors import BadInput, Fault
from kitopt.files.decode import read_text
from kitopt.files.faults import FaultList
from kitopt.files.reading import what_lies_at
from kitopt.files.writing import write_file, write_folder
from kitopt.inventory.items import Inventory
from kitopt.inventory.names import CATALOGUE, NAMES
from kitopt.inventory.read import read_inventory
from kitopt.operation.read import read_operation
from kitopt.operation.terms import Operation, WeatherFile

LARGEST_BYTES = 40_000_000
Restate = Callable[[Mapping[str, Any], Operation, Inventory], Operation]
"""An operation as the typed options make it."""


def carried(operation: Operation, inventory: Inventory, options: Mapping[str, Any]) -> dict[str, Any]:
    """The texts of an operation, its inventory and its weather file.

    Raises
    ------
    BadInput
        If a weather file lies elsewhere than beside or below the operation, or is not text.
    """
    file = Path(operation.file)
    weather = None
    if isinstance(operation.need.weather, WeatherFile):
        path = operation.need.weather.path
        if not path.resolve().is_relative_to(file.parent.resolve()):
            text = "the weather file lies elsewhere: put it beside the operation, so that the certificate can carry it."
            raise BadInput([Fault(str(path), None, None, text)])
        weather = {"file": path.resolve().relative_to(file.parent.resolve()).as_posix(), "text": _text(path)}
    there = [name for name in NAMES if name != CATALOGUE and what_lies_at(Path(inventory.folder) / name) == "file"]
    return {
        "operation": {"file": file.name, "text": _text(file)},
        "inventory": {name: _text(Path(inventory.folder) / name) for name in there},
        "weather": weather,
        "options": {name: list(one) if isinstance(one, tuple) else one for name, one in options.items() if one},
        "nices": list(operation.nices),
    }


def _text(path: Path) -> str:
    faults = FaultList(str(path))
    text = read_text(path, faults, "save it as UTF-8", LARGEST_BYTES)
    if text is None:
        raise BadInput(faults.listed())
    return text


@contextlib.contextmanager
def unpacked(inputs: Mapping[str, Any], restate: Restate) -> Iterator[tuple[Operation, Inventory]]:
    """Read what a certificate carries, from a folder that is there for as long.

    Raises
    ------
    BadInput
        With the faults of its files, or of names that lead out of the folder.
    """
    with tempfile.TemporaryDirectory(prefix="kitopt-") as name:
        folder = Path(name)
        try:
            yield _read(folder, inputs, restate)
        except BadInput as error:

            def bare(text: str) -> str:
                # where it was unpacked to is nobody's business
                return text.replace(f"{folder}/", "")

            faults = [replace(one, file=bare(one.file), text=bare(one.text)) for one in error.faults]
            raise BadInput(faults) from error


def _read(folder: Path, inputs: Mapping[str, Any], restate: Restate) -> tuple[Operation, Inventory]:
    operation, weather = inputs["operation"], inputs["weather"]
    strange = [name for name in inputs["inventory"] if name not in NAMES or name == CATALOGUE]
    strange += [one["file"] for one in (operation, weather) if one is not None and not _is_within(one["file"])]
    if strange or "/" in operation["file"]:
        text = "is no name of a file that a certificate carries."
        raise BadInput([Fault(name, None, None, text) for name in strange or [operation["file"]]])
    write_folder(folder / "inventory", inputs["inventory"])
    write_file(folder / operation["file"], operation["text"])
    if weather is not None:
        path = folder / weather["file"]
        path.parent.mkdir(parents=True, exist_ok=True)
        write_file(path, weather["text"], may_replace=False)
    owned = read_inventory(folder / "inventory")
    asked = restate(inputs["options"], read_operation(folder / operation["file"]), owned)
    runs = asked.running(inputs["nices"])
    if list(runs.nices) != inputs["nices"]:
        raise BadInput([Fault("nices", None, None, "are not nice loads of the operation in its order.")])
    return runs, owned


def _is_within(name: str) -> bool:
    path = PurePosixPath(name)
    return bool(path.parts) and not path.is_absolute() and not {"..", "\\", "\0"} & {*path.parts, *name}
