"""``kitopt review`` as text and JSON."""

from __future__ import annotations

from collections.abc import Mapping, Sequence
from datetime import datetime
from typing import Any

from kitopt.field.not_needed import NotNeeded
from kitopt.field.review import Review
from kitopt.files.typed import as_typed
from kitopt.inventory.spreads import NINETY_SPREADS
from kitopt.report.encode import number, time
from kitopt.report.field.wording import head, lines, percent
from kitopt.report.lists import listed
from kitopt.report.words import moment, spell

SCHEMA = "kitopt/review-1"

_DIFFERS = 0.1


def review_text(outings: Sequence[Review], spare: NotNeeded) -> str:
    """What came in and went out against the plan, hour by hour, what to do at home, and what nobody needed."""
    rows = [row for one in outings for row in (*_outing(one), "")]
    return "\n".join([*rows[:-1], *_spare(spare)]) + "\n"


def _outing(found: Review) -> list[str]:
    operation = found.operation
    rows = lines(f"{head(operation.name, operation.start)}: {', '.join(listed(found.kit.items()))}.")
    whole = sum(one.is_whole for one in found.hours)
    low, middle, high = found.planned_in_ah
    within = f"planned {middle:.1f}" + (f", nine in ten spells {low:.1f} to {high:.1f}" if found.n_windows > 1 else "")
    rows += lines(f"In {found.in_ah:.1f} Ah over {whole} hours logged ({within}); {_like(found)}.")
    more = found.out_ah / found.planned_out_ah - 1.0 if found.planned_out_ah > 0.0 else 0.0
    drew = "as planned" if abs(more) < _DIFFERS else f"{percent(abs(more))} {'more' if more > 0.0 else 'less'}"
    rows += lines(f"Out {found.out_ah:.1f} Ah, planned {found.planned_out_ah:.1f}: {drew}.")
    rows += lines(_charge(found))
    rows += ["", f"{'hour':18}{'in':>6}{'planned, nine in ten':>22}{'out':>7}{'planned':>9}"]
    for one in found.hours:
        if one.is_whole:
            planned = f"{one.middle_ah:.1f}, {one.low_ah:.1f} to {one.high_ah:.1f}"
            text = f"{moment(one.start):18}{one.in_ah:>6.1f}{planned:>22}{one.out_ah:>7.1f}{one.planned_out_ah:>9.1f}"
        else:
            text = f"{moment(one.start):18}{'-':>6}"
        rows.append(text)
    for at, hours in found.gaps:
        rows += lines(f"Nothing was logged from {moment(at)} on for {hours:.1f} h.")
    return [*rows, "", *_home(found)]


def _spare(spare: NotNeeded) -> list[str]:
    """What could have stayed at home."""
    if not spare.is_any:
        return []
    many = f"{spare.n_outings} outings" if spare.n_outings > 1 else "this outing"
    rows = ["", f"Carried and not needed, by the log{'s' if spare.n_outings > 1 else ''} of {many}"]

    def named(pieces: Mapping[str, int]) -> str:
        each = zip(listed(pieces.items()), pieces, strict=True)
        return ", ".join(f"{text}{_carried(spare, name)}" for text, name in each)

    if spare.batteries:
        rows += lines(f"{named(spare.batteries)}: with the sun as it was, the others would have lasted.", "- ")
    if spare.panels:
        other = "instead of that, " if spare.batteries else ""
        rows += lines(f"{other}{named(spare.panels)}: the batteries would have lasted without any sun.", "- ")
    if spare.gave_nothing:
        rows += lines(f"{', '.join(spare.gave_nothing)}: no current ever came from it.", "- ")
    if spare.loads:
        rows += lines(f"{', '.join(spare.loads)}: it drew next to nothing.", "- ")
    if spare.n_outings == 1:
        rows += lines("One outing proves little: give several logs, each followed by its operation.")
    return rows


def _carried(spare: NotNeeded, name: str) -> str:
    """How often, where not always."""
    n = spare.carried[name]
    return "" if n == spare.n_outings else f" (there {n} times)" if n > 1 else " (there once)"


def _like(found: Review) -> str:
    share = found.below_share
    if found.n_windows == 1:
        return f"the plan knew one spell, {spell(found.like)}"
    place = (
        "more than every planned spell gave" if share >= 1.0 else f"more than {percent(share)} of the planned spells"
    )
    return f"{place}, most like {spell(found.like)}"


def _charge(found: Review) -> str:
    if found.is_empty:
        return f"By this count nothing was left at {moment(found.lowest_at)}: either it ran out, or it holds more."
    lowest = f"Lowest at {moment(found.lowest_at)}, {percent(found.lowest_share)} of {found.usable_ah:.1f} Ah"
    return f"{lowest}; at the end {percent(found.end_share)}."


