"""A region: answer what a study asks. The call, and a result that renders itself."""

from __future__ import annotations

import math
import os
from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitopt.budget import Budget

if TYPE_CHECKING:
    from kitopt.study.found import Region
    from kitopt.study.processes import Workers
    from kitopt.study.terms import Study


@dataclass(frozen=True, eq=False)
class Studied:
    """What came of `answer_study`.

    Attributes
    ----------
    answer : kitopt.study.found.Region
        Everything that is known, as values.
    """

    answer: Region

    @property
    def status(self) -> str:
        """Whether everything that was asked is known: "found" or "time-limit"."""
        return self.answer.status

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.study.text import region_document

        return region_document(self.answer)

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.study.text import region_text

        return region_text(self.answer)

    def to_page(self) -> str:
        """A page with a map for each day: one HTML file that needs nothing else."""
        from kitopt.study.page import region_page

        return region_page(self.answer)


def answer_study(
    asked: Study,
    rows: Path | str | None = None,
    *,
    processes: int | None = None,
    cluster: str | None = None,
    seconds: float = math.inf,
    clock: Budget | None = None,
) -> Studied:
    """Answer every plan of a study, and what is asked on top of them.

    Parameters
    ----------
    rows : Path, optional
        A Parquet file: what is there under the same fingerprint is not asked again, and all is kept there.
    processes : int, optional
        Of this machine; as many as there are cores when left out. With one, this very process answers.
    cluster : str, optional
        The address of a scheduler that runs, such as "tcp://10.0.0.5:8786", instead.
    seconds : float
        Stop then, with what is finished. [s]
    clock : Budget, optional
        The same as a moment, with somebody who hears how the work goes.

    Raises
    ------
    BadInput
        If rows cannot be read or kept, or there is no such scheduler or one of another version.
    """
    from kitopt.study.found import Asking

    path = None if rows is None else Path(rows)
    if path is not None:
        from kitopt.files.writing import check_target
        from kitopt.study.rows import check_can_write

        check_can_write()
        check_target(path, may_replace=True)
    clock = Budget.of(seconds) if clock is None else clock
    workers = _workers(processes, cluster)
    return Studied(Asking(asked, workers, path, clock).region())


def _workers(processes: int | None, cluster: str | None) -> Workers:
    if cluster is not None:
        from kitopt.study.cluster import Cluster

        return Cluster(cluster)
    from kitopt.study.processes import Here, Processes

    n = processes or len(os.sched_getaffinity(0) if hasattr(os, "sched_getaffinity") else range(os.cpu_count() or 1))
    return Here() if n == 1 else Processes(n)
