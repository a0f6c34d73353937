"""Parts of one answer that need nothing of each other, worked out at the same time where there is a core for it."""

from __future__ import annotations

import contextlib
import ctypes
import itertools
import os
import pickle
import signal
import sys
import threading
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, TypeVar

A = TypeVar("A")

_MOST_AT_WORK = 4
"""Each copy takes memory of its own."""
_NUMBER_BYTES = 4
_WHEN_PARENT_ENDS = 1
"""The number of that option of Linux, from its prctl.h."""


def at_once(parts: Sequence[Callable[[], A]]) -> list[A]:
    """What some parts come to, worked out here and in copies of this process: whoever is free takes the next.

    The first go to the copies, so that what is laid out for them is let go of when they end.

    It is the same whoever works them out, which is done here where this process can't be copied, where there is one
    core, or where nothing comes of a copy: whatever is wrong is then told from here.

    Parameters
    ----------
    parts : sequence of callable
        What takes longest first. None needs what another does, and what they come to can be pickled.
    """
    n_copies = min(_MOST_AT_WORK, _n_cores(), len(parts)) - 1 if _may_copy() else 0
    if n_copies < 1:
        return [part() for part in parts]
    from threadpoolctl import threadpool_limits

    # threads of each copy that wait for a core that another has take twice the time of none
    with threadpool_limits(1, user_api="blas"):
        return _by_copies(parts, n_copies)


def _by_copies(parts: Sequence[Callable[[], A]], n_copies: int) -> list[A]:
    # each that reads a number from the pipe has it alone
    waiting, write = os.pipe()
    os.write(write, b"".join(i.to_bytes(_NUMBER_BYTES, "big") for i in range(n_copies + 1, len(parts))))
    os.close(write)

    def work(first: int) -> dict[int, A]:
        then = (int.from_bytes(one, "big") for one in iter(lambda: os.read(waiting, _NUMBER_BYTES), b""))
        return {i: parts[i]() for i in itertools.chain([first], then)}

    copies: list[_Copy] = []
    try:
        copies += (_Copy(partial(work, i)) for i in range(n_copies))
        done = work(n_copies)
        for copy in copies:
            with contextlib.suppress(_Nothing):
                done |= copy.answer()
        return [done[i] if i in done else part() for i, part in enumerate(parts)]
    finally:
        os.close(waiting)
        for copy in copies:
            copy.end()


def _may_copy() -> bool:
    # only Linux copies processes without a word; what another thread holds would never be let go in the copy
    return sys.platform == "linux" and threading.active_count() == 1


def _n_cores() -> int:
    return len(os.sched_getaffinity(0))


class _Nothing(Exception):
    """The copy came to nothing."""


class _Copy:
    """A copy of this process that works, says nothing, and ends."""

    def __init__(self, work: Callable[[], Any]) -> None:
        for stream in (sys.stdout, sys.stderr):
            # what waits there would be written twice
            stream.flush()
        self._read, write = os.pipe()
        parent = os.getpid()
        self._pid = os.fork()
        if self._pid == 0:
            self._do(work, write, parent)
        os.close(write)

    def _do(self, work: Callable[[], Any], write: int, parent: int) -> None:
        status = 1
        try:
            # whatever ends that leaves nothing behind
            ctypes.CDLL(None).prctl(_WHEN_PARENT_ENDS, signal.SIGKILL, 0, 0, 0)
            if os.getppid() != parent:
                os._exit(status)
            os.close(self._read)
            # whoever is interrupted ends this too
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
            told = pickle.dumps(work())
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
