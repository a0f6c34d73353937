"""``kitopt pack``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING

from kitopt.budget import Budget
from kitopt.cli.against import check_against_what, trade
from kitopt.cli.answering import answered, warn
from kitopt.cli.certify import NOT_CERTIFIED, Certifying
from kitopt.cli.inputs import Gather, read_both
from kitopt.cli.options import Options, check_options
from kitopt.cli.paper import NO_PAPER, Paper
from kitopt.cli.request import Answer
from kitopt.cli.streams import say
from kitopt.errors import Fault

if TYPE_CHECKING:
    from kitopt.interface.result import Result


def run_pack(
    file: Path | None,
    folder: Path | None,
    options: Options,
    *,
    is_json: bool = False,
    is_brief: bool = False,
    is_plain: bool = False,
    with_reasons: bool = True,
    against: str | None = None,
    kit: str | None = None,
    paper: Paper = NO_PAPER,
    certifying: Certifying = NOT_CERTIFIED,
) -> Answer:
    """Choose the best kit for one operation, or judge the one that is named, and word the answer.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    gather.get(lambda: check_against_what(against))
    paper = replace(paper, is_asking=with_reasons and not is_brief)
    gather.get(paper.check)
    gather.get(certifying.check)
    if certifying.path is not None and (against is not None or kit is not None):
        text = "found with --kit or --against: it is of the best kit for one question."
        gather.faults.append(Fault("--certificate", None, None, text))
    if against is not None and paper.is_wanted:
        text = "found with --page, --sheet or --out, which hold one plan: leave one out."
        gather.faults.append(Fault("--against", None, None, text))
    if kit is not None and against is not None:
        gather.faults.append(Fault("--against", None, None, "found with --kit; a kit that is named is not weighed."))
    operation, inventory = read_both(gather, file, folder)
    assert overrides is not None
    operation = overrides.of(operation)
    if file is None:
        say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")
    warn(operation.warnings, inventory.warnings)

    from kitopt.interface.calls import pack

    def call(clock: Budget) -> Result:
        found = pack(
            operation,
            inventory,
            kit=kit,
            with_=options.with_,
            without=options.without,
            reasons=with_reasons and not is_brief and against is None,
            fresh=against is None,
            clock=clock,
        )
        certifying.write(found, clock)
        return found

    least = operation.least
    if against is None:
        return answered(call, overrides, least, is_json=is_json, is_brief=is_brief, is_plain=is_plain, paper=paper)
    return answered(
        lambda clock: trade(call(clock), against, clock), overrides, least, is_json=is_json, is_plain=is_plain
    )
