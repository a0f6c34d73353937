"""``kitopt study``."""

from __future__ import annotations

from pathlib import Path
from typing import TYPE_CHECKING

from kitopt.budget import Budget
from kitopt.cli.answering import answered, warn
from kitopt.cli.inputs import Gather
from kitopt.cli.options import Options, check_options, read_option
from kitopt.cli.paper import check_written
from kitopt.cli.request import Answer
from kitopt.errors import Fault
from kitopt.files.writing import write_file

if TYPE_CHECKING:
    from kitopt.interface.region import Studied


def run_study(
    file: Path,
    folder: Path | None,
    options: Options,
    *,
    rows: Path | None = None,
    page: Path | None = None,
    processes: str | None = None,
    cluster: str | None = None,
    is_json: bool = False,
) -> Answer:
    """Answer a study, and keep its rows.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.interface.region import answer_study
    from kitopt.study.read import read_study
    from kitopt.study.rows import check_can_write

    gather = Gather()
    gather.get(check_can_write)
    overrides = gather.get(lambda: check_options(options))
    n = None if processes is None else gather.get(lambda: _number(processes))
    # "." has no name of its own
    where = file.parent / f"{file.stem or 'rows'}.parquet" if rows is None else rows
    gather.get(lambda: check_written("--rows", where, ".parquet"))
    if page is not None:
        gather.get(lambda: check_written("--page", page, ".html"))
    if processes is not None and cluster is not None:
        gather.faults.append(Fault("--cluster", None, None, "found beside --processes; need one of them."))
    asked = gather.get(lambda: read_study(file, () if folder is None else (folder,)))
    gather.stop_if_any()
    assert overrides is not None
    assert asked is not None
    from kitopt.report.words import tell_in

    tell_in(asked.inventories[0].units)
    warn(overrides.warnings, asked.warnings)

    def call(clock: Budget) -> Studied:
        found = answer_study(asked, where, processes=n, cluster=cluster, clock=clock)
        if page is not None:
            write_file(page, found.to_page(), may_replace=True)
        return found

    return answered(call, overrides, "mass", is_json=is_json)


def _number(text: str) -> int:
    from kitopt.inventory.fields import Number

    field = Number("a number of processes", "2", least=1, most=1024, whole="exact")
    return int(read_option("--processes", field, text))
