"""One batch of plans to rows: what shares a site, a day and a pattern shares its weather, which is made once."""

from __future__ import annotations

import math
from collections.abc import Iterator, Sequence
from dataclasses import dataclass, replace

from kitopt.ask import Change
from kitopt.budget import Budget
from kitopt.choice import Choice, Packed, pack, with_fresh
from kitopt.choice.kit import best_kit, in_full
from kitopt.choice.named import only_of
from kitopt.choice.program import given
from kitopt.errors import BadInput
from kitopt.explain.repairs import Effort, repairs
from kitopt.files.kept import nothing_kept
from kitopt.files.plain import error_line
from kitopt.inventory.items import Inventory
from kitopt.model.bus import LOWEST_DISCHARGING_DEGC
from kitopt.operation.terms import Operation
from kitopt.report import words
from kitopt.report.repairs import repair_text
from kitopt.sky import fresh_windows, windows_for
from kitopt.sky.windows import Sky
from kitopt.study.row import Row
from kitopt.study.terms import ONE_CHANGE, Kit, Question, Study, kit_text

_WARM_DEGC = 5.0
"""How cold batteries get in a box with something warm. [°C]"""
_ALONG = ("load", "extra")
_EFFORT = Effort(of_family=2, enough=2, pairs=0, enough_pairs=0, pieces=1, solves=8)
"""What is tried for the one change that makes a plan work."""


@dataclass(frozen=True)
class Held:
    """Windows that are drawn once and gone through again and again."""

    skies: tuple[Sky, ...]

    def __call__(self) -> Iterator[Sky]:
        """Go through them."""
        return iter(self.skies)


def answers(study: Study, batch: Sequence[tuple[Question, str]], clock: Budget) -> list[Row]:
    """Answer plans that share a site, a day and a pattern; those for which there is not the time are left out.

    A plan that cannot be answered is a row with its fault, whatever it is: it stops no other.

    Parameters
    ----------
    batch : sequence of (Question, fingerprint)
    """
    operation = study.operation(batch[0][0])
    try:
        with nothing_kept():
            sky = windows_for(operation)
            if sky.others is not None:
                sky = replace(sky, others=Held(tuple(sky.others())))
            fresh = Held(tuple(fresh_windows(operation, study.fresh)))
    except Exception as error:
        return unanswered(study, batch, _told(error))
    rows = []
    for question, mark in batch:
        if clock.is_over:
            break
        try:
            row = _answer(study, question, mark, operation, sky, fresh, clock)
        except Exception as error:
            row = _row(study, question, mark, operation, fault=_told(error))
        if row is not None:
            rows.append(row)
    return rows


def _answer(
    study: Study, question: Question, mark: str, operation: Operation, sky: Sky, fresh: Held, clock: Budget
) -> Row | None:
    inventory = study.inventories[question.inventory]
    named = question.kit
    if question.more == ONE_CHANGE:
        return _changed(study, question, mark, operation, sky, clock)
    if question.more:
        assert study.catalogue is not None
        inventory = Change("one more", question.more, thing=study.catalogue.by_id[question.more]).inventory(inventory)
        choice = in_full(best_kit(operation.running(), inventory, sky, budget=clock, is_any_good=True), clock)
    elif not named:
        choice = pack(operation, inventory, sky, budget=clock)
    else:
        over_g = over_limit_g(operation, inventory, named)
        if over_g > 0:
            lacks = f"{over_g:,} g over what it may weigh"
            return _row(study, question, mark, operation, kit=kit_text(named), status="no-kit", lacks=lacks)
        # whatever of it works will do: nobody must wire all that is in the bag
        only = only_of(inventory, dict(named))
        at = replace(operation.running(), mass_limit_g=None)
        choice = in_full(best_kit(at, only, sky, budget=clock, is_any_good=True, enough=math.inf), clock)
    if choice.status == "no-kit":
        return _fails(study, question, mark, operation, choice)
    # of a kit that is judged, or found with a piece more, it is enough that it works: nothing is proved of it
    is_enough = bool(named or question.more) and choice.packed != ()
    if choice.status != "found" and not is_enough:
        return None
    choice = with_fresh(choice, fresh)
    return _passes(study, question, mark, operation, choice)


