"""Two pictures of one kit, each with a sentence that says the same: charge over time, power in and out by the hour."""

from __future__ import annotations

from collections.abc import Callable, Iterable, Sequence
from datetime import timedelta

from kitopt.choice.terms import Floats
from kitopt.explain.balance import balance
from kitopt.facts.carried import Carried
from kitopt.operation.clock import moment_after
from kitopt.operation.terms import Operation
from kitopt.report.page.html import Markup, el
from kitopt.report.text import balance_text
from kitopt.report.words import moment

WIDTH, HEIGHT = 360.0, 210.0
_LEFT, _RIGHT, _TOP, _BOTTOM = 34.0, 8.0, 26.0, 40.0
_BOX = f"0 0 {WIDTH:g} {HEIGHT:g}"

_SAME_AH = 0.05
"""Spells that lie no further apart are one line."""

Scale = Callable[[float], float]


Key = list[tuple[str, str]]
"""What each class of line or area means."""

PRINTED = (
    "text { font: 12px 'Libertinus Serif' } .left, .unit { text-anchor: end } .below { text-anchor: middle } "
    ".tick { stroke: #888; stroke-width: .5; stroke-dasharray: 2 4 } .axis { stroke: #000 } .band { fill: #ddd } "
    ".edge, .middle, .hardest, .held { fill: none; stroke: #000 } .edge { stroke-width: .6 } "
    ".middle { stroke-width: 1.2 } .hardest { stroke-width: 2.6 } .held { stroke-width: 1.6; stroke-dasharray: 7 4 }"
)
"""Style of a picture on paper; on the page its style sheet has it."""


def charge_chart(one: Carried) -> Markup:
    """The band of all spells, the median, the hardest survived and what is held back, over the nights."""
    shapes, key = _charge(one)
    return _figure(one, shapes, charge_in_words(one), key)


def charge_on_paper(one: Carried) -> tuple[str, str]:
    """The same as a drawing that is whole by itself, and its key in words."""
    shapes, key = _charge(one)
    drawing = el("svg", el("style", PRINTED), shapes, xmlns="http://www.w3.org/2000/svg", viewBox=_BOX)
    signs = {"middle": "thin", "band": "grey", "edge": "thinnest", "hardest": "thick", "held": "dashed"}
    told = [f"{signs[class_]}: {words}" for class_, words in key]
    return drawing, "; ".join([*told, "bar: night"] if len(one.charge.nights_h) else told) + "."


def _charge(one: Carried) -> tuple[list[Markup], Key]:
    charge, hours = one.charge, one.choice.operation.hours
    least, low, middle, high, most = charge.quantiles_ah
    top_ah = min(charge.full_ah, 1.15 * float(most.max()))
    x, y, frame = _frame(one, hours, top_ah, "Ah")
    at = charge.at_h
    band = _points(x, y, [*at, *at[::-1]], [*high, *low[::-1]])
    lines = [
        el("polygon", points=band, class_="band"),
        *(el("polyline", points=_points(x, y, at, edge), class_="edge") for edge in (least, most)),
        el("polyline", points=_points(x, y, at, charge.held_ah), class_="held"),
        el("polyline", points=_points(x, y, at, middle), class_="middle"),
    ]
    if charge.hardest_ah is not None:
        lines.append(el("polyline", points=_points(x, y, at, charge.hardest_ah), class_="hardest"))
    key: Key = [
        ("middle", "half of all spells have more"),
        ("band", "9 in 10 spells"),
        ("edge", "best and worst spell"),
    ]
    if charge.hardest_ah is not None and float((most - least).max()) < _SAME_AH:
        key = []
    key += [] if charge.hardest_ah is None else [("hardest", "hardest spell survived")]
    key += [("held", "held back: reserve and cold")]
    return frame + lines, key


def charge_in_words(one: Carried) -> str:
    """What the picture of charge shows."""
    charge = one.charge
    _, low, middle, high, _ = charge.quantiles_ah
    text = f"Charge above the depth that is never used: {middle[0]:.1f} of {charge.full_ah:.1f} Ah at the start"
    text += f", {middle[-1]:.1f} at the end in the median spell, {low[-1]:.1f} to {high[-1]:.1f} in 9 of 10."
    found = balance(one.choice)
    return text if found is None else f"{text} Balance: {balance_text(one.choice, found)}"


def power_chart(one: Carried) -> Markup:
    """Bars of the sun's power with what 9 spells in 10 bring, and the steps of what is drawn."""
    power, hours = one.power, one.choice.operation.hours
    low, middle, high = power.in_w
    most = max(float(high.max(initial=0.0)), float(power.out_w.max(initial=0.0)), 1.0)
    x, y, frame = _frame(one, hours, most, "W")
    edges = [min(n * power.every_h, hours) for n in range(len(middle) + 1)]
    shapes: list[Markup] = []
    for n, value in enumerate(middle):
        left, right = x(edges[n]), x(edges[n + 1])
        if high[n] > 0.005 * most:
            wide = max(right - left - 1.5, 0.6)
            shapes.append(_rect(left + 0.75, y(float(value)), wide, y(0.0) - y(float(value)), "sun"))
            centre = f"{(left + right) / 2:.1f}"
            shapes.append(
                el("line", x1=centre, x2=centre, y1=_n(y(float(low[n]))), y2=_n(y(float(high[n]))), class_="spread")
            )
    steps = [(x(edges[n + k]), y(float(value))) for n, value in enumerate(power.out_w) for k in (0, 1)]
    shapes.append(el("polyline", points=" ".join(f"{a:.1f},{b:.1f}" for a, b in steps), class_="drawn"))
    key = [("drawn", "drawn by the loads")]
    if high.any():
        key = [("sun", "from the sun, median spell"), ("spread", "9 in 10 spells"), *key]
    return _figure(one, frame + shapes, power_in_words(one), key)