def _home(found: Review) -> list[str]:
    rows = ["At home"]
    rows += lines(f"Put in {found.recharge_ah:.1f} Ah until full.", "- ")
    for one in found.stores:
        at = f"{percent(one.low_share)}" if one.low_share == one.high_share else f"{100 * one.low_share:.0f} to "
        at += "" if one.low_share == one.high_share else percent(one.high_share)
        rows += lines(f"{one.battery}: store it at {at}, brought there by {one.until:%Y-%m-%d}.", "- ")
    best = found.best
    if best is not None:
        rows += lines(f"{best.panel} gave {best.amps:.2f} A at most, {moment(best.at)}; to learn from it:", "- ")
        rows += _reading(found, f"{best.panel} {best.controller} --amps {best.amps:.2f}", best.at)
    for gave in found.discharges:
        rows += lines(f"{gave.battery} gave {gave.gave_ah:.1f} Ah from full until it was empty:", "- ")
        rows += _reading(found, f"{gave.battery} --discharged {gave.gave_ah:.1f}", gave.at)
    for load in found.loads:
        if load.is_off:
            rows += lines(f"{load.load} drew next to nothing of the {load.planned_ah:.1f} Ah planned.", "- ")
        elif load.is_other:
            within = f"{NINETY_SPREADS * load.spread_share * load.planned_ah:.1f}"
            sure = "" if float(within) == 0.0 else f", ± {within}"
            where = "its operation" if load.file == "operation" else load.file
            rows += lines(f"{load.load} drew {load.drew_ah:.1f} Ah{sure}, planned {load.planned_ah:.1f}:", "- ")
            rows += lines(f"{load.key} = {load.value:.3g} in {where} plans with that.", "  ", "  ")
    return rows


def _reading(found: Review, what: str, at: datetime) -> list[str]:
    """The command that keeps a reading, as it is typed: without the inventory nothing can be kept."""
    where = f"--where {as_typed(found.operation.file)} --inventory {as_typed(found.inventory.folder)}"
    return [f"  kitopt reading {what} \\", f"    --at {at:%Y-%m-%dT%H:%M} --keep \\", f"    {where}"]


def review_value(outings: Sequence[Review], spare: NotNeeded) -> dict[str, Any]:
    """The same as JSON; of several outings an object each."""
    first = _value(outings[0])
    each = {} if len(outings) == 1 else {"outings": [_value(one) for one in outings]}
    return {**first, **each, "not_needed": _spare_value(spare)}


def _spare_value(spare: NotNeeded) -> dict[str, Any]:
    def pieces(some: Mapping[str, int]) -> list[dict[str, Any]]:
        return [{"id": name, "count": n, "outings": spare.carried[name]} for name, n in some.items()]

    return {
        "outings": spare.n_outings,
        "batteries": pieces(spare.batteries),
        "or_panels": pieces(spare.panels),
        "gave_nothing": list(spare.gave_nothing),
        "loads": list(spare.loads),
    }


def _value(found: Review) -> dict[str, Any]:
    best = found.best
    return {
        "schema": SCHEMA,
        "status": "found",
        "operation": found.operation.name,
        "kit": [{"id": name, "count": n} for name, n in found.kit.items()],
        "columns": [{"column": name, "taken_as": meant} for name, meant in found.columns],
        "in_ah": number(found.in_ah),
        "planned_in_ah": [number(one) for one in found.planned_in_ah],
        "out_ah": number(found.out_ah),
        "planned_out_ah": number(found.planned_out_ah),
        "spells_below": number(found.below_share, 4),
        "like": found.like,
        "usable_ah": number(found.usable_ah),
        "lowest": {"time": time(found.lowest_at), "share": number(found.lowest_share, 4), "empty": found.is_empty},
        "end_share": number(found.end_share, 4),
        "recharge_ah": number(found.recharge_ah),
        "hours": [
            {
                "time": time(one.start),
                "logged": one.is_whole,
                "in_ah": number(one.in_ah),
                "out_ah": number(one.out_ah),
                "planned_in_ah": [number(value) for value in (one.low_ah, one.middle_ah, one.high_ah)],
                "planned_out_ah": number(one.planned_out_ah),
            }
            for one in found.hours
        ],
        "gaps": [{"time": time(at), "hours": number(hours)} for at, hours in found.gaps],
        "store": [
            {"battery": one.battery, "share": [one.low_share, one.high_share], "by": one.until.date().isoformat()}
            for one in found.stores
        ],
        "loads": [
            {
                "id": one.load,
                "drew_ah": number(one.drew_ah),
                "planned_ah": number(one.planned_ah),
                "spread_share": number(one.spread_share, 4),
                "write": {"file": one.file, "key": one.key, "value": number(one.value, 4)},
            }
            for one in found.loads
        ],
        "discharges": [
            {"battery": one.battery, "gave_ah": number(one.gave_ah), "time": time(one.at)} for one in found.discharges
        ],
        "panels": [{"id": name, "gave_ah": number(ah)} for name, ah in found.gave_ah.items()],
        "reading": None
        if best is None
        else {"panel": best.panel, "controller": best.controller, "time": time(best.at), "amps": number(best.amps)},
    }