def _changed(study: Study, question: Question, mark: str, operation: Operation, sky: Sky, clock: Budget) -> Row | None:
    """The first single change with which it works; without one, what comes nearest."""
    inventory = study.inventories[question.inventory]
    if _is_too_cold(sky):
        warm = replace(operation, site=replace(operation.site, cells_degc=_WARM_DEGC))
        with nothing_kept():
            found = best_kit(warm.running(), inventory, windows_for(warm), budget=clock, is_any_good=True)
        if found.packed:
            text = f"batteries that are kept at {_WARM_DEGC:g} °C: {words.mass(found.mass_g)} in all"
            return _row(study, question, mark, operation, status="found", lacks=text)
    choice = pack(operation, inventory, sky, budget=clock)
    if choice.status != "no-kit":
        return None
    with nothing_kept():
        tried = repairs(choice, sky_of=windows_for, catalogue=study.catalogue, budget=clock, effort=_EFFORT)
    if tried.is_cut_short:
        return None
    does = [one for one in tried.work if one.does_what_was_asked] or list(tried.work)
    nearest = sorted((one for one in tried.not_enough), key=lambda one: one.shortfall_wh)
    best = next(iter(does or nearest), None)
    text = "" if best is None else repair_text(choice, best)
    return _row(study, question, mark, operation, status="found" if does else "no-kit", lacks=text)


def _passes(study: Study, question: Question, mark: str, operation: Operation, choice: Choice) -> Row:
    survival, lowest = choice.survival, choice.lowest
    tried = survival.fresh_tried if survival else 0
    survived = (survival.fresh_survived or 0) if survival else 0
    mass_g, cents = choice.mass_g, choice.price_cents
    if question.kit:
        mass_g, cents = whole_kit(operation, choice.inventory, question.kit)
    return _row(
        study,
        question,
        mark,
        operation,
        status="found",
        chance=survived / tried if tried else None,
        tried=tried,
        survived=survived,
        margin_wh=None if lowest is None else round(lowest.margin_wh, 3),
        hardest=None if lowest is None else lowest.time.isoformat(),
        kit=_chosen(choice.packed),
        mass_g=mass_g,
        price_cents=cents,
        need_wh=round(choice.need_wh, 3),
    )


def _fails(study: Study, question: Question, mark: str, operation: Operation, choice: Choice) -> Row:
    short = choice.shortfall
    lacks = "nothing that is owned fits together"
    if short is not None and short.packed:
        lacks = f"{short.shortfall_wh:.0f} Wh"
        # a step whose cells give nothing asks for more than any capacity
        if _is_too_cold(choice.sky):
            lacks += f" where cells, down to {choice.sky.battery_degc.min():.0f} °C, give nothing"
    elif short is not None and short.in_the_way:
        lacks = "; ".join(dict.fromkeys(block.text for block in short.in_the_way))
    return _row(
        study,
        question,
        mark,
        operation,
        status="no-kit",
        margin_wh=None if short is None or not short.packed else -round(short.shortfall_wh, 3),
        hardest=None if short is None or short.time is None else short.time.isoformat(),
        kit="" if short is None else _chosen(short.packed),
        need_wh=round(choice.need_wh, 3),
        lacks=lacks,
    )


def _chosen(packed: Sequence[Packed]) -> str:
    return kit_text(tuple(sorted((one.id, one.count) for one in packed if one.kind not in _ALONG)))


def _is_too_cold(sky: Sky) -> bool:
    """Whether there are steps in which cells give nothing, whatever the kit."""
    return float(sky.battery_degc.min()) < LOWEST_DISCHARGING_DEGC


def _row(study: Study, question: Question, mark: str, operation: Operation, **more: object) -> Row:
    place = study.places[question.place]
    more = {"status": "fault", **more}
    return Row(
        place.name,
        operation.start.date().isoformat(),
        operation.name,
        study.labels[question.inventory],
        question.asked,
        mark,
        **more,  # type: ignore[arg-type]  # columns by name
    )


def unanswered(study: Study, batch: Sequence[tuple[Question, str]], fault: str) -> list[Row]:
    """Rows of plans that share a site, a day and a pattern, none of which can be answered."""
    operation = study.operation(batch[0][0])
    return [_row(study, question, mark, operation, fault=fault) for question, mark in batch]


def _told(error: Exception) -> str:
    if isinstance(error, BadInput):
        return "; ".join(fault.text for fault in error.faults)
    return f"a defect in kitopt: {error_line(error)}"


def whole_kit(operation: Operation, inventory: Inventory, kit: Kit) -> tuple[int, int]:
    """Mass [g] and price [1/100] of all of a kit, with the loads and extras that go along."""
    counts = {**given(operation.running(), inventory), **dict(kit)}
    items = [(inventory.by_id[i], n) for i, n in counts.items()]
    return sum(n * item.mass_g for item, n in items), sum(n * (item.price_cents or 0) for item, n in items)


def over_limit_g(operation: Operation, inventory: Inventory, kit: Kit) -> int:
    """By how much all of a kit is above what the operation allows; 0 or less where it is not. [g]"""
    if operation.mass_limit_g is None:
        return 0
    return whole_kit(operation, inventory, kit)[0] - operation.mass_limit_g
