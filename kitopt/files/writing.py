"""The one way out to the disk: whole or not at all, beside and renamed, one writer at a time.

A target is checked before any long work, and again before it is touched. Links are followed, so that a link stays a
link; devices, pipes and folders are refused. What a killed process left behind is swept by the next that writes there.
"""

from __future__ import annotations

import contextlib
import os
import re
import secrets
import shutil
import sys
import time
import unicodedata
from collections.abc import Callable, Iterable, Iterator, Mapping
from pathlib import Path

from kitopt.errors import BadInput, Fault
from kitopt.files.reading import reason_of, what_lies_at

_LEFT_OVER = re.compile(r"\..*\.[0-9a-f]{16}\.kitopt-part")
"""Names of unfinished files and folders."""

_DEVICES = re.compile(r"(con|prn|aux|nul|com[0-9¹²³]|lpt[0-9¹²³])\s*(\..*)?", re.IGNORECASE)
"""What Windows takes for a device in any folder, whatever ending follows."""

_WAIT_S = 10.0
"""Longest wait for another process that writes into the same folder. [s]"""


def check_target(path: Path, *, may_replace: bool, otherwise: str = "choose another place") -> Path:
    """Where a file will really be written: what links lead to, a regular file or nothing yet.

    Parameters
    ----------
    otherwise : str
        The next move of a user whose file would have been replaced.

    Raises
    ------
    BadInput
        If nothing can be written there, or something is there that must not be replaced.
    """
    try:
        target = Path(os.path.realpath(path))
        name = target.name
        if not name or (sys.platform == "win32" and not is_name_on_windows(name)):
            raise _fault(path, "is no name for a file: choose another.")
        there = what_lies_at(target)
        folder = what_lies_at(target.parent)
    except ValueError as error:
        raise _fault(path, f"is no name for a file ({error}): choose another.") from None
    except OSError as error:
        # the folder that all is said from may be gone
        raise _fault(path, f"cannot be written: {reason_of(error)}: choose another place.") from None
    if there in ("folder", "other"):
        raise _fault(path, f"is a {'folder' if there == 'folder' else 'device or pipe'}: name a file to be written.")
    if there == "file" and not may_replace:
        raise _fault(path, f"there is such a file already, and nothing is overwritten: {otherwise}.")
    if folder != "folder":
        raise _fault(path, f"cannot be written: there is no folder {target.parent}: make it, or choose another place.")
    if not os.access(target.parent, os.W_OK) or (there == "file" and not os.access(target, os.W_OK)):
        raise _fault(path, "cannot be written: Permission denied: choose another place.")
    return target


def is_name_on_windows(name: str) -> bool:
    """Whether Windows would make a file of that name, not open a device or drop its last letters."""
    if _DEVICES.fullmatch(name) or name.endswith((".", " ")):
        return False
    return not any(char in '<>:"/\\|?*' or ord(char) < 32 for char in name)


