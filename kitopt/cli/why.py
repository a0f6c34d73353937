"""``kitopt why``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path
from typing import TYPE_CHECKING

from kitopt.budget import Budget
from kitopt.cli.answering import answered
from kitopt.cli.inputs import Gather, read_both
from kitopt.cli.options import Options, check_options
from kitopt.cli.request import Answer
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault

if TYPE_CHECKING:
    from kitopt.interface.argument import Argument
    from kitopt.interface.result import Result


def run_why(asked: Sequence[str], folder: Path | None, options: Options, *, is_json: bool = False) -> Answer:
    """Argue about one item of an operation's kit, or about the kit as a whole.

    Parameters
    ----------
    asked : sequence of str
        An item's id, an operation's file, or both.

    Raises
    ------
    BadInput
        With every fault of the options and files; for an item that is not owned.
    """
    item_id, file = _told_apart(asked)
    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    operation, inventory = read_both(gather, file, folder)
    assert overrides is not None
    operation = overrides.of(operation)
    if file is None:
        say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")

    from kitopt.interface.calls import check_item, pack, why

    if item_id is not None:
        check_item(item_id, inventory)

    def call(clock: Budget) -> Argument | Result:
        result = pack(
            operation,
            inventory,
            with_=options.with_,
            without=options.without,
            reasons="no-kit",
            fresh=False,
            clock=clock,
        )
        # without a proved kit there is nothing to compare with; without any, what would help is the answer
        return why(result, item_id, clock=clock) if result.status == "found" else result

    return answered(call, overrides, operation.least, is_json=is_json)


def _told_apart(asked: Sequence[str]) -> tuple[str | None, Path | None]:
    """The item and the file among up to two arguments; a file ends in .toml."""
    files = [Path(one) for one in asked if one.lower().endswith(".toml")]
    items = [one for one in asked if not one.lower().endswith(".toml")]
    if len(files) > 1 or len(items) > 1:
        text = f"Found {len(items)} items and {len(files)} operations, need one of each at most. See kitopt why --help."
        raise BadInput([Fault("kitopt why", None, None, text)])
    return (items[0] if items else None), (files[0] if files else None)
