"""``kitopt reading`` as text and JSON."""

from __future__ import annotations

from typing import Any

from kitopt.field.measures import BY_ID
from kitopt.field.reach import Reach
from kitopt.field.site import FieldSite
from kitopt.field.verdict import NextTest, Suspect, Verdict, sure_share
from kitopt.report.field.wording import CAUSES, MEASURES, cause, cover_first, head, lines, percent, value

SCHEMA = "kitopt/reading-1"

_STEPS = {
    "label": "label",
    "worth": "its real worth",
    "sun": "the sun as it is",
    "aim": "aim",
    "heat": "heat",
    "lead": "lead",
    "controller": "controller",
    "battery": "battery's state",
}


def reading_text(verdict: Verdict, site: FieldSite, reach: Reach) -> str:
    """The verdict, the steps to what is expected, the causes with their odds, and what to read next."""
    readings = verdict.belief.readings
    text = lines(f"{reach.panel.id} on {reach.controller.id}, {head(site.at, site.name)}")
    text += lines(
        f"{readings['amps']:.2f} A, where {verdict.expected_a:.2f} A is expected "
        f"(nine readings in ten: {verdict.low_a:.2f} to {verdict.high_a:.2f} A)."
    )
    if verdict.zero_a:
        text += lines(f"{verdict.zero_a:.2f} A, which the meter shows with the panel covered, is taken off.")
    text += lines(_called(verdict))
    text += _doubtful(verdict)
    for part in (_waterfall(verdict), _causes(verdict), _tests(verdict)):
        text += ["", *part] if part else []
    return "\n".join(text) + "\n"


def _doubtful(verdict: Verdict) -> list[str]:
    """Readings that are counted as slips, since no cause gives them."""
    readings, names = verdict.belief.readings, verdict.belief.doubtful
    if not names or (verdict.called == "unexplained" and len(names) == 1):
        return []
    told = ", ".join(f"{MEASURES[name][0]} {value(name, readings[name])}" for name in names)
    what = "no cause gives that; read it again" if len(names) == 1 else "no cause gives them together; read them again"
    return lines(f"{told[0].upper()}{told[1:]}: {what}.")


def _called(verdict: Verdict) -> str:
    share = percent(sure_share(verdict))
    if verdict.called == "normal":
        return f"Normal for this sky and aim: {share} sure."
    if verdict.called == "as-expected":
        return f"As this sky and aim give it ({share}); without Isc nobody calls a panel normal."
    if verdict.called == "unexplained":
        return _unexplained(verdict)
    first = verdict.suspects[0]
    names = cause(first.cause)
    if first.alike:
        names += f", or {cause(first.alike)}: no reading so far tells them apart"
        both = first.share + next(one.share for one in verdict.suspects if one.cause == first.alike)
        share = percent(min(both, 0.95))
    what = "Nothing flows" if verdict.called == "nothing-flows" else "Low"
    return f"{what}; most likely {names} ({share})."


def _unexplained(verdict: Verdict) -> str:
    amps = verdict.belief.readings["amps"]
    if amps < 0.0:
        return "Current leaves the battery: switch its loads off, or turn the meter round, and read again."
    return "More than it can give under this sky and aim: look again at meter, sky, aim and label."


def _levels(verdict: Verdict) -> list[tuple[str, float, float]]:
    """Name, change and level of each step, in hundredths of an ampere that add up."""
    levels = [round(100.0 * step.after_a) for step in verdict.steps]
    return [
        (step.name, (level - before) / 100.0, level / 100.0)
        for step, level, before in zip(verdict.steps, levels, [0, *levels[:-1]], strict=True)
    ]


def _waterfall(verdict: Verdict) -> list[str]:
    rows = ["From the label to what is expected, A"]
    for name, change, level in _levels(verdict):
        change_text = "" if name == "label" else f"{change:+.2f}"
        rows.append(f"  {_STEPS[name]:20} {change_text:>7} {level:7.2f}")
    read, expected = round(100 * verdict.belief.readings["amps"]), round(100 * verdict.steps[-1].after_a)
    return [*rows, f"  {'read':20} {(read - expected) / 100.0:+7.2f} {read / 100.0:7.2f}"]


