"""Which nice loads run, in words."""

from __future__ import annotations

from kitopt.choice import Choice, Nice
from kitopt.operation.plans import Programme
from kitopt.report import words
from kitopt.report.lists import fact


def which_run(choice: Choice) -> str:
    """The part of a sentence that says which nice loads run and which do not; nothing where none was asked for."""
    if not choice.nices:
        return ""
    if not choice.packed:
        return ", even with nothing on but what must run" if choice.status == "no-kit" else ""
    some = {runs: [nice.id for nice in choice.nices if nice.runs is runs] for runs in (True, False, None)}
    text = f", with {' and '.join(some[True])}" if some[True] else ""
    text += f"{' but' if text else ','} without {' or '.join(some[False])}" if some[False] else ""
    return text + (f", perhaps not all that could run ({', '.join(some[None])})" if some[None] else "")


def why_not(choice: Choice, nice: Nice) -> str:
    """Why a nice load stays at home."""
    if nice.runs is None:
        return "the time was up before it was known whether a kit runs it."
    if nice.in_the_way:
        return nice.in_the_way[0].text
    if not choice.packed:
        return "no kit runs what must run."
    before = [other.id for other in choice.nices[: choice.nices.index(nice)] if other.runs]
    beside = f" beside {', '.join(before)}" if before else ""
    limit_g = choice.operation.nice_at_most_g
    within = "" if limit_g is None else f" and weighs at most {words.mass(limit_g)} more than without nice loads"
    return f"no kit runs it{beside}{within}."


def left_at_home(programme: Programme) -> list[str]:
    """The nice loads of several operations, which count musts only."""
    each = [(one.operation.name, one.operation.nices) for one in programme.outings if one.operation.nices]
    text = "; ".join(f"{', '.join(ids)} ({name})" for name, ids in dict.fromkeys(each))
    return fact("At home", f"nice loads, which do not count here: {text}.") if text else []
