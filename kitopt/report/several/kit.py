"""One kit of several: how it is wired, fused and swapped, and its balance of charge."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.explain.balance import balance
from kitopt.report.in_brief import starts, survives
from kitopt.report.lists import fact
from kitopt.report.text import balance_text
from kitopt.report.wiring import wiring


def kit_section(choice: Choice) -> list[str]:
    """What `kitopt pack` says of a kit below its list."""
    found = balance(choice)
    said = fact("Balance", balance_text(choice, found)) if found is not None else []
    return [*wiring(choice), *said]


def fares(choice: Choice) -> str:
    """How full the batteries are at the start where they are not full, and what is survived."""
    return f"{starts(choice)}{survives(choice)}"
