"""``kitopt now`` as text and JSON."""

from __future__ import annotations

import math
from collections.abc import Sequence
from datetime import datetime
from fractions import Fraction
from typing import Any

from kitopt.ask import Change
from kitopt.field.now import Now, Way, moment_in
from kitopt.operation.terms import Operation
from kitopt.report.field.wording import head, lines, of_spells, percent
from kitopt.report.lists import listed
from kitopt.report.words import hours, moment
from kitopt.report.words import percent as percent_of

SCHEMA = "kitopt/now-1"
_NAME = 39


def now_text(now: Now) -> str:
    """The chance to last, what one change brings, and the trip-wires."""
    operation = now.operation
    is_alone = not now.has_plan
    rows = lines(f"{head(operation.name, operation.start)}" + ("." if is_alone else f": {_to_go(now)} to go."))
    if now.moved_from is not None:
        rows += lines(f"Asked at {now.moved_from:%Y-%m-%d %H:%M}, before the start: judged from the start on.")
    rows += lines(_charge(now))
    if now.left_out:
        rows += lines(f"Not counted, as it does not go with the rest: {', '.join(listed(now.left_out.items()))}.")
    rows += _alone(now) if is_alone else _chance(now)
    if now.ways:
        rows += ["", *_ways(now)]
    if now.wires:
        rows += ["", *_wires(now)]
    return "\n".join(rows) + "\n"


def _to_go(now: Now) -> str:
    return hours(now.operation.hours)


def _charge(now: Now) -> str:
    charge = now.charge
    low, high = charge.low_share, charge.high_share
    span = percent(low) if high - low < 0.005 else f"{percent(low)} to {percent(high)}"
    has = f"{low * charge.usable_ah:.1f} Ah"
    said = f"In {', '.join(listed(now.kit.items()))}: {span} of what may be used"
    if high - low >= 0.005:
        return f"{said}, by the volts; counted on is the bottom of that, {has}."
    return f"{said}, {has}."


def does_text(now: Now) -> str:
    """How much is to go, what is in the batteries and whether it lasts, on one line."""
    told = _chance(now) if now.has_plan else _alone(now)
    return " ".join((f"{_to_go(now)} to go.", _charge(now), *told))


def _chance(now: Now) -> list[str]:
    operation = now.operation
    asked = percent_of(operation.need.confidence)
    n, is_one, shown = round(now.chance * now.n_windows), now.n_windows == 1, of_spells(now.chance)
    rows = (
        []
        if is_one
        else lines(f"It lasts to the end in {n} of {now.n_windows} spells of weather: {shown}; asked is {asked}.")
    )
    if now.is_enough:
        first = "It lasts to the end" if is_one else "That is enough"
        return [*rows, *lines(f"{first}. Go on, and heed the trip-wires.")]
    at = now.reserve_at
    assert at is not None
    first = "It" if is_one else f"That is not enough: sure to {asked} it"
    rows += lines(f"{first} lasts {hours(now.lasts_h)}, to {moment(at)}. {_held_back(now)}")
    if not any(way.works for way in now.ways):
        rows += lines("No single change is enough; do several, or close down earlier.")
    return rows


def _held_back(now: Now) -> str:
    """Why it ends while there is charge left."""
    parts = [f"{now.reserve_ah:.1f} Ah in reserve"]
    if now.cold_ah >= 0.05:
        parts.append(f"up to {now.cold_ah:.1f} Ah by the cold")
    return f"Held back: {', '.join(parts)}."


def _alone(now: Now) -> list[str]:
    at = now.reserve_at
    use = now.operation.loads[0]
    how = "is on all the time"
    if use.mode != "on":
        how = f"is on {use.mode.upper()} all the time, transmitting {percent(use.transmit_share)} of it"
    return [*lines(f"Taken: {use.id} {how}, at 20 °C; 10 % is held back."), *_without_sun(now, at)]


def _without_sun(now: Now, at: datetime | None) -> list[str]:
    if at is None:
        return lines(f"Without any sun it lasts longer than {hours(now.operation.hours)}.")
    return lines(f"Without any sun it lasts {hours(now.lasts_h)}, to {moment(at)}.")


def _ways(now: Now) -> list[str]:
    rows = [f"{'One change, the least painful first':{_NAME}}{'lasts to':>16}{'gained':>9}"]
    rows[0] += f"{'chance':>8}" if now.has_plan else ""
    for way in now.ways:
        until = "the end" if way.works else moment(moment_in(now.operation, way.lasts_h))
        cells = f"{until:>16}{f'{way.gained_h:+.1f} h':>9}" + (f"{of_spells(way.chance):>8}" if now.has_plan else "")
        *first, last = lines(change_text(now.operation, way.change), "* " if way.works else "  ", "  ")
        rows += [*first, f"{last:{_NAME}}{cells}"] if len(last) <= _NAME else [*first, last, f"{'':{_NAME}}{cells}"]
    if any(way.works for way in now.ways):
        rows.append("* is enough")
    return rows


