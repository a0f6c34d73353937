"""``kitopt review``."""

from __future__ import annotations

from pathlib import Path

from kitopt.cli.answering import warn
from kitopt.cli.field import told
from kitopt.cli.inputs import Gather, read_both
from kitopt.cli.request import Answer


def run_review(log: Path, file: Path, folder: Path | None, *, kit: str | None, is_json: bool = False) -> Answer:
    """Hold a logged outing against its plan.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    operation, inventory = read_both(Gather(), file, folder)
    warn(operation.warnings, inventory.warnings)

    from kitopt.interface.in_hand import review

    return told(lambda: review(log, operation, inventory, kit=kit), is_json=is_json)
