"""Choose, share, buy, judge, and ask why: the calls behind both ``import kitopt`` and the command line.

Heavy libraries are imported only when what was given is known to be good.
"""

from __future__ import annotations

import math
from collections.abc import Callable, Sequence
from contextlib import AbstractContextManager
from dataclasses import replace
from functools import partial
from pathlib import Path
from typing import TYPE_CHECKING, Literal

from kitopt.budget import UNLIMITED, Budget
from kitopt.errors import BadInput, Fault
from kitopt.files.nearest import did_you_mean
from kitopt.files.reading import what_lies_at
from kitopt.inventory.items import Inventory, Item
from kitopt.operation.check import check_against, check_each, check_programme
from kitopt.operation.force import Pieces, forced, in_all, pieces_of_kit
from kitopt.operation.plans import Programme, Standing
from kitopt.operation.terms import Operation
from kitopt.operation.ways import Ways

if TYPE_CHECKING:
    from kitopt.interface.argument import Argument
    from kitopt.interface.result import Result


def catalogue_beside(inventory: Inventory) -> Inventory | None:
    """What could be bought, where a folder of it lies beside the inventory.

    Raises
    ------
    BadInput
        With every fault of its files.
    """
    from kitopt.inventory import read_inventory

    folder = Path(inventory.folder) / "catalogue"
    return read_inventory(folder) if what_lies_at(folder) == "folder" else None


def pack(
    operation: Operation,
    inventory: Inventory,
    *,
    kit: Pieces | None = None,
    with_: Pieces = (),
    without: Pieces = (),
    reasons: bool | Literal["no-kit"] = True,
    fresh: bool = True,
    seconds: float = math.inf,
    clock: Budget | None = None,
) -> Result:
    """Choose the best kit for one operation, or judge one that is named.

    Parameters
    ----------
    kit : str, list or mapping, optional
        The kit to be judged, such as ``{"lfp-30": 1, "fold-50": 2}`` or ``"lfp-30,fold-50:2"``; loads and extras
        are packed as ever.
    with_, without : str, list or mapping
        Items forced in, at least so many of each, and items forced out, so many of each or all.
    reasons : bool or "no-kit"
        Whether to find what happens without each item, or what would help; or only the latter, and thoroughly.
    fresh : bool
        Whether to judge the kit under windows that no choice has seen.
    seconds : float
        Stop then, with the best so far and its bound. [s]
    clock : Budget, optional
        The same as a moment, with somebody who hears how the work goes.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    check_against(operation, inventory)
    if kit is not None and (with_ or without):
        text = "found --with or --without beside a kit that is named; need the one or the other: change the kit."
        raise BadInput([Fault("--kit", None, None, text)])
    counts = None if kit is None else pieces_of_kit(inventory, kit)
    operation = forced(operation, inventory.by_id, with_, without)
    clock = _clock(seconds, clock)

    from kitopt.files.ahead import made_ahead
    from kitopt.sky import fresh_windows, not_made, weather_ahead, windows_for

    with made_ahead([] if clock.is_over else weather_ahead([operation], is_judged=fresh)) as is_making:
        from kitopt import choice as choosing
        from kitopt.choice.named import judge_kit
        from kitopt.interface.result import Result

        if is_making and reasons is True:
            from kitopt import second_opinion

            second_opinion.load()
        sky = not_made(operation) if clock.is_over else windows_for(operation)
        named = None if counts is None else judge_kit(operation, inventory, sky, counts, budget=clock)
        found = choosing.pack(operation, inventory, sky, budget=clock) if named is None else named.choice
        if fresh and sky.can_refresh:
            clock.say("judging unseen weather")
            found = choosing.with_fresh(found, lambda: fresh_windows(operation), clock)
    answer = found if named is None else replace(named, choice=found)
    if reasons is not True and not (reasons == "no-kit" and named is None and found.status != "found"):
        return Result(answer)

    from kitopt.explain import BESIDE, THOROUGH, second_look, why

    if named is not None:
        return Result(answer, second_look(found, clock))
    effort = BESIDE if reasons is True else THOROUGH
    beside = partial(catalogue_beside, inventory)
    return Result(answer, why(found, sky_of=windows_for, catalogue=beside, budget=clock, effort=effort))


def grab_kit(
    standing: Standing,
    inventory: Inventory,
    *,
    mass_g: float | None = None,
    with_: Pieces = (),
    without: Pieces = (),
    seconds: float = math.inf,
    clock: Budget | None = None,
) -> Result:
    """Choose the smallest standing kit that passes every event, or the one that lasts longest within a mass.

    Parameters
    ----------
    mass_g : float, optional
        What the kit may weigh; then it is to last as long as can be. [g]
    with_, without, seconds, clock
        As for `pack`; what is forced in is in the bag.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    check_each((event.dates[0] for event in standing.events), inventory)
    force = _forcing(inventory.by_id, with_, without)
    events = tuple(replace(event, dates=tuple(force(date) for date in event.dates)) for event in standing.events)
    standing = replace(standing, events=events)
    clock = _clock(seconds, clock)

    from kitopt.sky import windows_for

    with _weather([date for event in standing.events for date in event.dates], standing.file):
        from kitopt.ask.longest import longest
        from kitopt.choice import standing as choosing
        from kitopt.interface.result import Result

        if mass_g is None:
            return Result(choosing.grab_kit(standing, inventory, windows_for, budget=clock))
        hours, found = longest(standing, inventory, windows_for, float(mass_g), budget=clock)
        return Result(found, hours=hours)


