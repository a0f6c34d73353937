"""The page's part for the field: amperes to expect, swaps, trip-wires, chances, the state now and readings."""

from __future__ import annotations

import math
from collections.abc import Iterable
from datetime import datetime, timedelta

from kitopt.facts.amperes import way_of
from kitopt.facts.carried import Carried
from kitopt.inventory.columns import columns_of
from kitopt.inventory.items import Battery
from kitopt.inventory.rows import ReadingRow
from kitopt.operation.clock import hours_to, moment_after
from kitopt.report.aim import aim_text
from kitopt.report.field.now import action_text, at_most_ah, change_text, instead_of_wires, out_less_in
from kitopt.report.field.two_minutes import test_steps
from kitopt.report.field.wording import of_spells
from kitopt.report.lists import counted
from kitopt.report.page.html import Inside, Markup, data, el, name, table
from kitopt.report.wiring import Swaps
from kitopt.report.words import moment, percent
from kitopt.sky.overhead import SKIES

_DAY_H = 24.0
_WAYS = {"flat": "flat on the ground", "facing": "facing the sun"}


def _when(one: Carried, hours: float) -> datetime:
    return moment_after(one.choice.operation, timedelta(hours=hours))


def _times(one: Carried, hours: Iterable[float]) -> list[Inside]:
    """Moments one beneath the other: the day where it is another than above."""
    found: list[Inside] = []
    day = ""
    for at in hours:
        date, _, clock = moment(_when(one, float(at))).rpartition(" ")
        found.append(clock if date == day else [el("span", date, class_="day"), " ", clock])
        day = date
    return found


def amperes_section(one: Carried, of: str) -> Markup | None:
    """Amperes of each panel by the hour of the first day, under each sky."""
    found = one.amperes
    if not found.outlooks:
        return None
    rows = [i for i, at in enumerate(found.at_h) if at <= _DAY_H and found.high_deg[i] > 0.0]
    parts: list[Inside] = [el("h2", f"Amperes to expect{of}")]
    aimed = aim_text(one.choice)
    parts.append(el("p", f"Aim: {aimed}") if aimed else None)
    for panel in found.outlooks:
        way = way_of(one.choice, panel.reach.panel)
        parts.append(
            table(
                f"Amperes of {panel.reach.panel.id} on {panel.reach.controller.id}, one panel, {_WAYS[way]}",
                ("At", "Sun high, from", *SKIES),
                [
                    (
                        time,
                        f"{found.high_deg[i]:.0f}°, {found.azimuth_deg[i]:.0f}°",
                        *(f"{panel.amps[sky, way][i]:.2f}" for sky in SKIES),
                    )
                    for time, i in zip(_times(one, found.at_h[rows]), rows, strict=True)
                ],
                "figures hourly",
            )
        )
        parts.append(
            el("p", f"Nine readings in ten lie within {panel.low_share:.2f} to {panel.high_share:.2f} times that.")
        )
    if one.choice.operation.hours > 1.5 * _DAY_H:
        parts.append(el("p", "The days after are much alike."))
    return el("section", parts, class_="amperes")


