"""``kitopt why``."""

from __future__ import annotations

import sys
from collections.abc import Sequence
from pathlib import Path

from kitopt.cli.inputs import Gather, catalogue_beside, read_both
from kitopt.cli.options import Options, check_options
from kitopt.cli.progress import Progress
from kitopt.cli.request import EXIT_CODES, Answer
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.inventory.items import Inventory


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
    if item_id is not None:
        _check_owned(item_id, inventory)
    if file is None:
        say(f"No operation named: this is the invented demo, {Path(operation.file).name}.")

    from kitopt.choice import pack, with_fresh
    from kitopt.explain import binding, edges, why, within, without_each
    from kitopt.inventory.items import Extra, Load
    from kitopt.report import why as told
    from kitopt.report.document import as_json, document
    from kitopt.report.text import answer
    from kitopt.sky import fresh_windows, not_made, windows_for

    progress = Progress(sys.stderr, operation.least)
    budget = overrides.budget(progress)
    try:
        sky = not_made(operation) if budget.is_over else windows_for(operation)
        choice = pack(operation, inventory, sky, budget=budget)
        fresh = (lambda: fresh_windows(operation)) if sky.can_refresh else None
        code = EXIT_CODES[choice.status]
        if choice.status != "found":
            # without a proved kit there is nothing to compare with; without any, what would help is the answer
            reasons = why(
                choice,
                sky_of=windows_for,
                catalogue=lambda: catalogue_beside(inventory),
                budget=budget,
            )
            text = as_json(document(choice, reasons)) if is_json else answer(choice, reasons)
            return Answer(text, code)
        if item_id is None:
            found = edges(choice, sky_of=windows_for, budget=budget)
            held = binding(choice)
            if is_json:
                return Answer(as_json(told.kit_value(choice, held, found)), code)
            lines = [*told.binding_section(held), "", *told.edges_section(choice, found)]
            return Answer("\n".join(lines).rstrip() + "\n", code)
        if isinstance(inventory.by_id[item_id], Load | Extra) and any(one.id == item_id for one in choice.packed):
            value = told.item_value(choice, item_id, None)
            return Answer(as_json(value) if is_json else told.given_text(choice, item_id), code)
        for without in without_each(choice, item_id, budget=budget):
            value = told.item_value(choice, item_id, without)
            return Answer(as_json(value) if is_json else told.without_text(choice, without), code)
        if fresh is not None:
            choice = with_fresh(choice, fresh)
        other = within(choice, item_id, fresh=fresh, budget=budget)
        value = told.item_value(choice, item_id, other)
        return Answer(as_json(value) if is_json else told.within_text(choice, other), code)
    finally:
        progress.clear()


def _told_apart(asked: Sequence[str]) -> tuple[str | None, Path | None]:
    """The item and the file among up to two arguments; a file ends in .toml."""
    files = [Path(one) for one in asked if one.lower().endswith(".toml")]
    items = [one for one in asked if not one.lower().endswith(".toml")]
    if len(files) > 1 or len(items) > 1:
        text = f"Found {len(items)} items and {len(files)} operations, need one of each at most. See kitopt why --help."
        raise BadInput([Fault("kitopt why", None, None, text)])
    return (items[0] if items else None), (files[0] if files else None)


def _check_owned(item_id: str, inventory: Inventory) -> None:
    if item_id not in inventory.by_id:
        from kitopt.files.nearest import did_you_mean

        near = did_you_mean(item_id, inventory.by_id)
        raise BadInput(
            [Fault("ITEM", None, None, f'found "{item_id}", need the id of an item in the inventory.{near}')]
        )