def _wires(now: Now) -> list[str]:
    if instead := instead_of_wires(now):
        return lines(instead)
    rows = lines(f"Trip-wires: Ah out less Ah in {_since(now)}, at the most")
    for wire in now.wires:
        limit_ah = at_most_ah(wire.used_at_most_ah)
        more_in = " more in than out, at least" if limit_ah < 0 else ""
        rows.append(f"  {moment(wire.time):18}{abs(limit_ah):7.1f} Ah{more_in}")
    rows += lines(f"If more were used: {action_text(now)}, at once.")
    return rows


def instead_of_wires(now: Now) -> str:
    """What is said where there is nothing to wait for; empty where there is."""
    if now.followed.is_hopeless:
        where = "" if now.n_windows == 1 else f", in any of {now.n_windows} spells"
        text = f"from here it is not saved by {action_text(now)}{where}."
        return f"Trip-wires: none. Already too much is used: {text}"
    used_ah = now.charge.used_ah if now.state.told == "used" else 0.0
    if now.followed.is_at_once and used_ah > now.wires[0].used_at_most_ah:
        n = int(now.followed.is_savable.sum())
        where = "" if now.n_windows == 1 else f" in {n} of {now.n_windows} spells"
        return f"Trip-wires: already too much is used. Now: {action_text(now)}; that saves it{where}."
    return ""


def at_most_ah(used_ah: float) -> float:
    """To a tenth; what may be used at the most is not rounded up. [Ah]"""
    return math.floor(10.0 * used_ah + 1e-4) / 10.0


def out_less_in(used_ah: float) -> str:
    """Ampere-hours out less those in, for a cell of a table: where more went in than out, that is said."""
    tenths = round(10.0 * used_ah)
    return f"{-tenths / 10:.1f} more in" if tenths < 0 else f"{tenths / 10:.1f}"


def _since(now: Now) -> str:
    return "since the start" if now.state.told == "used" else "from now on"


def action_text(now: Now) -> str:
    """All that is done when a wire is tripped."""
    return ", and ".join(change_text(now.operation, one) for one in now.action)


def change_text(operation: Operation, change: Change) -> str:
    """What to do, as it is said to somebody who sits before it."""
    if change.family == "aim":
        return f"turn the panels to the sun every {hours(operation.aim.every_h)}"
    if change.family == "charge":
        return "swap to another battery now, if the others are full"
    if change.family == "radio":
        return f"{change.value} instead of {change.id}"
    if change.family == "power":
        return f"{change.id} at half power"
    if change.family == "load off":
        return f"{change.id} off"
    when = {
        "off-air": "off outside its hours on the air",
        "night": "off from 23:00 to 07:00",
        "half-hours": "on for half of each hour",
    }
    return f"{change.id} {when[str(change.value)]}"


def now_value(now: Now) -> dict[str, Any]:
    """The same as JSON."""
    operation, charge = now.operation, now.charge
    return {
        "schema": SCHEMA,
        "status": "found",
        "name": operation.name,
        "at": operation.start.isoformat(timespec="seconds"),
        "moved_from": None if now.moved_from is None else now.moved_from.isoformat(timespec="seconds"),
        "hours": round(operation.hours, 4),
        "kit": [{"id": name, "count": n} for name, n in now.kit.items()],
        "left_out": [{"id": name, "count": n} for name, n in now.left_out.items()],
        "told": {"by": now.state.told, "value": now.state.value},
        "charge": {
            "least_share": round(charge.low_share, 4),
            "most_share": round(charge.high_share, 4),
            "usable_ah": round(charge.usable_ah, 3),
            "used_ah": round(charge.used_ah, 3),
            "reserve_ah": round(now.reserve_ah, 3),
            "cold_ah": round(now.cold_ah, 3),
        },
        "chance": round(now.chance, 4) if now.has_plan else None,
        "asked": float(Fraction(operation.need.confidence)),
        "windows": now.n_windows,
        "enough": now.is_enough,
        "lasts_h": round(min(now.lasts_h, operation.hours), 4),
        "changes": [_way_value(now, way) for way in now.ways],
        "wires": [
            {
                "at": wire.time.isoformat(timespec="seconds"),
                "used_at_most_ah": round(wire.used_at_most_ah, 3),
                "charge_at_least_ah": round(wire.charge_at_least_ah, 3),
            }
            for wire in now.wires
        ],
        "counted": "since the start" if now.state.told == "used" else "from now on",
        "if_more": {"changes": _changes_value(now, now.action), "text": action_text(now)},
    }


def _way_value(now: Now, way: Way) -> dict[str, Any]:
    return {
        **_changes_value(now, (way.change,))[0],
        "works": way.works,
        "chance": round(way.chance, 4) if now.has_plan else None,
        "lasts_h": round(min(way.lasts_h, now.operation.hours), 4) if math.isfinite(way.lasts_h) else None,
        "gained_h": round(way.gained_h, 4),
    }


def _changes_value(now: Now, changes: Sequence[Change]) -> list[dict[str, Any]]:
    return [
        {"family": one.family, "id": one.id or None, "value": one.text or None, "text": change_text(now.operation, one)}
        for one in changes
    ]
