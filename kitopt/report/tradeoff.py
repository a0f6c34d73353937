"""Mass against another quantity: a table, a chart in plain characters, and JSON."""

from __future__ import annotations

from typing import Any

from kitopt.choice import Choice
from kitopt.explain.tradeoff import Point, Tradeoff
from kitopt.files.plain import cut
from kitopt.inventory.items import Extra, Load
from kitopt.report import words
from kitopt.report.document import document
from kitopt.report.letters import drawn
from kitopt.report.lists import listed
from kitopt.report.words import width, wrapped

_ROWS = 10
_LABEL = 9
_NAMES = {"hours": "hours", "confidence": "share of the spells survived", "price": "price"}


def tradeoff_text(choice: Choice, found: Tradeoff) -> str:
    """The kits of which none is beaten in both, as a table and a chart."""
    name = choice.operation.name
    if not found.points:
        lines = wrapped(f"{name}: no kit to compare, at any of the values tried.")
    else:
        lines = wrapped(f"{name}: mass against {_NAMES[found.against]}. Each kit is proved lightest for its value.")
        lines += ["", *_table(found), "", *_chart(found)]
    unpriced = [x for x in choice.inventory.by_id.values() if x.price_cents is None and not isinstance(x, Load | Extra)]
    if found.against == "price" and unpriced:
        lines.append("What has no price is left out of all of them.")
    if found.is_cut_short:
        lines.append("Not every value was settled: the time was up.")
    return "\n".join(lines) + "\n"


def tradeoff_value(choice: Choice, found: Tradeoff) -> dict[str, Any]:
    """The document of the operation as asked, with one more for each kit under ``kits``."""
    kits = [
        {**document(point.choice), "against": found.against, "value": _json_value(found, point)}
        for point in found.points
    ]
    return {**document(choice), "kits": kits, "against": found.against, "cut_short": found.is_cut_short}


def value_text(found: Tradeoff, point: Point) -> str:
    """A point's value with its unit."""
    if found.against == "hours":
        return words.hours(point.value)
    if found.against == "confidence":
        return f"{100 * point.value:.4g} %"
    return words.price(point.value, point.choice.inventory.currency)


def _json_value(found: Tradeoff, point: Point) -> float:
    return point.value / 100 if found.against == "price" else round(point.value, 6)


def _table(found: Tradeoff) -> list[str]:
    values = [value_text(found, point) for point in found.points]
    widest = max(len(text) for text in values)
    lines = []
    for text, point in zip(values, found.points, strict=True):
        owned = point.choice.inventory.by_id
        chosen = [(p.id, p.count) for p in point.choice.packed if not isinstance(owned[p.id], Load | Extra)]
        head = f"{text:>{widest}}  {words.mass(point.choice.mass_g):>8}  "
        lines.append(cut(head + ", ".join(listed(chosen)), width()))
    return lines


def _chart(found: Tradeoff) -> list[str]:
    """A mark for each kit: mass upwards, the other quantity to the right."""
    mark, columns = drawn()[0].hardest, width() - _LABEL - 2
    masses = [point.choice.mass_g for point in found.points]
    values = [point.value for point in found.points]
    low_g, high_g, low, high = min(masses), max(masses), min(values), max(values)
    grid = [[" "] * columns for _ in range(_ROWS + 1)]
    for mass_g, value in zip(masses, values, strict=True):
        row = round(_ROWS * (mass_g - low_g) / max(1, high_g - low_g))
        column = round((columns - 1) * (value - low) / max(1e-9, high - low))
        grid[_ROWS - row][column] = mark
    lines = []
    for i, cells in enumerate(grid):
        label = words.mass(high_g) if i == 0 else words.mass(low_g) if i == _ROWS else ""
        lines.append(f"{label:>{_LABEL}} |{''.join(cells)}".rstrip())
    lines.append(f"{'':>{_LABEL}} +{'-' * columns}")
    left, right = value_text(found, found.points[0]), value_text(found, found.points[-1])
    room = max(1, columns - len(left) - len(right))
    ends = f"{left}{' ' * room}{right}" if len(found.points) > 1 else left
    lines.append(f"{'':>{_LABEL}}  {ends}")
    return lines
