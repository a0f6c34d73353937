"""``kitopt pack --against``."""

from __future__ import annotations

from typing import TYPE_CHECKING, cast

from kitopt.budget import Budget
from kitopt.errors import BadInput, Fault

if TYPE_CHECKING:
    from kitopt.choice import Choice
    from kitopt.explain.tradeoff import Against

WHAT = ("hours", "confidence", "price")


def check_against_what(against: str | None) -> None:
    """Refuse what mass cannot be weighed against.

    Raises
    ------
    BadInput
    """
    if against is not None and against not in WHAT:
        text = f'found "{against}", need one of {", ".join(WHAT)}.'
        raise BadInput([Fault("--against", None, None, text)])


def trade(choice: Choice, against: str, budget: Budget, *, is_json: bool) -> str:
    """Weigh mass against a quantity and word it."""
    from kitopt.explain.tradeoff import tradeoff
    from kitopt.report.document import as_json
    from kitopt.report.tradeoff import tradeoff_text, tradeoff_value
    from kitopt.sky import windows_for

    what = cast("Against", against)
    found = tradeoff(choice, what, sky_of=windows_for, budget=budget)
    return as_json(tradeoff_value(choice, found)) if is_json else tradeoff_text(choice, found)
