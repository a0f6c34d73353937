"""What is written beside the answer: page, sheet, or all of it in a folder.

Targets are checked before any long work and written when there is a kit.
"""

from __future__ import annotations

from dataclasses import dataclass
from importlib.util import find_spec
from pathlib import Path
from typing import TYPE_CHECKING, Any, Literal

from kitopt.budget import Budget
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.files.writing import check_folder, check_target, write_file, write_folder

if TYPE_CHECKING:
    from kitopt.cli.answering import Told
    from kitopt.interface.hold import Held

PAPERS: dict[str, Literal["a4", "us-letter"]] = {"a4": "a4", "letter": "us-letter"}
_NAMES = ("kit.html", "kit.json", "checklist.csv", "kit.pdf")
"""Of what a folder holds."""
_REPLACED = "warning: the sheet shows ? for letters that no font here has."


@dataclass(frozen=True)
class Paper:
    """Where to write; None where nothing is wanted.

    Attributes
    ----------
    format : str
        Of the sheet: a4 or letter.
    out : Path or None
        A folder for page, sheet, JSON and checklist.
    is_asking : bool
        Whether questions may be asked again for the table of hours and chances.
    """

    page: Path | None = None
    sheet: Path | None = None
    format: str = "a4"
    out: Path | None = None
    is_asking: bool = False

    @property
    def is_wanted(self) -> bool:
        """Whether anything is to be written."""
        return not self.page is self.sheet is self.out is None

    def check(self) -> None:
        """Refuse what cannot be written, or has another ending than what is written.

        Raises
        ------
        BadInput
        """
        faults = [*_ending_faults("--page", self.page, ".html"), *_ending_faults("--sheet", self.sheet, ".pdf")]
        if self.format not in PAPERS:
            faults.append(Fault("--paper", None, None, f'found "{self.format}", need one of {", ".join(PAPERS)}.'))
        if self.sheet is not None and not _has_setter():
            faults.append(Fault("--sheet", None, None, "the typesetter is missing: pip install 'kitopt[sheet]'."))
        if faults:
            raise BadInput(faults)
        for path in (self.page, self.sheet):
            if path is not None:
                check_target(path, may_replace=True)
        if self.out is not None:
            check_folder(self.out, _NAMES, may_replace=True)

    def write(self, found: Told, clock: Budget) -> None:
        """Write what is wanted of a result.

        Raises
        ------
        BadInput
            If it cannot be written.
        """
        if not self.is_wanted:
            return
        result: Any = found
        # only the page shows the table
        is_asking = self.is_asking and not self.page is self.out is None
        held: Held = result.hold(is_asking=is_asking, clock=clock)
        if not held.kits:
            say("Nothing is written: there is no kit to hold.")
            return
        if self.page is not None:
            write_file(self.page, held.to_page(), may_replace=True)
        if self.sheet is not None:
            write_file(self.sheet, self._set(held), may_replace=True)
        if self.out is not None:
            self._write_all(self.out, found, held)

    def _set(self, held: Held) -> bytes:
        pdf, is_replaced = held.to_sheet(PAPERS[self.format])
        if is_replaced:
            say(_REPLACED)
        return pdf

    def _write_all(self, folder: Path, found: Told, held: Held) -> None:
        from kitopt.report.encode import as_json

        page, document, checklist, sheet = _NAMES
        contents: dict[str, str | bytes] = {
            page: held.to_page(),
            document: as_json(found.to_dict()),
            checklist: held.to_csv(),
        }
        if _has_setter():
            contents[sheet] = self._set(held)
        else:
            say("No sheet: the typesetter is missing: pip install 'kitopt[sheet]'.")
        write_folder(folder, contents, may_replace=True)


def check_written(option: str, path: Path, ending: str) -> None:
    """Refuse a file that cannot be written, or has another ending than what is written.

    Raises
    ------
    BadInput
    """
    faults = _ending_faults(option, path, ending)
    if faults:
        raise BadInput(faults)
    check_target(path, may_replace=True)


def _ending_faults(option: str, path: Path | None, ending: str) -> list[Fault]:
    if path is None or path.suffix.lower() == ending:
        return []
    return [Fault(option, None, None, f'found "{path}", need a name that ends in {ending}: what is there is replaced.')]


def _has_setter() -> bool:
    return find_spec("typst") is not None


NO_PAPER = Paper()