def swaps_section(one: Carried, swaps: Swaps, of: str) -> Markup:
    """Swaps, trip-wires, what to switch off in which order, and the chance to last by charge and time."""
    now = one.now
    parts: list[Inside] = [el("h2", f"Swaps and trip-wires{of}")]
    drill, spells = swaps
    parts.append(el("p", drill) if drill else None)
    for which, changes in spells:
        told = [
            (moment(swap.time), swap.on, f"{swap.off} (full)" if swap.is_full else swap.off, f"{swap.out_ah:.1f}")
            for swap in changes
        ]
        said = f"Swaps, {which[0].lower()}{which[1:]}"
        heads = ("At", "On", "Off", "Ah out")
        parts.append(table(said, heads, told, "figures worded") if told else el("p", f"{said}: none."))
    if instead := instead_of_wires(now):
        parts.append(el("p", instead))
    elif now.wires:
        times = _times(one, [hours_to(one.choice.operation, wire.time) for wire in now.wires])
        rows = [
            (time, out_less_in(at_most_ah(wire.used_at_most_ah))) for time, wire in zip(times, now.wires, strict=True)
        ]
        parts.append(table("Ah out less Ah in since the start, at the most", ("At", "Ah"), rows, "figures"))
        parts.append(el("p", f"If more were used: {action_text(now)}, at once."))
    saved = saved_by(one)
    parts.append(el("h3", f"What to switch off, in this order{of}"))
    parts.append(table("Each saves over the whole", ("Change", "Ah"), saved, "figures worded"))
    chances = one.chances
    head = ("At", *(f"{ah:.1f} Ah" for ah in chances.left_ah))
    chance_rows = [
        (time, *(_share(float(share)) for share in row))
        for time, row in zip(_times(one, chances.at_h), chances.chance, strict=True)
    ]
    parts.append(el("h3", f"Chance to last from there to the end, by what is left{of}"))
    parts.append(
        table("Ah left above the depth that is never used, loads as planned", head, chance_rows, "figures chance")
    )
    used = [
        (time, out_less_in(half), out_less_in(most))
        for time, half, most in zip(_times(one, chances.at_h), *chances.used_ah, strict=True)
    ]
    parts.append(el("h3", f"Ah out less Ah in, as it should go{of}"))
    parts.append(table("Since the start", ("At", "half of all spells, at most", "19 of 20, at most"), used, "figures"))
    return el("section", parts, class_="trip")


def saved_by(one: Carried) -> list[tuple[str, str]]:
    """Each load used otherwise, and the ampere-hours that it saves."""
    ways = one.spells.otherwise
    return [(change_text(one.now.operation, way.change), f"{one.spells.saved_wh(way) / one.volts:.1f}") for way in ways]


def _share(share: float) -> str:
    return "all" if share >= 1.0 else "none" if share <= 0.0 else of_spells(share)


def now_section(one: Carried, own: str, of: str) -> Markup:
    """The state now: a form that script fills with life, and what it computes from."""
    operation = one.choice.operation
    start = operation.start.astimezone(operation.site.timezone)
    uses = []
    for i, use in enumerate(operation.loads):
        ways = [
            (n, change_text(operation, way.change))
            for n, way in enumerate(one.spells.otherwise)
            if way.change.place == i
        ]
        options = [el("option", "as planned", value=""), *(el("option", text, value=str(n)) for n, text in ways)]
        at = f"{own}-use-{i}"
        uses.append(el("p", el("label", name(use.id), for_=at), el("select", options, class_="use", id=at)))
    form = el(
        "form",
        el(
            "p",
            el("label", "Used, or left", for_=f"{own}-amount"),
            el("input", id=f"{own}-amount", name="amount", inputmode="decimal", autocomplete="off"),
        ),
        el(
            "p",
            el("label", "which is", for_=f"{own}-unit"),
            el(
                "select",
                el("option", "Ah out less Ah in since the start", value="used"),
                el("option", "% left, by a gauge", value="share"),
                id=f"{own}-unit",
                name="unit",
            ),
        ),
        _time(own, "now", start),
        el("fieldset", el("legend", "From now on"), uses),
        el("p", el("button", "Does it last?", type="submit")),
        el("div", class_="answer", role="status"),
        class_="now",
        hidden=True,
    )
    n, n_all = one.spells.n, one.spells.n_all
    carried = f"{n:,} of {n_all:,} spells" if n < n_all else counted(n, "spell")
    return el(
        "section",
        el("h2", f"Now{of}"),
        el("p", f"With script this page reckons with {carried} of weather, offline: what is left and when?"),
        form,
        el("script", data(page_data(one)), type="application/json"),
        class_="field",
    )


def _time(own: str, what: str, start: datetime) -> Markup:
    at = f"{own}-{what}-at"
    value = f"{start:%Y-%m-%dT%H:%M}"
    return el(
        "p",
        el("label", "on the clock there", for_=at),
        el("input", id=at, name="at", type="datetime-local", value=value),
    )


