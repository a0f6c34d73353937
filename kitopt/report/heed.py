"""What is to be heeded: the gravest in a line each beside the answer, all of it in whole sentences at the end."""

from __future__ import annotations

from collections.abc import Iterable, Sequence

from kitopt.choice import Choice
from kitopt.explain import Caution, cautions
from kitopt.report.ruled_out import ruled_out_section
from kitopt.report.words import wrapped

MOST_LINES = 3
PASSED = "no-rule-failed"
"""The word of warning that closes every answer."""

_WORDS = {"warn": "", "ask": "find out: "}


def to_heed(choice: Choice) -> list[Caution]:
    """What must be heeded or found out of a kit, the gravest first; what the files are asked has been said before."""
    return [one for one in cautions(choice) if one.level != "block" and one.rule not in ("file", PASSED)]


def heed_section(choice: Choice, where: str) -> list[str]:
    """The gravest, a line each, and how many more there are.

    Parameters
    ----------
    where : str
        Where the others are told, such as "all of it below".
    """
    found = to_heed(choice)
    if not found:
        return []
    left = len(found) - MOST_LINES
    lines = [f"Heed (and {left} more: {where})" if left > 0 else "Heed"]
    for one in found[:MOST_LINES]:
        lines += wrapped(f"{_WORDS[one.level]}{one.line}", "- ")
    return lines


def cautions_section(choice: Choice, *, with_blocks: bool = True) -> list[str]:
    """All that is to be heeded and found out in whole sentences and, where nothing fits together, what rules say no."""
    if choice.circuits:
        return all_cautions(choice.parts)
    found = [one for one in cautions(choice) if one.rule != "file"]
    lines: list[str] = []
    if with_blocks and any(one.level == "block" for one in found):
        lines += [*ruled_out_section(choice), ""]
    lines.append("All that is to be heeded")
    for one in found:
        if one.level != "block":
            lines += wrapped(f"{_WORDS[one.level]}{one.text}", "- ")
    return lines


def all_cautions(choices: Iterable[Choice]) -> list[str]:
    """What is to be heeded of any of some kits, each said once, with the names of those that it is about."""
    every = list(choices)
    about: dict[Caution, list[str]] = {}
    for choice in every:
        for one in (*to_heed(choice), *closing(choice)):
            names = about.setdefault(one, [])
            if choice.operation.name not in names:
                names.append(choice.operation.name)
    if not about:
        return []
    n_names = len({choice.operation.name for choice in every})
    lines = ["All that is to be heeded"]
    for one, names in sorted(about.items(), key=lambda entry: entry[0].rule == PASSED):
        whose = f"{', '.join(names)}: " if one.rule != PASSED and len(names) < n_names else ""
        lines += wrapped(f"{_WORDS[one.level]}{whose}{one.text}", "- ")
    return lines


def closing(choice: Choice) -> Sequence[Caution]:
    """The word of warning that comes last."""
    return [one for one in cautions(choice) if one.rule == PASSED]


def closing_line(choice: Choice) -> list[str]:
    """The same where there is no room for more."""
    return [line for one in closing(choice) for line in wrapped(f"{one.line}.")]
