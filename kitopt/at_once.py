"""Parts of one answer that need nothing of each other, worked out at the same time where there is a core for it."""

from __future__ import annotations

import contextlib
import itertools
import os
import pickle
from collections.abc import Callable, Sequence
from functools import partial
from typing import Any, BinaryIO, TypeVar

from kitopt import copies

A = TypeVar("A")

_MOST_COPIES = 3
"""Each takes memory of its own."""
_NUMBER_BYTES = 4


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
    n_copies = min(_MOST_COPIES, copies.n_beside(), len(parts) - 1)
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

    beside: list[copies.Copy] = []
    try:
        beside += (copies.Copy(partial(_tell, partial(work, i))) for i in range(n_copies))
        done = work(n_copies)
        for copy in beside:
            with contextlib.suppress(copies.Nothing):
                done |= pickle.loads(copy.whole())
        return [done[i] if i in done else part() for i, part in enumerate(parts)]
    finally:
        os.close(waiting)
        for copy in beside:
            copy.end()


def _tell(work: Callable[[], Any], pipe: BinaryIO) -> None:
    pipe.write(pickle.dumps(work()))
