"""``kitopt grab-kit``, ``kitopt buy`` and ``kitopt share``."""

from __future__ import annotations

import sys
from collections.abc import Iterable
from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitopt.cli.inputs import Gather, catalogue_beside, read_with_inventory
from kitopt.cli.options import Options, Overrides, check_options, read_option
from kitopt.cli.progress import Progress
from kitopt.cli.request import EXIT_CODES, Answer
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation

if TYPE_CHECKING:
    from kitopt.operation.plans import Programme, Standing
    from kitopt.sky.windows import Sky


def run_grab_kit(
    file: Path, folder: Path | None, options: Options, *, mass: str | None = None, is_json: bool = False
) -> Answer:
    """Choose the smallest kit that passes every event, or the one that lasts longest within a mass.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.operation.read_plans import read_standing

    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    most_g = None if mass is None else gather.get(lambda: _mass_g(mass))
    standing, inventory = read_with_inventory(gather, file, folder, read_standing)
    assert overrides is not None
    standing = _overridden(standing, overrides, options.least)
    _check(inventory, [event.dates[0] for event in standing.events])
    _warn((*overrides.warnings, *standing.warnings, *inventory.warnings))

    from kitopt.ask.longest import longest
    from kitopt.choice.standing import grab_kit
    from kitopt.sky import check_all_fit

    check_all_fit((date for event in standing.events for date in event.dates), standing.file)

    progress = Progress(sys.stderr, standing.least)
    budget = overrides.budget(progress)
    hours = None
    try:
        if most_g is None:
            kit = grab_kit(standing, inventory, _sky_of, budget=budget)
        else:
            hours, kit = longest(standing, inventory, _sky_of, float(most_g), budget=budget)
    finally:
        progress.clear()

    from kitopt.report.document import as_json
    from kitopt.report.several.grab import grab_document, grab_text

    text = as_json(grab_document(kit, hours)) if is_json else grab_text(kit, hours)
    return Answer(text, EXIT_CODES[kit.status])


def run_buy(
    file: Path,
    folder: Path | None,
    catalogue_folder: Path | None,
    options: Options,
    *,
    budget: str | None = None,
    with_singles: bool = True,
    is_json: bool = False,
) -> Answer:
    """Find the purchases that serve a season.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.inventory import read_inventory
    from kitopt.operation.read_plans import read_programme

    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    cents = None if budget is None else gather.get(lambda: _cents(budget))
    where = catalogue_folder
    offered = None if where is None else gather.get(lambda: read_inventory(where))
    programme, inventory = read_with_inventory(gather, file, folder, read_programme)
    assert overrides is not None
    catalogue = offered if offered is not None else catalogue_beside(inventory)
    if catalogue is None:
        text = f"no catalogue: name a folder, or put one beside the inventory ({inventory.folder}/catalogue)."
        raise BadInput([Fault("--catalogue", None, None, text)])
    programme = _changed(programme, overrides, inventory)
    _warn((*overrides.warnings, *programme.warnings, *inventory.warnings, *catalogue.warnings))

    from kitopt.choice.season import buy
    from kitopt.sky import check_all_fit

    check_all_fit((outing.operation for outing in programme.outings), programme.file)

    progress = Progress(sys.stderr, "price" if cents is None else "items")
    clock = overrides.budget(progress)
    try:
        found = buy(
            programme,
            inventory,
            catalogue,
            _sky_of,
            budget_cents=cents,
            budget=clock,
            with_singles=with_singles,
        )
    finally:
        progress.clear()

    from kitopt.report.document import as_json
    from kitopt.report.several.buy import buy_document, buy_text

    text = as_json(buy_document(found)) if is_json else buy_text(found)
    return Answer(text, EXIT_CODES[found.status])


def run_share(file: Path, folder: Path | None, options: Options, *, is_json: bool = False) -> Answer:
    """Share one inventory out over several operations.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.operation.read_plans import read_programme

    gather = Gather()
    overrides = gather.get(lambda: check_options(options))
    programme, inventory = read_with_inventory(gather, file, folder, read_programme)
    assert overrides is not None
    programme = _changed(programme, overrides, inventory)
    _warn((*overrides.warnings, *programme.warnings, *inventory.warnings))

    from kitopt.choice.sharing import share
    from kitopt.sky import check_all_fit

    check_all_fit((outing.operation for outing in programme.outings), programme.file)

    progress = Progress(sys.stderr, "mass")
    budget = overrides.budget(progress)
    try:
        found = share(programme, inventory, _sky_of, budget=budget)
    finally:
        progress.clear()

    from kitopt.report.document import as_json
    from kitopt.report.several.share import share_document, share_text

    text = as_json(share_document(found)) if is_json else share_text(found)
    return Answer(text, EXIT_CODES[found.status])


def _check(inventory: Inventory, operations: Iterable[Operation]) -> None:
    """Every load of every operation is owned."""
    from kitopt.operation import check_against

    gather = Gather()
    for operation in {one.file: one for one in operations}.values():
        gather.get(lambda one=operation: check_against(one, inventory))  # type: ignore[misc]
    gather.stop_if_any()


def _check_together(programme: Programme, inventory: Inventory) -> None:
    """Loads of operations at the same time are owned often enough."""
    from kitopt.operation.plans import at_once

    faults = []
    for together in at_once(programme.outings):
        needs: dict[str, int] = {}
        for o in together:
            for use in programme.outings[o].operation.loads:
                needs[use.id] = needs.get(use.id, 0) + use.count
        names = ", ".join(programme.outings[o].operation.name for o in together)
        for load_id, n in sorted(needs.items()):
            owned = inventory.by_id[load_id].count
            if n > owned:
                text = (
                    f"found {n} × {load_id} at the same time ({names}), but {owned} owned; need other loads or dates."
                )
                faults.append(Fault(programme.file, None, "operations", text))
    if faults:
        raise BadInput(faults)


def _overridden(standing: Standing, overrides: Overrides, least: str | None) -> Standing:
    if least is not None and overrides.least == "price":
        raise BadInput([Fault("--least", None, None, 'found "price", need mass or items: a grab-kit is carried.')])
    events = tuple(replace(event, dates=tuple(overrides.of(date) for date in event.dates)) for event in standing.events)
    changes: dict[str, Any] = {} if overrides.least is None else {"least": overrides.least}
    return replace(standing, events=events, **changes)


def _changed(programme: Programme, overrides: Overrides, inventory: Inventory) -> Programme:
    """A programme as the options have it, all its loads owned often enough."""
    outings = tuple(replace(outing, operation=overrides.of(outing.operation)) for outing in programme.outings)
    programme = replace(programme, outings=outings)
    _check(inventory, [outing.operation for outing in outings])
    _check_together(programme, inventory)
    return programme


def _mass_g(text: str) -> int:
    from kitopt.operation import tables

    return int(read_option("--mass", (tables.LimitsTable, "mass_g"), text))


def _cents(text: str) -> int:
    from kitopt.inventory.fields import Number

    return int(
        read_option("--budget", Number("a sum of money", "250 or 99.50", least=0, most=10**9, whole="cents"), text)
    )


def _warn(warnings: Iterable[str]) -> None:
    for warning in dict.fromkeys(warnings):
        say(f"warning: {warning}")


def _sky_of(operation: Operation) -> Sky:
    from kitopt.sky import windows_for

    return windows_for(operation)