def reading_section(one: Carried, own: str, of: str) -> Markup | None:
    """A reading against what is due, and the two-minute test with its thresholds."""
    outlooks = one.amperes.outlooks
    if not outlooks:
        return None
    operation = one.choice.operation
    start = operation.start.astimezone(operation.site.timezone)

    planned = way_of(one.choice, outlooks[0].reach.panel)

    def picked(label: str, field: str, options: list[tuple[str, str]]) -> Markup:
        inside = [el("option", text, value=value) for value, text in options]
        at = f"{own}-{field}"
        return el("p", el("label", label, for_=at), el("select", inside, id=at, name=field))

    pairs = [(str(n), f"{o.reach.panel.id} on {o.reach.controller.id}") for n, o in enumerate(outlooks)]
    form = el(
        "form",
        picked("Panel", "panel", pairs),
        el(
            "p",
            el("label", "Amperes into the battery, one panel", for_=f"{own}-amps"),
            el("input", id=f"{own}-amps", name="amps", inputmode="decimal", autocomplete="off"),
        ),
        _time(own, "reading", start),
        picked("Sky", "sky", [(sky, sky) for sky in SKIES]),
        picked("It lies", "aim", [(way, _WAYS[way]) for way in sorted(_WAYS, key=lambda way: way != planned)]),
        el("p", el("button", "What is due?", type="submit")),
        el("div", class_="answer", role="status"),
        el("p", class_="kept"),
        el("p", el("button", "Save readings.csv", type="button", class_="save", hidden=True)),
        class_="reading",
        hidden=True,
    )
    tests: list[Inside] = []
    for due in one.tests:
        steps, meant = test_steps(due.belief)
        tests += [
            el("h3", f"Two-minute test of {due.reach.panel.id} on {due.reach.controller.id}"),
            el("p", f"As it should be with the sun at its highest, {moment(due.at)}, under a clear sky."),
            el("ol", [el("li", step) for step in steps]),
            el("p", "What it means"),
            el("ul", [el("li", text) for text in meant]),
        ]
    return el("section", el("h2", f"A reading{of}"), form, tests, class_="readings")


def page_data(one: Carried) -> dict[str, object]:
    """All that the page computes from, as plain values."""
    choice = one.choice
    operation = choice.operation
    zone = operation.site.timezone
    start = operation.start.astimezone(zone)
    offsets: list[tuple[float, float]] = []
    for hour in range(math.ceil(operation.hours) + 1):
        offset = _when(one, float(hour)).utcoffset()
        minutes = 0.0 if offset is None else offset.total_seconds() / 60
        if not offsets or offsets[-1][1] != minutes:
            offsets.append((float(hour), minutes))
    n = one.spells.n
    measured_ah = sum(
        p.count * item.measured_ah for p in choice.packed if isinstance(item := choice.inventory.by_id[p.id], Battery)
    )
    outlooks = one.amperes.outlooks
    return {
        **one.spells.as_values(),
        "start": f"{start:%Y-%m-%dT%H:%M}",
        "clock_h": start.hour + start.minute / 60 + start.second / 3600,
        "offsets": offsets,
        "hours": operation.hours,
        "volts": one.volts,
        "measured_ah": round(measured_ah, 4),
        "needed": math.ceil(operation.need.confidence * n),
        "asked": percent(operation.need.confidence),
        "ways": [
            {
                "text": change_text(operation, way.change),
                "place": way.change.place,
                "is_off": way.change.family == "load off",
                "nice": way.is_nice,
                "more_w": way.more_w,
            }
            for way in one.spells.otherwise
        ],
        "panel_h": [round(float(at), 6) for at in one.amperes.at_h] if outlooks else [],
        "panels": [
            {
                "panel": o.reach.panel.id,
                "controller": o.reach.controller.id,
                "worth": o.reach.panel.output_factor,
                "low": round(o.low_share, 4),
                "high": round(o.high_share, 4),
                "amps": {
                    sky: {way: [round(float(a), 3) + 0.0 for a in o.amps[sky, way]] for way in _WAYS} for sky in SKIES
                },
            }
            for o in outlooks
        ],
        "reading_columns": list(columns_of(ReadingRow)),
    }
