"""Where batches are answered: here, in processes of this machine, or wherever else something is that can do the same.

What a study asks is sent to a process once, a batch is a few numbers, and what comes back are rows.
"""

from __future__ import annotations

import multiprocessing
import os
import signal
from collections.abc import Iterator, Sequence
from concurrent.futures import FIRST_COMPLETED, Future, ProcessPoolExecutor, wait
from concurrent.futures.process import BrokenProcessPool
from dataclasses import dataclass
from typing import Protocol

from kitopt.budget import Budget
from kitopt.study.answer import answers, unanswered
from kitopt.study.row import Row
from kitopt.study.terms import Question, Study

Batch = tuple[tuple[Question, str], ...]
"""Plans that share their weather, each with its fingerprint."""

Done = tuple[Batch, list[Row]]

MOST_DEATHS = 3
"""So often a batch may be given to another process after one that had it has died."""


class Workers(Protocol):
    """Whoever answers batches."""

    def run(self, study: Study, batches: Sequence[Batch], clock: Budget) -> Iterator[Done]:
        """Answer batches in any order; none is begun once the time is up."""

    def close(self) -> None:
        """Let go of whatever was begun."""


def died(study: Study, batch: Batch, times: int) -> list[Row]:
    """Rows of a batch that no process has survived."""
    text = f"the process that answered it was ended from outside {times} times: is there memory enough?"
    return unanswered(study, batch, text)


@dataclass(frozen=True)
class Here:
    """This very process."""

    def run(self, study: Study, batches: Sequence[Batch], clock: Budget) -> Iterator[Done]:
        """Answer one after another."""
        for batch in batches:
            if clock.is_over:
                return
            yield batch, answers(study, batch, clock)

    def close(self) -> None:
        """Nothing was begun."""


class Processes:
    """Some processes of this machine, begun when they are needed, and all told one study."""

    def __init__(self, n: int) -> None:
        self.n = n
        self._pool: ProcessPoolExecutor | None = None

    def close(self) -> None:
        """Let them end."""
        if self._pool is not None:
            self._pool.shutdown(cancel_futures=True)
            self._pool = None

    def run(self, study: Study, batches: Sequence[Batch], clock: Budget) -> Iterator[Done]:
        """Answer as many at a time as there are processes; one that dies costs a batch's time and nothing else."""
        left = dict.fromkeys(batches, 0)
        while left and not clock.is_over:
            try:
                for batch, rows in self._until_broken(study, list(left), clock):
                    del left[batch]
                    yield batch, rows
                return
            except _Broken as broken:
                for batch in broken.batches:
                    left[batch] += 1
                    if left[batch] >= MOST_DEATHS:
                        del left[batch]
                        yield batch, died(study, batch, MOST_DEATHS)

    def _until_broken(self, study: Study, batches: Sequence[Batch], clock: Budget) -> Iterator[Done]:
        waiting = iter(batches)
        if self._pool is None:
            # a fresh interpreter: what threads of this one hold is never copied
            self._pool = ProcessPoolExecutor(
                self.n, multiprocessing.get_context("spawn"), initializer=_begin, initargs=(study, clock.ends_s)
            )
        running: dict[Future[list[Row]], Batch] = {}
        try:
            while True:
                # two for each, so that none waits for this process to wake
                while len(running) < 2 * self.n and not clock.is_over and (batch := next(waiting, None)) is not None:
                    running[self._pool.submit(_answer, batch)] = batch
                if not running:
                    return
                done, _ = wait(running, timeout=0.5, return_when=FIRST_COMPLETED)
                for future in done:
                    rows = future.result()
                    yield running.pop(future), rows
        except BrokenProcessPool:
            self.close()
            raise _Broken(list(running.values())) from None
        except BaseException:
            # an interrupt, or nobody listens any more: what they are at is lost, and is asked for again
            for child in multiprocessing.active_children():
                child.terminate()
            self.close()
            raise


class _Broken(Exception):
    """A process has died while it and others had these batches."""

    def __init__(self, batches: list[Batch]) -> None:
        self.batches = batches
        super().__init__(f"{len(batches)} batches")


_STUDY: list[tuple[Study, float]] = []


def _begin(study: Study, ends_s: float) -> None:
    """What a process is told once."""
    # whoever began this process hears the interrupt and ends it
    signal.signal(signal.SIGINT, signal.SIG_IGN)
    # the processes share the cores as they are
    os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
    _STUDY[:] = [(study, ends_s)]


def _answer(batch: Batch) -> list[Row]:
    ((study, ends_s),) = _STUDY
    return answers(study, batch, Budget(ends_s))
