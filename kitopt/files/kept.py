"""What was reckoned once, kept on the disk: safe to delete, bounded, and made anew where anything is wrong with it.

Each entry lies in one file that is named after its question and after the code that answered it, so that a changed
program never reads what an older one wrote. A file appears by being renamed, whole, so that two processes at once do
no harm; and whatever the disk refuses only costs the time to reckon again.
"""

from __future__ import annotations

import contextlib
import hashlib
import importlib.util
import json
import os
import secrets
import sys
import zipfile
from collections.abc import Callable, Iterable, Iterator, Mapping
from contextvars import ContextVar
from dataclasses import dataclass
from functools import cache
from pathlib import Path
from typing import Any

import numpy as np
from numpy.typing import NDArray

LARGEST_ENTRY_BYTES = 60_000_000
LARGEST_BYTES = 400_000_000
"""Of all entries together; those that were not used for longest go first."""

FOLDER = "KITOPT_CACHE"
"""Environment variable that names another folder; an empty one keeps nothing."""

_ENDING = ".npz"
_PACKAGES = ("numpy", "scipy", "pandas", "pvlib", "gsee_climate_data")


_KEEPS: ContextVar[bool] = ContextVar("keeps", default=True)
_FIRST: ContextVar[Callable[[Path], None] | None] = ContextVar("first", default=None)


@dataclass(frozen=True, eq=False)
class Kept:
    """Arrays by name, and facts that JSON can hold."""

    arrays: Mapping[str, NDArray[np.float64]]
    facts: Any = None


def kept(question: str, made_by: Iterable[str], make: Callable[[], Kept]) -> Kept:
    """Return what was made for a question before, or make it and keep it.

    Parameters
    ----------
    question : str
        All that the answer depends on, besides the code.
    made_by : iterable of str
        Folders of the package whose code makes the answer, such as "sky".
    """
    path = entry(question, made_by)
    if path is None:
        return make()
    first = _FIRST.get()
    if first is not None:
        first(path)
    found = _read(path)
    if found is None:
        found = make()
        if sum(one.nbytes for one in found.arrays.values()) <= LARGEST_ENTRY_BYTES:
            with contextlib.suppress(OSError):
                _write(path, found)
                _make_room(path.parent)
    return found


def entry(question: str, made_by: Iterable[str]) -> Path | None:
    """Where what was made for a question lies, if it was; None where nothing is kept."""
    folder = cache_folder() if _KEEPS.get() else None
    if folder is None:
        return None
    name = hashlib.sha256(f"{_code(tuple(made_by))}\n{question}".encode()).hexdigest()
    return folder / f"{name}{_ENDING}"


@contextlib.contextmanager
def nothing_kept() -> Iterator[None]:
    """Reckon without the disk: thousands of questions that are asked once would push out what is asked again."""
    token = _KEEPS.set(False)
    try:
        yield
    finally:
        _KEEPS.reset(token)


@contextlib.contextmanager
def first_done(what: Callable[[Path], None]) -> Iterator[None]:
    """Do something before an entry is looked for."""
    token = _FIRST.set(what)
    try:
        yield
    finally:
        _FIRST.reset(token)


def cache_folder() -> Path | None:
    """Where entries are kept; None where none are to be."""
    named = os.environ.get(FOLDER)
    if named is not None:
        return Path(named) if named else None
    import platformdirs

    return platformdirs.user_cache_path("kitopt", appauthor=False)


@cache
def _code(folders: tuple[str, ...]) -> str:
    """What the code of some folders, and the packages that it reckons with, are known by."""
    digest = hashlib.sha256(sys.version.encode())
    package = Path(__file__).parent.parent
    for folder in folders:
        for source in sorted((package / folder).glob("*.py")):
            digest.update(source.read_bytes())
    for name in _PACKAGES:
        # finding a package does not import it; whatever installs another version writes this file anew
        spec = importlib.util.find_spec(name)
        if spec is not None and spec.origin is not None:
            stat = os.stat(spec.origin)
            digest.update(f"{spec.origin} {stat.st_size} {stat.st_mtime_ns}".encode())
    return digest.hexdigest()


def _read(path: Path) -> Kept | None:
    """What a file holds; None where there is none or it is broken."""
    try:
        with path.open("rb") as file, np.load(file, allow_pickle=False) as entry:
            found = Kept({name: entry[name] for name in entry.files if name}, json.loads(entry[""].tobytes()))
        os.utime(path)
    except (OSError, ValueError, KeyError, EOFError, zipfile.BadZipFile, NotImplementedError):
        return None
    return found


def _write(path: Path, content: Kept) -> None:
    path.parent.mkdir(parents=True, exist_ok=True)
    part = path.with_name(f".{path.stem}.{secrets.token_hex(4)}{_ENDING}")
    try:
        facts = np.frombuffer(json.dumps(content.facts).encode(), dtype=np.uint8)
        with part.open("wb") as file:
            np.savez(file, allow_pickle=False, **{"": facts}, **content.arrays)
        part.replace(path)
    finally:
        part.unlink(missing_ok=True)


def _make_room(folder: Path) -> None:
    """Remove what was used longest ago, and with it what a killed process left behind."""
    entries = []
    for path in folder.glob(f"*{_ENDING}"):
        with contextlib.suppress(OSError):
            stat = path.stat()
            entries.append((stat.st_mtime, stat.st_size, path))
    entries.sort(reverse=True)
    taken = 0
    for _, size, path in entries:
        taken += size
        if taken > LARGEST_BYTES:
            with contextlib.suppress(OSError):
                path.unlink()
