"""A load in a circuit of its own: what that saves, in words and as JSON."""

from __future__ import annotations

from typing import Any

from kitopt.choice import Choice
from kitopt.explain.split import Split
from kitopt.report import words
from kitopt.report.encode import pieces
from kitopt.report.lists import counted, listed
from kitopt.report.reasons import BETTER, amount, worse
from kitopt.report.words import wrapped


def split_section(choice: Choice, found: Split | None) -> list[str]:
    """A headline and a sentence; nothing where no peak rules most batteries out."""
    if found is None:
        return []
    return ["One load's peak", *wrapped(f"{split_text(choice, found)}.", "- ")]


def split_text(choice: Choice, found: Split) -> str:
    """What the peak keeps out, and what a circuit of its own brings."""
    out = ", ".join(found.kept_out[:3])
    more = len(found.kept_out) - 3
    out += f" and {more} more" if more > 0 else ""
    said = f"with {found.id} all draw {found.peak_a:.1f} A, which {out} cannot give; in a circuit of its own"
    if found.status == "time-limit":
        return f"{said}: not known ({counted(1, 'solve')})"
    if found.status == "no-kit":
        return f"{said} no kit does it either ({counted(1, 'solve')})"
    moves = [
        f"{word}: {', '.join(listed(some))}" for word, some in (("in", found.instead), ("out", found.gone)) if some
    ]
    if found.less is None:
        assert found.mass_g is not None
        return f'{said} (circuit = "{found.id}") a kit of {words.mass(found.mass_g)} does it ({"; ".join(moves)})'
    if found.less <= 0:
        how = "as good as together" if found.less == 0 else worse(choice, -found.less)
        return f"{said}: {how}, so it saves nothing"
    better = f"{amount(choice, found.less)} {BETTER[choice.operation.least]}"
    return f'{said} (circuit = "{found.id}"): {better} ({"; ".join(moves)})'


def split_value(choice: Choice, found: Split) -> dict[str, Any]:
    """The same as JSON."""
    is_price = choice.operation.least == "price" and found.less is not None
    return {
        "status": found.status,
        "id": found.id,
        "peak_a": round(found.peak_a, 3),
        "kept_out": list(found.kept_out),
        "less": found.less / 100 if is_price and found.less is not None else found.less,
        "mass_g": found.mass_g,
        "instead": pieces(found.instead),
        "without": pieces(found.gone),
        "text": f"{split_text(choice, found)}.",
    }