def power_in_words(one: Carried) -> str:
    """What the picture of power shows."""
    power, operation = one.power, one.choice.operation
    t, best = int(power.out_w.argmax()), int(power.in_w[1].argmax())

    def at(n: int) -> str:
        return moment(moment_after(operation, timedelta(hours=float(n * power.every_h))))

    low, high = (f"{value:.1f}" for value in (power.out_w.min(), power.out_w.max()))
    text = f"Drawn: {high} W throughout." if low == high else f"Drawn: {low} to {high} W, most from {at(t)} on."
    if power.in_w[1].max(initial=0.0) > 0.0:
        low, middle, high = power.in_w[:, best]
        text += (
            f" From the sun at best {middle:.1f} W in the median spell, from {at(best)} on; {low:.1f} to {high:.1f} "
        )
        text += "in 9 of 10."
    return text


def _frame(one: Carried, hours: float, most: float, unit: str) -> tuple[Scale, Scale, list[Markup]]:
    """Scales, and the axes with their labels; the nights are a dark bar beneath."""
    wide, high = WIDTH - _LEFT - _RIGHT, HEIGHT - _TOP - _BOTTOM

    def x(at_h: float) -> float:
        return _LEFT + wide * at_h / hours

    def y(value: float) -> float:
        return _TOP + high * (1.0 - value / most)

    parts = [el("text", unit, x=_n(_LEFT - 4), y=_n(_TOP - 13), class_="unit")]
    for tick in _ticks(most):
        parts.append(el("line", x1=_n(_LEFT), x2=_n(WIDTH - _RIGHT), y1=_n(y(tick)), y2=_n(y(tick)), class_="tick"))
        parts.append(el("text", f"{tick:g}", x=_n(_LEFT - 4), y=_n(y(tick) + 4), class_="left"))
    floor = y(0.0)
    for before, after in one.charge.nights_h:
        parts.append(_rect(x(before), floor + 2, x(after) - x(before), 5, "night"))
    for at_h, label in _clock(one.choice.operation):
        parts.append(el("line", x1=_n(x(at_h)), x2=_n(x(at_h)), y1=_n(floor), y2=_n(floor + 9), class_="axis"))
        where = "below" if x(at_h) < WIDTH - 18.0 else "left"
        parts.append(el("text", label, x=_n(x(at_h) if where == "below" else WIDTH), y=_n(floor + 21), class_=where))
    parts.append(el("line", x1=_n(_LEFT), x2=_n(WIDTH - _RIGHT), y1=_n(floor), y2=_n(floor), class_="axis"))
    return x, y, parts


def _figure(one: Carried, shapes: Iterable[Markup], words: str, key: Sequence[tuple[str, str]]) -> Markup:
    drawing = el("svg", list(shapes), viewBox=_BOX, role="img", aria_label=words)
    entries = [el("li", _sample(class_), text) for class_, text in key]
    if len(one.charge.nights_h):
        entries.append(el("li", _sample("night"), "night"))
    return el("figure", drawing, el("ul", entries, class_="key"), el("figcaption", words))


def _sample(class_: str) -> Markup:
    box = class_ in ("band", "sun", "night")
    shape = (
        _rect(1, 3, 26, 5 if class_ == "night" else 8, class_)
        if box
        else el("line", x1=1, x2=27, y1=7, y2=7, class_=class_)
    )
    return el("svg", shape, viewBox="0 0 28 14", class_="sample", aria_hidden="true")


def _rect(left: float, top: float, wide: float, high: float, class_: str) -> Markup:
    return el("rect", x=_n(left), y=_n(top), width=_n(wide), height=_n(max(high, 0.0)), class_=class_)


def _points(x: Scale, y: Scale, at: Sequence[float] | Floats, values: Sequence[float] | Floats) -> str:
    return " ".join(f"{_n(x(float(a)))},{_n(y(float(b)))}" for a, b in zip(at, values, strict=True))


def _n(value: float) -> str:
    return f"{value:.1f}".removesuffix(".0")


def _ticks(most: float) -> list[float]:
    """Round values from 0 up, three to six of them."""
    for scale in (10.0**n for n in range(-2, 6)):
        for base in (1.0, 2.0, 5.0):
            if most / (base * scale) <= 5.0:
                n = int(most / (base * scale) + 1e-9)
                return [round(k * base * scale, 6) for k in range(n + 1)]
    return [0.0]


def _clock(operation: Operation) -> list[tuple[float, str]]:
    """Round times of the clock and how they are written: hours for a day or two, else days."""
    start = operation.start.astimezone(operation.site.timezone)
    begins_h = start.hour + start.minute / 60 + start.second / 3600
    every_h = next((one for one in (1, 2, 3, 6, 12, 24, 48, 96, 192) if operation.hours / one <= 7), 384)
    found = []
    clock_h = every_h * -(-begins_h // every_h)
    while clock_h - begins_h <= operation.hours + 1e-9:
        at = moment_after(operation, timedelta(hours=clock_h - begins_h))
        label = moment(at)[:3] if every_h >= 24 else f"{at:%H:%M}"
        found.append((clock_h - begins_h, label))
        clock_h += every_h
    return found
