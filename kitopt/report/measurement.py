"""The measurement worth making, in words and as JSON."""

from __future__ import annotations

from typing import Any

from kitopt.choice import Choice
from kitopt.explain.measurement import End, Measuring, Thing
from kitopt.field.noon import AtNoon
from kitopt.report import encode
from kitopt.report.lists import counted, listed
from kitopt.report.reasons import BETTER, amount, worse
from kitopt.report.words import moment, wrapped


def measurement_section(choice: Choice, found: Measuring, noon: AtNoon | None) -> list[str]:
    """What to measure and what would come of it; nothing where nothing is unsure."""
    if not found.n_things:
        return []
    tried = f"{found.n_things:,} asked about, {counted(found.n_solves, 'solve')}"
    if found.is_cut_short:
        tried += ", some left out"
    lines = ["The measurement worth making"]
    if found.best is None:
        return [
            *lines,
            *wrapped(f"none: the kit stays as good at both ends of what is not known for sure ({tried}).", "- "),
        ]
    one = found.best
    ends = [(one.high, "more"), (one.low, "less")]
    said = "; ".join(f"at {_read(one.thing, end, noon)} or {way} {_comes(choice, end)}" for end, way in ends if end)
    return [*lines, *wrapped(f"{_how(one.thing, noon)}: {said} ({tried}).", "- ")]


def _how(thing: Thing, noon: AtNoon | None) -> str:
    if thing.column == "measured_ah":
        return f"discharge {thing.id} from full"
    if noon is None:
        return f"measure {thing.id}"
    aim = "facing the sun" if noon.is_facing else "flat"
    return f"measure {thing.id} on {noon.controller}, {moment(noon.at)}, {aim} under a clear sky"


def _read(thing: Thing, end: End, noon: AtNoon | None) -> str:
    """What the meter shows at an end."""
    if thing.column == "measured_ah":
        return f"{end.value:.3g} Ah"
    of_label = f"{end.value:.2f} of its label"
    # the amperes are of that day's sun; the worth is what another day can show
    return of_label if noon is None else f"{noon.amps * end.value / thing.here:.2g} A, {of_label},"


def _comes(choice: Choice, end: End) -> str:
    """What comes of an end."""
    if end.more is None:
        return "no kit works"
    moves = [f"{', '.join(listed(some))} {way}" for some, way in ((end.instead, "in"), (end.gone, "out")) if some]
    how = worse(choice, end.more) if end.more > 0 else f"{amount(choice, -end.more)} {BETTER[choice.operation.least]}"
    return f"the kit is {how}" + (f" ({'; '.join(moves)})" if moves else "")


def measurement_value(choice: Choice, found: Measuring, noon: AtNoon | None) -> dict[str, Any]:
    """The same as JSON; amperes are those at noon, null where they are not known."""

    def end_value(thing: Thing, end: End | None) -> dict[str, Any] | None:
        if end is None:
            return None
        return {
            "value": encode.number(end.value, 4),
            "amps": None if noon is None else encode.number(noon.amps * end.value / thing.here),
            "works": end.more is not None,
            "more": end.more,
            "mass_g": end.mass_g,
            "instead": encode.pieces(end.instead),
            "gone": encode.pieces(end.gone),
        }

    best = found.best
    return {
        "asked": found.n_things,
        "solves": found.n_solves,
        "cut_short": found.is_cut_short,
        "best": None
        if best is None
        else {
            "id": best.thing.id,
            "column": best.thing.column,
            "planned": encode.number(best.thing.here, 4),
            "controller": None if noon is None else noon.controller,
            "at": None if noon is None else encode.time(noon.at),
            "amps": None if noon is None else encode.number(noon.amps),
            "low": end_value(best.thing, best.low),
            "high": end_value(best.thing, best.high),
        },
    }
