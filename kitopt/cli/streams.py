"""The one way out to the terminal: every word on either stream is cleaned here, and a broken stream is no crash."""

from __future__ import annotations

import contextlib
import io
import os
import sys
from typing import TextIO

from kitopt.files.plain import printable


def settle() -> None:
    """Put something harmless where a standard stream is closed.

    Otherwise the next file that is opened takes its number, and what a library complains of is written into it.
    """
    for number in range(3):
        try:
            os.fstat(number)
        except OSError:
            # takes the lowest number that is free, which is this one
            os.open(os.devnull, os.O_RDWR)
    if sys.stderr is None:
        # for libraries that write to it without looking; it lives as long as the process
        sys.stderr = open(os.devnull, "w", encoding="utf-8")  # noqa: SIM115


def columns(stream: TextIO | None) -> int:
    """Columns of the page that a stream is read on: its terminal's, what COLUMNS says, or 80."""
    told = os.environ.get("COLUMNS", "")
    if told.isascii() and told.isdigit() and int(told) > 0:
        return int(told)
    try:
        return 80 if stream is None else os.get_terminal_size(stream.fileno()).columns or 80
    except (OSError, ValueError):
        return 80


def say(*lines: str) -> None:
    """Tell the user something on standard error; where nobody can be told, the answer is what counts."""
    write(sys.stderr, "".join(printable(line) + "\n" for line in lines))


def write_answer(text: str) -> str | None:
    """Write the answer on standard output, all of it.

    Returns
    -------
    str or None
        Why it cannot be written. A reader that has gone away is no failure.
    """
    return write(sys.stdout, "\n".join(printable(line) for line in text.split("\n")))


def write(stream: TextIO | None, text: str) -> str | None:
    """Write text that is clean; after a failure the stream leads nowhere. Returns why it failed."""
    if stream is None or not text:
        return None
    if isinstance(stream, io.TextIOWrapper):
        stream.reconfigure(errors="replace")
    try:
        stream.write(text)
        stream.flush()
    except (OSError, ValueError) as error:
        # or Python complains when it flushes at exit
        with contextlib.suppress(OSError, ValueError):
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, stream.fileno())
            os.close(nowhere)
        if not isinstance(error, BrokenPipeError):
            return getattr(error, "strerror", None) or str(error)
    return None
