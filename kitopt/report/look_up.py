"""What is worth looking up: guesses that decide, in words and as JSON."""

from __future__ import annotations

from typing import Any

from kitopt.choice import Choice
from kitopt.explain.look_up import MOST_SOLVES, LookUp, Threshold
from kitopt.explain.without import Pieces
from kitopt.report import words
from kitopt.report.encode import pieces
from kitopt.report.lists import counted, listed
from kitopt.report.reasons import BETTER, amount, worse
from kitopt.report.words import wrapped

_UNITS = {"a": "A", "ah": "Ah", "v": "V", "w": "W", "ma": "mA", "mohm": "milliohms", "degc": "°C", "mm2": "mm²"}


def look_up_section(choice: Choice, found: LookUp) -> list[str]:
    """One line for each guess that decides, and how many were asked about; nothing where nothing was guessed."""
    if not found.n_guesses:
        return []
    lines = ["Look up what decides (guesses, held to what is usual)"]
    for one in found.thresholds:
        lines += wrapped(f"{threshold_text(choice, one)}.", "- ")
    tried = f"{found.n_guesses:,} asked about, {counted(found.n_solves, 'solve')}"
    if found.is_cut_short:
        lines += wrapped(f"Some were left out: no more than {MOST_SOLVES} solves are made for them ({tried}).")
    elif not found.thresholds:
        lines += wrapped(f"- none of them: the answer stays the same ({tried}).")
    return lines


def threshold_text(choice: Choice, one: Threshold) -> str:
    """One guess in words, such as "max_charge_a of b20, taken as 4 A: at 6.1 A or more p100 comes in, 1 g lighter"."""
    unit = _unit(one.column)
    taken = one.guess.value if one.column == one.guess.column else f"{one.guess.column} {one.guess.value}"
    said = f"{one.column} of {one.guess.id}, taken as {taken}{unit if one.column == one.guess.column else ''}"
    if isinstance(one.at, bool):
        at = "if yes" if one.at else "if no"
    else:
        at = f"at {one.at:.4g}{unit} or {'more' if one.is_above else 'less'}"
    return f"{said}: {at} {_answer(choice, one)}"


def _answer(choice: Choice, one: Threshold) -> str:
    if one.objective is None:
        return "no kit works"
    moves = [f"{', '.join(listed(one.instead))} come{_s(one.instead)} in"] if one.instead else []
    moves += [f"{', '.join(listed(one.gone))} stay{_s(one.gone)} home"] if one.gone else []
    change = " and ".join(moves)
    if choice.proof.objective is None:
        return f"a kit works, {words.mass(one.mass_g or 0)}"
    more = one.objective - round(choice.proof.objective)
    how = worse(choice, more) if more > 0 else f"{amount(choice, -more)} {BETTER[choice.operation.least]}"
    return f"{change}, {how}" if change else how


def _s(some: Pieces) -> str:
    """The ending of what one thing does."""
    return "s" if len(some) == 1 and some[0][1] == 1 else ""


def _unit(column: str) -> str:
    unit = _UNITS.get(column.rpartition("_")[2], "")
    return f" {unit}" if unit and not column.startswith(("power_per", "voc_per")) else ""


def look_up_value(choice: Choice, found: LookUp) -> dict[str, Any]:
    """The same as JSON."""
    return {
        "guesses": found.n_guesses,
        "solves": found.n_solves,
        "cut_short": found.is_cut_short,
        "thresholds": [
            {
                "file": one.guess.file,
                "id": one.guess.id,
                "column": one.column,
                "assumed": one.guess.value,
                "at": one.at,
                "or": None if isinstance(one.at, bool) else "more" if one.is_above else "less",
                "better": one.towards == "better",
                "mass_g": one.mass_g,
                "instead": pieces(one.instead),
                "without": pieces(one.gone),
                "text": f"{threshold_text(choice, one)}.",
            }
            for one in found.thresholds
        ],
    }
