"""A result: what came of a call, as a dict in the format of ``--json``, as text, or as a table.

Each form is loaded when it is asked for, and so is what argues for a kit.
"""

from __future__ import annotations

from collections.abc import Iterator
from dataclasses import dataclass
from functools import cached_property
from typing import TYPE_CHECKING, Any

from kitopt.budget import UNLIMITED, Budget
from kitopt.choice import Choice, Packed, Status
from kitopt.choice.named import NamedKit
from kitopt.choice.purchase import Purchase
from kitopt.choice.sharing import Shared
from kitopt.choice.standing import GrabKit
from kitopt.inventory.items import Inventory

if TYPE_CHECKING:
    import pandas as pd

    from kitopt.explain import Why
    from kitopt.interface.hold import Held

COLUMNS = ("operation", "id", "name", "kind", "count", "mass_g", "price", "total_mass_g", "total_price")
"""Of a table of packed things; masses in grams, prices in the inventory's currency."""


@dataclass(frozen=True, eq=False)
class Result:
    """What came of choosing, sharing, buying or judging.

    Attributes
    ----------
    answer : Choice, NamedKit, GrabKit, Shared or Purchase
        Everything that is known, as values.
    why : Why or None
        What happens without each item, or what would help; None where that was not asked for.
    hours : int or None
        How long a grab-kit lasts, where a mass was given. [h]
    """

    answer: Choice | NamedKit | GrabKit | Shared | Purchase
    why: Why | None = None
    hours: int | None = None

    @cached_property
    def reasons(self) -> Why:
        """What happens without each item, or what would help; empty where that was not asked for."""
        from kitopt.explain import Why

        return self.why or Why()

    @property
    def status(self) -> Status:
        """Possible and proved, impossible, or not known: "found", "no-kit" or "time-limit"."""
        return self.answer.status

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``: plain lists, dicts, numbers and text."""
        from kitopt.report.document import document
        from kitopt.report.named import named_document
        from kitopt.report.several import buy, grab, share

        one = self.answer
        if isinstance(one, Choice):
            return document(one, self.reasons)
        if isinstance(one, NamedKit):
            return named_document(one, self.reasons)
        if isinstance(one, GrabKit):
            return grab.grab_document(one, self.hours)
        return share.share_document(one) if isinstance(one, Shared) else buy.buy_document(one)

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints; in brief the list alone, where there is but one kit."""
        one = self.answer
        if is_brief and isinstance(one, Choice):
            from kitopt.report.in_brief import brief

            return brief(one)
        from kitopt.report.named import named_text
        from kitopt.report.several import buy, grab, share
        from kitopt.report.text import answer

        if isinstance(one, Choice):
            return answer(one, self.reasons)
        if isinstance(one, NamedKit):
            return named_text(one, self.reasons, is_brief=is_brief)
        if isinstance(one, GrabKit):
            return grab.grab_text(one, self.hours)
        return share.share_text(one) if isinstance(one, Shared) else buy.buy_text(one)

    def hold(self, *, is_asking: bool = False, clock: Budget = UNLIMITED) -> Held:
        """Page, sheet and checklist, whole by themselves: ``to_page``, ``to_sheet`` and ``to_csv`` of what is returned.

        Parameters
        ----------
        is_asking : bool
            Whether the table of hours and chances is filled by a few questions more, not only by what follows.
        clock : Budget
            What these may take.
        """
        from kitopt.facts.grid import MOST_SOLVES
        from kitopt.interface.hold import hold

        return hold(self.answer, self.reasons, most_solves=MOST_SOLVES if is_asking else 0, clock=clock)

    def to_frame(self) -> pd.DataFrame:
        """A row for each item of each kit, with the columns of `COLUMNS`.

        Raises
        ------
        ModuleNotFoundError
            Without pandas.
        """
        import pandas as pd

        rows = []
        for operation, inventory, packed in self._kits():
            for one in packed:
                item = inventory.by_id[one.id]
                price = None if item.price_cents is None else item.price_cents / 100
                total = None if price is None else one.count * price
                head = (operation, one.id, item.name, one.kind, one.count)
                rows.append((*head, item.mass_g, price, one.count * item.mass_g, total))
        return pd.DataFrame(rows, columns=list(COLUMNS))

    def _kits(self) -> Iterator[tuple[str, Inventory, tuple[Packed, ...]]]:
        """Each kit with what it is for."""
        one = self.answer
        if isinstance(one, Choice):
            yield one.operation.name, one.inventory, one.packed
        elif isinstance(one, NamedKit):
            yield one.choice.operation.name, one.choice.inventory, one.named
        elif isinstance(one, GrabKit):
            yield one.standing.name, one.inventory, one.packed
        else:
            some = one.choices.values() if isinstance(one, Purchase) else [sheet.choice for sheet in one.sheets]
            for choice in some:
                if choice is not None:
                    yield choice.operation.name, one.inventory, choice.packed
