"""A study from its questions to its rows: what is there is not asked again, and what is finished is kept."""

from __future__ import annotations

import time
from collections.abc import Iterable, Sequence
from dataclasses import dataclass
from itertools import groupby
from pathlib import Path

from kitopt.budget import Budget
from kitopt.study.processes import Batch, Workers
from kitopt.study.program import program_text
from kitopt.study.row import Row
from kitopt.study.rows import read_rows, write_rows
from kitopt.study.terms import Question, Study

KEEP_EVERY_S = 10.0
"""Finished rows are on the disk at the latest after this. [s]"""


@dataclass(frozen=True, eq=False)
class Answered:
    """Rows of the questions that were answered.

    Attributes
    ----------
    rows : dict of Question to Row
        Without those for which there was not the time.
    n_known : int
        How many of them were there already.
    """

    rows: dict[Question, Row]
    n_known: int
    n_asked: int

    @property
    def is_whole(self) -> bool:
        """Whether every question is answered."""
        return len(self.rows) == self.n_asked


class Ledger:
    """The rows of one file, some of them new.

    Parameters
    ----------
    path : Path or None
        Where they are kept; None for nowhere.

    Raises
    ------
    BadInput
        If the file cannot be read.
    """

    def __init__(self, path: Path | None) -> None:
        self._path = path
        self._there = {} if path is None else read_rows(path)
        self._wanted: dict[str, Row] = {}
        self._next_s = time.monotonic() + KEEP_EVERY_S
        self._is_new = False

    def known(self, mark: str) -> Row | None:
        """The row of a fingerprint, if it is there."""
        found = self._wanted.get(mark) or self._there.get(mark)
        # what could not be answered is asked again
        if found is not None and found.status != "fault":
            self._wanted[mark] = found
            return found
        return None

    def add(self, rows: Iterable[Row]) -> None:
        """Take rows in; now and then all are written."""
        for row in rows:
            self._wanted[row.fingerprint] = row
            self._is_new = True
        if time.monotonic() >= self._next_s:
            self.keep(is_last=False)

    def keep(self, *, is_last: bool = True) -> None:
        """Write the rows, in the end those alone that were asked for.

        Raises
        ------
        BadInput
            If they cannot be written.
        """
        rows = self._wanted if is_last else {**self._there, **self._wanted}
        if self._path is not None and (self._is_new or rows.keys() != self._there.keys()):
            write_rows(self._path, rows.values())
            self._there = dict(rows)
            self._is_new = False
        self._next_s = time.monotonic() + KEEP_EVERY_S


def answer_all(
    study: Study, questions: Sequence[Question], workers: Workers, ledger: Ledger, clock: Budget
) -> Answered:
    """Answer questions, those that are not answered yet.

    Whatever ends the work, a fault, an interrupt or the time, the rows that are finished are kept.

    Raises
    ------
    BadInput
        If rows cannot be kept, or there are no workers.
    """
    program = program_text()
    marks = {question: study.fingerprint(question, program) for question in questions}
    found = {question: row for question, mark in marks.items() if (row := ledger.known(mark)) is not None}
    n_known = len(found)
    by_mark = {mark: question for question, mark in marks.items() if question not in found}
    batches = _batches((question, mark) for mark, question in by_mark.items())
    began_s, n_new, n_to_do = time.monotonic(), 0, len(by_mark)
    try:
        if batches:
            clock.say(f"{n_to_do:,} plans to go, {n_known:,} known")
            for _, rows in workers.run(study, batches, clock):
                ledger.add(rows)
                for row in rows:
                    found[by_mark[row.fingerprint]] = row
                n_new += len(rows)
                clock.say(_progress(n_new, n_to_do, time.monotonic() - began_s))
    except BaseException:
        ledger.keep(is_last=False)
        raise
    return Answered(found, n_known, len(questions))


def _batches(asked: Iterable[tuple[Question, str]]) -> list[Batch]:
    """Plans that share their weather together, in an order in which neighbours share its luck."""
    ordered = sorted(asked, key=lambda one: (one[0].when, one[0].pattern, one[0].place, one[0].inventory, one[0].kit))
    groups = groupby(ordered, key=lambda one: (one[0].when, one[0].pattern, one[0].place))
    return [tuple(some) for _, some in groups]


def _progress(n: int, of: int, took_s: float) -> str:
    """How far it is; how long it still takes only once that can be told."""
    text = f"{n:,} of {of:,} plans"
    if n < min(of, 8) or took_s < 3.0:
        return text
    left_s = took_s / n * (of - n)
    return f"{text}, about {left_s / 60:.0f} min to go" if left_s >= 90 else f"{text}, about {left_s:.0f} s to go"