def write_file(path: Path, content: str | bytes, *, may_replace: bool = False) -> None:
    """Write one file whole or not at all; one that is replaced keeps its mode.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    target = check_target(path, may_replace=may_replace)
    with _refusals_of(path), _only_writer(target.parent):
        # another may have been quicker
        check_target(path, may_replace=may_replace)
        _put([(_part(target, content), target)])


def check_folder(folder: Path, names: Iterable[str], *, may_replace: bool) -> None:
    """Refuse a folder that is none, or in which one of some files cannot be written; one that is not there is made.

    Raises
    ------
    BadInput
    """
    lies = what_lies_at(folder)
    if lies not in ("nothing", "folder"):
        raise _fault(folder, "cannot be written: it is not a folder: name another.")
    if lies == "folder":
        _check_all(folder, names, may_replace)


def write_folder(folder: Path, contents: Mapping[str, str | bytes], *, may_replace: bool = False) -> list[Path]:
    """Write several files into a folder, all or none; the folder is made where there is none.

    A folder that is new appears with all its files at once, even if the process is killed. In one that is there, files
    appear one after another, and those that have appeared are taken back when a later one fails.

    Raises
    ------
    BadInput
        If one of them is there and must not be replaced, or cannot be written.
    ValueError
        If two names are one to a system that does not tell small letters from capitals.
    """
    names = {unicodedata.normalize("NFC", name).casefold() for name in contents}
    if len(names) < len(contents):
        raise ValueError(f"not told apart by every file system: {sorted(contents)}")
    check_folder(folder, contents, may_replace=may_replace)
    if what_lies_at(folder) == "nothing":
        return _new_folder(folder, contents)
    with _refusals_of(folder), _only_writer(folder):
        _check_all(folder, contents, may_replace)
        parts: list[tuple[Path, Path]] = []
        try:
            for name, content in contents.items():
                target = check_target(folder / name, may_replace=may_replace)
                parts.append((_part(target, content), target))
            _put(parts)
        finally:
            for part, _ in parts:
                part.unlink(missing_ok=True)
    return [folder / name for name in contents]


def append_lines(path: Path, lines: str, *, first: str = "") -> None:
    """Add lines to the end of a file; when this returns, they are on the disk.

    Other writers of the folder wait. A last line without its line feed is ended first; when the disk is full, the
    file is as before.

    Parameters
    ----------
    lines : str
        Each ended by a line feed.
    first : str
        What a new file begins with.

    Raises
    ------
    BadInput
        If it cannot be written, or is UTF-16, in which a line of UTF-8 would be noise.
    """
    target = check_target(path, may_replace=True)
    with _refusals_of(path), _only_writer(target.parent):
        handle = os.open(target, os.O_RDWR | os.O_CREAT | getattr(os, "O_BINARY", 0), 0o666)
        with os.fdopen(handle, "r+b", buffering=0) as stream:
            begins = stream.read(2)
            if begins in (b"\xff\xfe", b"\xfe\xff"):
                raise _fault(path, "found UTF-16 text, need UTF-8 to add to: save it as CSV UTF-8.")
            size = stream.seek(0, os.SEEK_END)
            text = lines
            if size == 0:
                text = first + lines
            else:
                stream.seek(-1, os.SEEK_END)
                if stream.read(1) != b"\n":
                    text = "\n" + lines
            try:
                left = memoryview(text.encode())
                while left:
                    left = left[stream.write(left) or 0 :]
                os.fsync(stream.fileno())
            except BaseException:
                stream.truncate(size)
                raise
        if size == 0:
            _sync_folder(target.parent)


def _fault(path: Path, text: str) -> BadInput:
    return BadInput([Fault(str(path), None, None, text)])


@contextlib.contextmanager
def _refusals_of(path: Path) -> Iterator[None]:
    """What the system refuses becomes a fault of the path."""
    try:
        yield
    except OSError as error:
        raise _fault(path, f"cannot be written: {reason_of(error)}: choose another place.") from error


def _check_all(folder: Path, names: Iterable[str], may_replace: bool) -> None:
    faults: list[Fault] = []
    for name in names:
        # a link counts as something that is there, wherever it leads
        path = folder / name
        try:
            if not may_replace and path.is_symlink():
                raise _fault(path, "there is such a file already, and nothing is overwritten: choose another place.")
            check_target(path, may_replace=may_replace)
        except BadInput as error:
            faults += error.faults
    if faults:
        raise BadInput(faults)


def _new_folder(folder: Path, contents: Mapping[str, str | bytes]) -> list[Path]:
    """A folder that was not there, complete from its first moment on."""
    made: list[Path] = []
    with _refusals_of(folder):
        target = Path(os.path.realpath(folder))
        try:
            for above in reversed(target.parents):
                if what_lies_at(above) == "nothing":
                    above.mkdir()
                    made.insert(0, above)
            with _only_writer(target.parent):
                staged = target.with_name(_part_name(target.name))
                try:
                    staged.mkdir()
                    for name, content in contents.items():
                        _fill(staged / name, content)
                    _sync_folder(staged)
                    if os.path.lexists(target):
                        raise FileExistsError(17, "another process has made it meanwhile")
                    os.replace(staged, target)
                finally:
                    shutil.rmtree(staged, ignore_errors=True)
                _sync_folder(target.parent)
        except BaseException:
            for above in made:
                with contextlib.suppress(OSError):
                    above.rmdir()
            raise
    return [folder / name for name in contents]


def _part_name(name: str) -> str:
    # a name may have 255 bytes, of which the marks take 31
    short = name.encode()[:200].decode(errors="ignore")
    return f".{short}.{secrets.token_hex(8)}.kitopt-part"


def _part(target: Path, content: str | bytes) -> Path:
    """A finished file beside the target, on the disk, with the target's mode if it is there."""
    part = target.with_name(_part_name(target.name))
    try:
        _fill(part, content)
        with contextlib.suppress(FileNotFoundError):
            os.chmod(part, target.stat().st_mode & 0o7777)
    except BaseException:
        part.unlink(missing_ok=True)
        raise
    return part


