"""One plan's answer as a row: what kind each column is, and what it holds."""

from __future__ import annotations

from dataclasses import dataclass, fields
from typing import Literal

RowStatus = Literal["found", "no-kit", "fault"]


@dataclass(frozen=True)
class Row:
    """The answer to one plan; the first five columns are its key.

    Attributes
    ----------
    site, date, pattern, inventory, asked : str
        What was asked; `asked` is "" for the best kit, else the kit that was judged, "one change" for the change that
        makes it work, or "with ID" for the best with a piece of the catalogue.
    fingerprint : str
        Of all that the answer depends on.
    status : {"found", "no-kit", "fault"}
        Whether a kit passes, none does, or the plan cannot be answered.
    chance : float or None
        Share of unseen windows that the kit survives; None without such windows or kit. [0–1]
    margin_wh : float or None
        Of the hardest window that is survived; where none passes, by how much the strongest falls short, negative. [Wh]
    hardest : str or None
        When that is, on the clock of the place.
    kit : str
        What is packed but for loads and extras, which go along; where none passes, the strongest.
    mass_g, price_cents : int or None
        Of the whole kit that passes; the price of what has one. [g], [1/100]
    lacks : str
        Why none passes; of one change, what it is and what it brings.
    fault : str
        Why it cannot be answered.
    """

    site: str
    date: str
    pattern: str
    inventory: str
    asked: str
    fingerprint: str
    status: RowStatus
    chance: float | None = None
    tried: int = 0
    survived: int = 0
    margin_wh: float | None = None
    hardest: str | None = None
    kit: str = ""
    mass_g: int | None = None
    price_cents: int | None = None
    need_wh: float | None = None
    lacks: str = ""
    fault: str = ""

    @property
    def key(self) -> tuple[str, ...]:
        """What tells it from others, and orders it among them."""
        return (self.site, self.date, self.pattern, self.inventory, self.asked)

    @property
    def passes(self) -> bool:
        """Whether a kit passes."""
        return self.status == "found"


COLUMNS = tuple(one.name for one in fields(Row))
"""Names of the columns, in order."""
