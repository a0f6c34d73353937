"""``kitopt pack``."""

from __future__ import annotations

import sys
from pathlib import Path

from kitopt.cli.against import check_against_what, trade
from kitopt.cli.inputs import Gather, catalogue_beside, read_both
from kitopt.cli.options import Options, check_options
from kitopt.cli.progress import Progress
from kitopt.cli.request import EXIT_CODES, Answer
from kitopt.cli.streams import say


def run_pack(
    file: Path | None,
    folder: Path | None,
    options: Options,
    *,
    is_json: bool = False,
    is_brief: bool = False,
    with_reasons: bool = True,
    against: str | None = None,
) -> Answer:
    """Choose the best kit for one operation and word the answer.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    gather.get(lambda: check_against_what(against))
    operation, inventory = read_both(gather, file, folder)
    assert overrides is not None
    operation = overrides.of(operation)
    if file is None:
        say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")
    for warning in (*operation.warnings, *inventory.warnings):
        say(f"warning: {warning}")

    # the engine brings NumPy and the solver: not before the files are known to be good
    from kitopt.choice import pack, with_fresh
    from kitopt.explain import Why, why
    from kitopt.sky import fresh_windows, not_made, windows_for

    progress = Progress(sys.stderr, operation.least)
    budget = overrides.budget(progress)
    reasons = Why()
    try:
        sky = not_made(operation) if budget.is_over else windows_for(operation)
        choice = pack(operation, inventory, sky, budget=budget)
        if against is not None:
            return Answer(trade(choice, against, budget, is_json=is_json), EXIT_CODES[choice.status])
        progress.say("judging unseen weather")
        if sky.can_refresh:
            choice = with_fresh(choice, lambda: fresh_windows(operation), budget)
        if with_reasons and not is_brief:
            reasons = why(
                choice,
                sky_of=windows_for,
                catalogue=lambda: catalogue_beside(inventory),
                budget=budget,
            )
    finally:
        progress.clear()

    if is_json:
        from kitopt.report.document import as_json, document

        text = as_json(document(choice, reasons))
    elif is_brief:
        from kitopt.report.text import brief

        text = brief(choice)
    else:
        from kitopt.report.text import answer

        text = answer(choice, reasons)
    return Answer(text, EXIT_CODES[choice.status])