def _causes(verdict: Verdict) -> list[str]:
    if verdict.called == "unexplained":
        return []
    is_well = verdict.called in ("normal", "as-expected")
    rows = ["What else it could be" if is_well else "What explains it"]
    for one in verdict.suspects:
        rows += lines(f"{cause(one.cause)}{_evidence(one)}.", f"  {percent(one.share):>5}  ", " " * 9)
        if not is_well and CAUSES[one.cause][1]:
            rows += lines(f"{CAUSES[one.cause][1]}.", " " * 9)
    normal = verdict.belief.told("normal")
    if not is_well and normal >= 0.04:
        rows += lines(f"{cause('normal')}.", f"  {percent(normal):>5}  ", " " * 9)
    return rows if len(rows) > 1 else []


def _evidence(one: Suspect) -> str:
    text = ""
    if one.for_it:
        text += "; for it " + ", ".join(f"{MEASURES[name][0]} {value(name, a)}" for name, a in one.for_it[:3])
    if one.against:
        text += "; against it " + ", ".join(f"{MEASURES[name][0]} {value(name, a)}" for name, a in one.against[:2])
    return text


def _tests(verdict: Verdict) -> list[str]:
    if not verdict.tests:
        return []
    first, *others = verdict.tests
    rows = lines(
        f"{cover_first(first.measure.id)}{MEASURES[first.measure.id][1]} ({first.measure.seconds:.0f} s). "
        f"{_parts(first)}",
        "Next: ",
        "  ",
    )
    if others:
        names = ", ".join(f"{MEASURES[one.measure.id][0]} ({one.measure.seconds:.0f} s)" for one in others)
        rows += lines(f"Then: {names}.", "", "  ")
    return rows


def _parts(test: NextTest) -> str:
    one, other = test.between if test.first_is_above else test.between[::-1]
    if test.at is None:
        return f"If {MEASURES[test.measure.id][2]}: {cause(one)}; if not, rather: {cause(other)}."
    at = value(test.measure.id, test.at)
    return f"{at} or more: {cause(one)}; less: {cause(other)}."


def reading_value(verdict: Verdict, site: FieldSite, reach: Reach) -> dict[str, Any]:
    """The same as JSON."""
    return {
        "schema": SCHEMA,
        "status": "found",
        "at": site.at.isoformat(timespec="seconds"),
        "panel": reach.panel.id,
        "controller": reach.controller.id,
        "battery": reach.battery.id,
        "leads": list(reach.leads),
        "called": verdict.called,
        "sure": round(sure_share(verdict), 4),
        "readings": dict(verdict.belief.readings),
        "doubtful": list(verdict.belief.doubtful),
        "zero_a": round(verdict.zero_a, 4),
        "expected_a": round(verdict.expected_a, 3),
        "ninety_percent_a": [round(verdict.low_a, 3), round(verdict.high_a, 3)],
        "steps": [{"step": name, "change_a": change, "after_a": level} for name, change, level in _levels(verdict)],
        "normal": round(verdict.belief.told("normal"), 4),
        "causes": [
            {
                "cause": one.cause,
                "share": round(one.share, 4),
                "alike": one.alike or None,
                "for": [{"reading": name, "value": a} for name, a in one.for_it],
                "against": [{"reading": name, "value": a} for name, a in one.against],
                "text": cause(one.cause),
            }
            for one in verdict.suspects
        ],
        "next": [
            {
                "reading": test.measure.id,
                "seconds": test.measure.seconds,
                "bits": round(test.bits, 3),
                "unit": test.measure.unit,
                "at": None if test.at is None else round(test.at, 2),
                "above_or_yes": test.between[0 if test.first_is_above else 1],
                "below_or_no": test.between[1 if test.first_is_above else 0],
                "cover_first": BY_ID[test.measure.id].is_unplugged,
            }
            for test in verdict.tests
        ],
    }
