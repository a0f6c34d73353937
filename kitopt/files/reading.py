"""The one way in: what lies at a path, and the bytes of a regular file of bearable size."""

from __future__ import annotations

import os
import stat
from pathlib import Path
from typing import Literal

from kitopt.errors import BadInput, Fault
from kitopt.files.faults import FaultList

LARGEST_BYTES = 4_000_000
"""Some 20,000 rows. More is not an inventory but a mistake, and is refused before it costs time."""

Lies = Literal["file", "folder", "nothing", "other"]
"""What may lie at a path; a device or a pipe is something other."""

# opening a pipe that nobody writes into would wait for ever; Windows has no such flag and no such pipe
_AT_ONCE = getattr(os, "O_NONBLOCK", 0) | getattr(os, "O_BINARY", 0) | getattr(os, "O_CLOEXEC", 0)


def reason_of(error: OSError | ValueError) -> str:
    """Why the system refused, in its own words."""
    return error.strerror if isinstance(error, OSError) and error.strerror else str(error)


def what_lies_at(path: Path) -> Lies:
    """What lies at a path, links followed.

    Raises
    ------
    BadInput
        If the system does not say: the folder is closed to the user, the name is longer than any may be.
    """
    try:
        mode = path.stat().st_mode
    except (FileNotFoundError, NotADirectoryError):
        return "nothing"
    except (OSError, ValueError) as error:
        text = f"cannot be read: {reason_of(error)}."
        raise BadInput([Fault(str(path), None, None, text)]) from None
    return "file" if stat.S_ISREG(mode) else "folder" if stat.S_ISDIR(mode) else "other"


def read_bytes(path: Path, faults: FaultList, largest: int = LARGEST_BYTES) -> bytes | None:
    """Return the bytes of a regular file of bearable size, or None after noting a fault.

    A file that says that it is larger is not opened; one that grows, or says nothing, is read no further.
    """
    try:
        lies = what_lies_at(path)
        if lies != "file":
            faults.add(None, None, "there is no such file." if lies == "nothing" else "not a file; need a file here.")
            return None
        size = path.stat().st_size
        content = b"" if size > largest else _read_at_most(path, largest + 1)
    except BadInput as error:
        faults.add(None, None, error.faults[0].text)
        return None
    except (OSError, ValueError) as error:
        faults.add(None, None, f"cannot be read: {reason_of(error)}.")
        return None
    if max(size, len(content)) > largest:
        found = f"{size / 1e6:,.0f} MB" if size > largest + 1e6 else f"more than {largest / 1e6:g} MB"
        faults.add(
            None, None, f"found {found}, need a smaller file, of {largest / 1e6:g} MB at most. Is it the right file?"
        )
        return None
    return content


def _read_at_most(path: Path, n: int) -> bytes:
    handle = os.open(path, os.O_RDONLY | _AT_ONCE)
    with os.fdopen(handle, "rb") as stream:
        # it may have been exchanged since it was looked at
        if not stat.S_ISREG(os.fstat(handle).st_mode):
            raise ValueError("it is no longer a file")
        return stream.read(n)
