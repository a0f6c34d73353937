"""Copies of this process, which work beside it where there is a core for them."""

from __future__ import annotations

import ctypes
import os
import signal
import sys
import threading
from collections.abc import Callable
from typing import BinaryIO

_WHEN_PARENT_ENDS = 1
"""The number of that option of Linux, from its prctl.h."""


def n_beside() -> int:
    """How many copies have a core of their own; none where this process can't be copied."""
    # only Linux copies processes without a word; what another thread holds would never be let go in the copy
    if sys.platform != "linux" or threading.active_count() > 1:
        return 0
    return len(os.sched_getaffinity(0)) - 1


class Nothing(Exception):
    """The copy came to nothing."""


class Copy:
    """A copy of this process that works, says nothing but through a pipe, and ends.

    Parameters
    ----------
    work : callable
        Is given the pipe to write to.

    Attributes
    ----------
    pipe : BinaryIO
        What it says is read from here; unbuffered.
    """

    def __init__(self, work: Callable[[BinaryIO], object]) -> None:
        for stream in (sys.stdout, sys.stderr):
            # what waits there would be written twice
            stream.flush()
        read, write = os.pipe()
        parent = os.getpid()
        self._pid = os.fork()
        if self._pid == 0:
            os.close(read)
            self._do(work, write, parent)
        os.close(write)
        self.pipe: BinaryIO = os.fdopen(read, "rb", buffering=0)

    @staticmethod
    def _do(work: Callable[[BinaryIO], object], write: int, parent: int) -> None:
        status = 1
        try:
            # whatever ends that leaves nothing behind
            ctypes.CDLL(None).prctl(_WHEN_PARENT_ENDS, signal.SIGKILL, 0, 0, 0)
            if os.getppid() != parent:
                os._exit(status)
            # whoever is interrupted ends this too
            signal.signal(signal.SIGINT, signal.SIG_IGN)
            nowhere = os.open(os.devnull, os.O_WRONLY)
            os.dup2(nowhere, 1)
            os.dup2(nowhere, 2)
            with os.fdopen(write, "wb") as pipe:
                work(pipe)
            status = 0
        finally:
            # nothing that this process would do at its end is done twice
            os._exit(status)

    def whole(self) -> bytes:
        """All that it says until it ends.

        Raises
        ------
        Nothing
            Where anything else than its own end ended it.
        """
        told = self.pipe.read()
        if self._ended() != 0:
            raise Nothing
        return told

    def end(self) -> None:
        """End it, whatever it is at."""
        self.pipe.close()
        if self._pid:
            os.kill(self._pid, signal.SIGKILL)
            self._ended()

    def _ended(self) -> int:
        _, status = os.waitpid(self._pid, 0)
        self._pid = 0
        return os.waitstatus_to_exitcode(status)
