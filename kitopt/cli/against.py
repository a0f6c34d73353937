"""``kitopt pack --against``."""

from __future__ import annotations

from dataclasses import dataclass
from typing import TYPE_CHECKING, Any, cast

from kitopt.budget import Budget
from kitopt.errors import BadInput, Fault

if TYPE_CHECKING:
    from kitopt.choice import Choice, Status
    from kitopt.explain.tradeoff import Against, Tradeoff
    from kitopt.interface.result import Result

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


@dataclass(frozen=True, eq=False)
class Traded:
    """Kits of which none is beaten in both mass and another quantity."""

    choice: Choice
    found: Tradeoff

    @property
    def status(self) -> Status:
        """That of the best kit."""
        return self.choice.status

    def to_dict(self) -> dict[str, Any]:
        """As JSON."""
        from kitopt.report.tradeoff import tradeoff_value

        return tradeoff_value(self.choice, self.found)

    def to_text(self, *, is_brief: bool = False) -> str:
        """In words."""
        from kitopt.report.tradeoff import tradeoff_text

        return tradeoff_text(self.choice, self.found)


def trade(result: Result, against: str, budget: Budget) -> Traded:
    """Weigh mass against a quantity."""
    from kitopt.choice import Choice
    from kitopt.explain.tradeoff import tradeoff
    from kitopt.sky import windows_for

    assert isinstance(result.answer, Choice)
    return Traded(result.answer, tradeoff(result.answer, cast("Against", against), sky_of=windows_for, budget=budget))
