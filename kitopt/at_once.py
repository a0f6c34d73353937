"""Parts of one answer that need nothing of each other, worked out at the same time where there is a core for it."""

from __future__ import annotations

import contextlib
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable
from typing import Any, TypeVar

A = TypeVar("A")
B = TypeVar("B")


def at_once(here: Callable[[], A], apart: Callable[[], B]) -> tuple[A, B]:
    """What two parts come to, the second worked out in a copy of this process.

    It is the same whether they are worked out at once or one after the other, which is done where this process can't
    be copied, where there is one core, or where nothing comes of the copy: whatever is wrong is then told from here.

    Parameters
    ----------
    here, apart : callable
        Neither needs what the other does, or leaves anything behind. What the second comes to can be pickled.
    """
    copy = _Copy(apart) if _may_copy() else None
    try:
        mine = here()
        if copy is not None:
            with contextlib.suppress(_Nothing):
                return mine, copy.answer()
        return mine, apart()
    finally:
        if copy is not None:
            copy.end()


def _may_copy() -> bool:
    # only Linux copies processes without a word; what another thread holds would never be let go in the copy
    return sys.platform == "linux" and len(os.sched_getaffinity(0)) > 1 and threading.active_count() == 1


class _Nothing(Exception):
    """The copy came to nothing."""


class _Copy:
    """A copy of this process that works out one part, says nothing, and ends."""

    def __init__(self, part: Callable[[], Any]) -> None:
        for stream in (sys.stdout, sys.stderr):
            # what waits there would be written twice
            stream.flush()
        self._read, write = os.pipe()
        self._pid = os.fork()
        if self._pid == 0:
            self._work(part, write)
        os.close(write)

    def _work(self, part: Callable[[], Any], write: int) -> None:
        status = 1
        try:
            os.close(self._read)
            # whoever is interrupted ends this too
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
            told = pickle.dumps(part())
            with os.fdopen(write, "wb") as pipe:
                pipe.write(told)
            status = 0
        finally:
            # nothing that this process would do at its end is done twice
            os._exit(status)

    def answer(self) -> Any:
        """What it came to.

        Raises
        ------
        _Nothing
        """
        with os.fdopen(self._read, "rb") as pipe:
            self._read = -1
            told = pipe.read()
        if self._ended() != 0:
            raise _Nothing
        return pickle.loads(told)

    def end(self) -> None:
        """End it, whatever it is at."""
        if self._read >= 0:
            os.close(self._read)
        if self._pid:
            os.kill(self._pid, signal.SIGKILL)
            self._ended()

    def _ended(self) -> int:
        _, status = os.waitpid(self._pid, 0)
        self._pid = 0
        return os.waitstatus_to_exitcode(status)
