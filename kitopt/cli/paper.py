"""What is written beside the answer: the page. Checked before any long work, written when there is a kit."""

from __future__ import annotations

from dataclasses import dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitopt.budget import Budget
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.files.writing import check_target, write_file

if TYPE_CHECKING:
    from kitopt.cli.answering import Told

PAGES = (".html", ".htm")


@dataclass(frozen=True)
class Paper:
    """Where to write; None where nothing is wanted.

    Attributes
    ----------
    is_asking : bool
        Whether questions may be asked again for the page's table of hours and chances.
    """

    page: Path | None = None
    is_asking: bool = False

    def check(self) -> None:
        """Refuse what cannot be written, or is no page.

        Raises
        ------
        BadInput
        """
        if self.page is None:
            return
        if self.page.suffix.lower() not in PAGES:
            text = f'found "{self.page}", need a name that ends in .html: what is there is replaced.'
            raise BadInput([Fault("--page", None, None, text)])
        check_target(self.page, may_replace=True)

    def write(self, found: Told, clock: Budget) -> None:
        """Write what is wanted of a result.

        Raises
        ------
        BadInput
            If it cannot be written.
        """
        if self.page is None:
            return
        result: Any = found
        text = result.to_page(is_asking=self.is_asking, clock=clock)
        if text is None:
            say("No page: there is no kit to hold.")
        else:
            write_file(self.page, text, may_replace=True)


NO_PAPER = Paper()