def share(
    programme: Programme,
    inventory: Inventory,
    *,
    with_: Pieces = (),
    without: Pieces = (),
    seconds: float = math.inf,
    clock: Budget | None = None,
) -> Result:
    """Share one inventory out over operations whose dates may overlap.

    Parameters
    ----------
    with_, without, seconds, clock
        As for `pack`; what is forced in is in every kit.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    check_programme(programme, inventory, Ways(programme).at_once())
    programme = _forced_in_each(programme, _forcing(inventory.by_id, with_, without))
    clock = _clock(seconds, clock)

    from kitopt.sky import windows_for

    with _weather([outing.operation for outing in programme.outings], programme.file):
        from kitopt.choice import sharing as choosing
        from kitopt.interface.result import Result

        return Result(choosing.share(programme, inventory, windows_for, budget=clock))


def buy(
    programme: Programme,
    inventory: Inventory,
    catalogue: Inventory | None = None,
    *,
    budget: float | None = None,
    singles: bool = True,
    with_: Pieces = (),
    without: Pieces = (),
    seconds: float = math.inf,
    clock: Budget | None = None,
) -> Result:
    """Find the purchases that serve a season at least cost, or most of it within a budget.

    Parameters
    ----------
    catalogue : Inventory, optional
        What is on offer; else what lies in ``catalogue/`` beside the inventory.
    budget : float, optional
        What may be spent, in the inventory's currency.
    singles : bool
        Whether to rank what one piece alone would do.
    with_, without, seconds, clock
        As for `pack`, owned and offered pieces together; what is forced in is in every kit.

    Raises
    ------
    BadInput
        With every fault of what was given.
    """
    check_programme(programme, inventory)
    offered = catalogue_beside(inventory) if catalogue is None else catalogue
    if offered is None:
        text = f"no catalogue: name a folder, or put one beside the inventory ({inventory.folder}/catalogue)."
        raise BadInput([Fault("--catalogue", None, None, text)])
    programme = _forced_in_each(programme, _forcing(in_all(inventory, offered), with_, without))
    clock = _clock(seconds, clock)

    from kitopt.sky import windows_for

    with _weather([outing.operation for outing in programme.outings], programme.file):
        from kitopt.choice import season as choosing
        from kitopt.interface.result import Result

        cents = None if budget is None else round(100 * budget)
        found = choosing.buy(
            programme, inventory, offered, windows_for, budget_cents=cents, budget=clock, with_singles=singles
        )
        return Result(found)


def why(result: Result, item: str | None = None, *, seconds: float = math.inf, clock: Budget | None = None) -> Argument:
    """Say why an item is in the kit of `pack` or not; without an item, what binds the kit.

    Parameters
    ----------
    result : Result
        Of `pack`, with a kit that is proved best, in the process that chose it.

    Raises
    ------
    BadInput
        For an item that is not owned, or a result of another kind.
    """
    from kitopt.choice import Choice
    from kitopt.interface.argument import argue

    if item is not None and isinstance(result.answer, Choice):
        check_item(item, result.answer.inventory)
    if not isinstance(result.answer, Choice) or result.status != "found" or not result.answer.solved:
        text = "need a kit that was proved best by pack, just chosen: what was learned is not kept in a copy or a file."
        raise BadInput([Fault("why", None, None, text)])
    owned = result.answer.inventory
    return argue(result.answer, item, catalogue=lambda: catalogue_beside(owned), clock=_clock(seconds, clock))


def check_item(item: str, inventory: Inventory) -> None:
    """Check that an item is owned.

    Raises
    ------
    BadInput
    """
    if item not in inventory.by_id:
        near = did_you_mean(item, inventory.by_id)
        raise BadInput([Fault("ITEM", None, None, f'found "{item}", need the id of an item in the inventory.{near}')])


def _weather(operations: Sequence[Operation], file: str) -> AbstractContextManager[bool]:
    """The weather of a plan, made beside what is done within.

    Raises
    ------
    BadInput
        Where it would take too much memory.
    """
    from kitopt.files.ahead import made_ahead
    from kitopt.sky import check_all_fit, weather_ahead

    check_all_fit(operations, file)
    return made_ahead(weather_ahead(operations))


def _clock(seconds: float, clock: Budget | None) -> Budget:
    if clock is not None:
        return clock
    return Budget.of(seconds) if math.isfinite(seconds) else UNLIMITED


def _forcing(stock: dict[str, Item], with_: Pieces, without: Pieces) -> Callable[[Operation], Operation]:
    return lambda operation: forced(operation, stock, with_, without)


def _forced_in_each(programme: Programme, force: Callable[[Operation], Operation]) -> Programme:
    outings = tuple(replace(outing, operation=force(outing.operation)) for outing in programme.outings)
    return replace(programme, outings=outings)