def _fill(path: Path, content: str | bytes) -> None:
    # made by name alone, it has the mode that the user's files have
    with path.open("xb") as stream:
        stream.write(content if isinstance(content, bytes) else content.encode())
        stream.flush()
        os.fsync(stream.fileno())


def _put(parts: list[tuple[Path, Path]]) -> None:
    """Give every finished file its name; when one fails, those before it are as they were."""
    done: list[tuple[Path, Path | None]] = []
    try:
        for part, target in parts:
            old: Path | None = None
            if len(parts) > 1 and target.exists():
                old = target.with_name(_part_name(target.name))
                shutil.copy2(target, old)
            done.append((target, old))
            os.replace(part, target)
    except BaseException:
        # the last of them was not given its name
        for target, old in done[:-1]:
            if old is None:
                target.unlink(missing_ok=True)
            else:
                os.replace(old, target)
        for part, _ in parts:
            part.unlink(missing_ok=True)
        raise
    finally:
        for _, old in done:
            if old is not None:
                old.unlink(missing_ok=True)
    for folder in {target.parent for _, target in parts}:
        _sync_folder(folder)


def _sync_folder(folder: Path) -> None:
    """Names are on the disk too, where the system has such a thing."""
    if sys.platform == "win32":
        return
    with contextlib.suppress(OSError):
        handle = os.open(folder, os.O_RDONLY)
        try:
            os.fsync(handle)
        finally:
            os.close(handle)


@contextlib.contextmanager
def _only_writer(folder: Path) -> Iterator[None]:
    """Hold a folder's lock, which the system takes back from a process that dies; then sweep what such a one left.

    Raises
    ------
    OSError
        If another process holds it for too long.
    """
    with _locked(folder) as is_alone:
        if is_alone:
            for path in folder.iterdir():
                if _LEFT_OVER.fullmatch(path.name) and not path.is_symlink():
                    with contextlib.suppress(OSError):
                        shutil.rmtree(path) if path.is_dir() else path.unlink()
        yield


if sys.platform == "win32":

    @contextlib.contextmanager
    def _locked(folder: Path) -> Iterator[bool]:
        import msvcrt

        # Windows locks no folders
        file = folder / ".kitopt-lock"
        handle = os.open(file, os.O_RDWR | os.O_CREAT)
        try:
            _retried(lambda: msvcrt.locking(handle, msvcrt.LK_NBLCK, 1))
            yield True
        finally:
            os.close(handle)
            with contextlib.suppress(OSError):
                file.unlink()

else:

    @contextlib.contextmanager
    def _locked(folder: Path) -> Iterator[bool]:
        import errno
        import fcntl

        handle = os.open(folder, os.O_RDONLY)
        try:
            is_alone = True
            try:
                _retried(lambda: fcntl.flock(handle, fcntl.LOCK_EX | fcntl.LOCK_NB))
            except OSError as error:
                # a file system without locks: written without one
                if error.errno not in (errno.ENOLCK, errno.EOPNOTSUPP, errno.ENOSYS, errno.EINVAL):
                    raise
                is_alone = False
            yield is_alone
        finally:
            os.close(handle)


def _retried(lock: Callable[[], None]) -> None:
    """Take a lock that another may hold for a moment."""
    until_s = time.monotonic() + _WAIT_S
    while True:
        try:
            return lock()
        except (BlockingIOError, PermissionError):
            if time.monotonic() > until_s:
                raise TimeoutError(110, "another process is writing into this folder") from None
            time.sleep(0.02)
