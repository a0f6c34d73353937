"""``kitopt grab-kit``, ``kitopt buy`` and ``kitopt share``."""

from __future__ import annotations

from dataclasses import replace
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitopt.cli.answering import answered, warn
from kitopt.cli.inputs import Gather, read_with_inventory
from kitopt.cli.options import Options, Overrides, check_options, read_option
from kitopt.cli.paper import NO_PAPER, Paper
from kitopt.cli.request import Answer
from kitopt.errors import BadInput, Fault

if TYPE_CHECKING:
    from kitopt.operation.plans import Programme, Standing


def run_grab_kit(
    file: Path,
    folder: Path | None,
    options: Options,
    *,
    mass: str | None = None,
    paper: Paper = NO_PAPER,
    is_json: bool = False,
) -> Answer:
    """Choose the smallest kit that passes every event, or the one that lasts longest within a mass.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.interface.calls import grab_kit
    from kitopt.operation.read_plans import read_standing

    gather = Gather()
    gather.get(paper.check)
    overrides = gather.get(lambda: check_options(options))
    most_g = None if mass is None else gather.get(lambda: _mass_g(mass))
    standing, inventory = read_with_inventory(gather, file, folder, read_standing)
    assert overrides is not None
    asked = _overridden(standing, overrides, options.least)
    warn(overrides.warnings, asked.warnings, inventory.warnings)
    return answered(
        lambda clock: grab_kit(
            asked, inventory, mass_g=most_g, with_=options.with_, without=options.without, clock=clock
        ),
        overrides,
        asked.least,
        is_json=is_json,
        paper=paper,
    )


def run_buy(
    file: Path,
    folder: Path | None,
    catalogue_folder: Path | None,
    options: Options,
    *,
    budget: str | None = None,
    with_singles: bool = True,
    paper: Paper = NO_PAPER,
    is_json: bool = False,
) -> Answer:
    """Find the purchases that serve a season.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.interface.calls import buy, catalogue_beside
    from kitopt.inventory import read_inventory
    from kitopt.operation.read_plans import read_programme

    gather = Gather()
    gather.get(paper.check)
    overrides = gather.get(lambda: check_options(options))
    cents = None if budget is None else gather.get(lambda: _cents(budget))
    where = catalogue_folder
    offered = None if where is None else gather.get(lambda: read_inventory(where))
    programme, inventory = read_with_inventory(gather, file, folder, read_programme)
    assert overrides is not None
    catalogue = offered if offered is not None else catalogue_beside(inventory)
    asked = _changed(programme, overrides)
    warn(overrides.warnings, asked.warnings, inventory.warnings, () if catalogue is None else catalogue.warnings)
    return answered(
        lambda clock: buy(
            asked,
            inventory,
            catalogue,
            budget=None if cents is None else cents / 100,
            singles=with_singles,
            with_=options.with_,
            without=options.without,
            clock=clock,
        ),
        overrides,
        "price" if cents is None else "items",
        is_json=is_json,
        paper=paper,
    )


def run_share(
    file: Path, folder: Path | None, options: Options, *, paper: Paper = NO_PAPER, is_json: bool = False
) -> Answer:
    """Share one inventory out over several operations.

    Raises
    ------
    BadInput
        With every fault of the options and files.
    """
    from kitopt.interface.calls import share
    from kitopt.operation.read_plans import read_programme

    gather = Gather()
    gather.get(paper.check)
    overrides = gather.get(lambda: check_options(options))
    programme, inventory = read_with_inventory(gather, file, folder, read_programme)
    assert overrides is not None
    asked = _changed(programme, overrides)
    warn(overrides.warnings, asked.warnings, inventory.warnings)
    return answered(
        lambda clock: share(asked, inventory, with_=options.with_, without=options.without, clock=clock),
        overrides,
        "mass",
        is_json=is_json,
        paper=paper,
    )


def _overridden(standing: Standing, overrides: Overrides, least: str | None) -> Standing:
    if least is not None and overrides.least == "price":
        raise BadInput([Fault("--least", None, None, 'found "price", need mass or items: a grab-kit is carried.')])
    events = tuple(replace(event, dates=tuple(overrides.of(date) for date in event.dates)) for event in standing.events)
    changes: dict[str, Any] = {} if overrides.least is None else {"least": overrides.least}
    return replace(standing, events=events, **changes)


def _changed(programme: Programme, overrides: Overrides) -> Programme:
    """A programme as the options have it."""
    outings = tuple(replace(outing, operation=overrides.of(outing.operation)) for outing in programme.outings)
    return replace(programme, outings=outings)


def _mass_g(text: str) -> int:
    from kitopt.operation import tables

    return int(read_option("--mass", (tables.LimitsTable, "mass_g"), text))


def _cents(text: str) -> int:
    from kitopt.inventory.fields import Number

    field = Number("a sum of money", "250 or 99.50", least=0, most=10**9, whole="cents")
    return int(read_option("--budget", field, text))
