"""What the rules keep out of a kit, a line for all that meets the same obstacle."""

from __future__ import annotations

from kitopt.choice import Choice
from kitopt.explain.obstacles import obstacles
from kitopt.report.words import wrapped

MOST_TOLD = 8


def ruled_out_section(choice: Choice) -> list[str]:
    """Nothing where nothing is ruled out."""
    found = obstacles(choice)
    lines = ["Ruled out"] if found else []
    for text in found[:MOST_TOLD]:
        lines += wrapped(text, "- ")
    if len(found) > MOST_TOLD:
        lines.append(f"  and {len(found) - MOST_TOLD} more: kitopt pack --json")
    return lines
