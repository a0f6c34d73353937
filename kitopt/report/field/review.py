"""``kitopt review`` as text and JSON."""

from __future__ import annotations

from typing import Any

from kitopt.field.review import Review
from kitopt.report.encode import number, time
from kitopt.report.field.wording import head, lines, percent
from kitopt.report.words import moment, spell

SCHEMA = "kitopt/review-1"

_DIFFERS = 0.1


def review_text(found: Review) -> str:
    """What came in and went out against the plan, hour by hour, and what to do at home."""
    operation = found.operation
    kit = ", ".join(name if n == 1 else f"{n} {name}" for name, n in found.kit.items())
    rows = lines(f"{head(operation.name, operation.start)}: {kit}.")
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
    rows += ["", *_home(found)]
    return "\n".join(rows) + "\n"


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
    rows += lines(f"{found.recharge_ah:.1f} Ah fill what was used.", "- ")
    for one in found.stores:
        at = f"{percent(one.low_share)}" if one.low_share == one.high_share else f"{100 * one.low_share:.0f} to "
        at += "" if one.low_share == one.high_share else percent(one.high_share)
        rows += lines(f"{one.battery}: store it at {at}, brought there by {one.until:%Y-%m-%d}.", "- ")
    best = found.best
    if best is not None:
        rows += lines(f"{best.panel} gave {best.amps:.2f} A at most, {moment(best.at)}; to learn from it:", "- ")
        at = f"--at {best.at:%Y-%m-%dT%H:%M} --keep"
        rows.append(f"  kitopt reading {best.panel} {best.controller} --amps {best.amps:.2f} {at}")
    return rows


def review_value(found: Review) -> dict[str, Any]:
    """The same as JSON."""
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
        "reading": None
        if best is None
        else {"panel": best.panel, "controller": best.controller, "time": time(best.at), "amps": number(best.amps)},
    }
