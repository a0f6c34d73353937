"""What was read from the files and what had to be assumed, in words and as JSON."""

from __future__ import annotations

from typing import Any

from kitopt.explain.caution import Caution
from kitopt.files.plain import cut
from kitopt.inventory.items import ONE_OF, Assumed, Inventory
from kitopt.operation.terms import Climate, NoSun, Operation, Shares, Weather
from kitopt.report import encode, words
from kitopt.report.words import width, wrapped

FILES_NAMED = 10


def reading_document(operation: Operation | None, inventory: Inventory) -> dict[str, Any]:
    """What was read, as JSON."""
    return {
        "status": "read",
        "inventory": {
            "fingerprint": inventory.fingerprint,
            "currency": inventory.currency,
            **{kind: _pieces(inventory, kind) for kind in ONE_OF},
        },
        "operation": None if operation is None else _operation(operation),
        "warnings": [*(() if operation is None else operation.warnings), *inventory.warnings],
        "cautions": encode.caution_values(Caution("ask", str(one), "usual") for one in inventory.unusual),
        "other_files": list(inventory.other_files),
        "assumed": encode.assumed_values(_all_assumed(operation, inventory)),
    }


def _operation(operation: Operation) -> dict[str, Any]:
    return {
        "name": operation.name,
        "start": encode.time(operation.start),
        "hours": operation.hours,
        "weather": _weather(operation.need.weather),
        "confidence": float(operation.need.confidence),
        "least": operation.least,
        "loads": [{"id": use.id, "count": use.count} for use in operation.loads],
    }


def _pieces(inventory: Inventory, kind: str) -> int:
    return sum(item.count for item in getattr(inventory, kind))


def _count(n: int, kind: str) -> str:
    return f"{n:,} {ONE_OF[kind] if n == 1 else kind}"


def _all_assumed(operation: Operation | None, inventory: Inventory) -> list[Assumed]:
    return [*(() if operation is None else operation.assumed), *inventory.assumed]


def _weather(weather: Weather) -> str:
    if isinstance(weather, Climate):
        days = len(weather.forecast)
        return f"climate after {days} {'day' if days == 1 else 'days'} of forecast" if days else "climate"
    if isinstance(weather, NoSun):
        return "no sun"
    if isinstance(weather, Shares):
        return "daily shares of clear sky"
    return weather.path.name


def reading_text(operation: Operation | None, inventory: Inventory) -> str:
    """What was read, in at most 80 columns."""
    lines: list[str] = []
    if operation is not None:
        need = operation.need
        lines += wrapped(
            f"{operation.name}: {words.moment(operation.start)} {operation.start.year} ({operation.site.timezone}), "
            f"{words.hours(operation.hours)}, weather {_weather(need.weather)}, "
            f"{words.percent(need.confidence)} of {need.windows:,} spells, least {operation.least}."
        )
    counts = [_count(_pieces(inventory, kind), kind) for kind in ONE_OF]
    lines += wrapped(f"Inventory {inventory.fingerprint}: {', '.join(counts)}.")
    out = [item.id for item in inventory.by_id.values() if item.out]
    if out:
        lines += wrapped(f"Out, lent or broken: {', '.join(out)}.")
    warnings = [*(() if operation is None else operation.warnings), *inventory.warnings]
    if warnings:
        lines += ["", "Warnings"]
        for warning in warnings:
            lines += wrapped(warning, "- ")
    if inventory.unusual:
        lines += ["", "To be looked up, because it is not usual"]
        for one in inventory.unusual:
            lines += wrapped(f"ask: {one}", "- ")
    if inventory.other_files:
        named = ", ".join(cut(name, 40) for name in inventory.other_files[:FILES_NAMED])
        left = len(inventory.other_files) - FILES_NAMED
        more = f" and {left:,} more" if left > 0 else ""
        lines += ["", *wrapped(f"Other files in the folder, not read: {named}{more}.")]
    everything = _all_assumed(operation, inventory)
    assumed, learned = ([one for one in everything if one.is_learned is told] for told in (False, True))
    if learned:
        lines += ["", "Learned from what was read (kitopt learned)", *_assumed(learned)]
    if not assumed:
        return "\n".join([*lines, "", "Nothing was left blank, so nothing is assumed."]) + "\n"
    lines += ["", f"Assumed, because it was left blank ({len(assumed)}; fill the cell to replace it)"]
    lines += _assumed(assumed)
    return "\n".join(lines) + "\n"


def _assumed(assumed: list[Assumed]) -> list[str]:
    """A table of id, column, value and rule, file by file."""
    rows = [(one.id, one.column, one.value) for one in assumed]
    caps = (18, 20, 10)
    sizes = [min(cap, max(len(row[i]) for row in rows)) for i, cap in enumerate(caps)]
    lines: list[str] = []
    file = None
    for one, row in zip(assumed, rows, strict=True):
        if one.file != file:
            file = one.file
            lines.append(cut(file, width()))
        cells = [f"{cut(text, size):{size}}" for text, size in zip(row, sizes, strict=True)]
        head = "  " + "  ".join(cells) + "  "
        lines += wrapped(one.rule, head, " " * len(head))
    return lines
