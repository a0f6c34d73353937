"""What will be asked for, made in a copy of this process while it loads and solves, and taken from the disk."""

from __future__ import annotations

import contextlib
import os
from collections.abc import Callable, Iterable, Iterator
from dataclasses import dataclass
from pathlib import Path
from typing import BinaryIO

from kitopt.copies import Copy, n_beside
from kitopt.files.kept import LARGEST_BYTES, entry, first_done

_MOST_BYTES = LARGEST_BYTES // 2
"""Of all that is made ahead: of more, the first would have to go before anybody asks for it."""


@dataclass(frozen=True, eq=False)
class Ahead:
    """A question that `kept` will be asked, told as to `kept`.

    Attributes
    ----------
    ask : callable
        Asks it, and so has it made and kept.
    n_bytes : int
        Bytes that it will take at most, where they are many.
    """

    question: str
    made_by: tuple[str, ...]
    ask: Callable[[], object]
    n_bytes: int = 0


@contextlib.contextmanager
def made_ahead(questions: Iterable[Ahead]) -> Iterator[bool]:
    """Have the answers to questions made beside what is done within, in their order; say whether any are.

    Whoever asks one of them within waits until it is made. What ends the copy, or can't be kept, is then made and told
    by whoever asks.
    """
    waiting: dict[Path, Ahead] = {}
    room = _MOST_BYTES
    for one in questions if n_beside() > 0 else ():
        path = entry(one.question, one.made_by)
        if path is not None and path not in waiting and one.n_bytes <= room and not path.exists():
            waiting[path] = one
            room -= one.n_bytes
    if not waiting:
        yield False
        return

    def work(pipe: BinaryIO) -> None:
        for path, one in waiting.items():
            one.ask()
            if not path.exists():
                return
            pipe.write(b".")
            pipe.flush()

    copy, process = Copy(work), os.getpid()

    def until_made(path: Path) -> None:
        # what is said to one process, no other hears
        while path in waiting and os.getpid() == process:
            if copy.pipe.read(1):
                del waiting[next(iter(waiting))]
            else:
                waiting.clear()

    try:
        with first_done(until_made):
            yield True
    finally:
        copy.end()
