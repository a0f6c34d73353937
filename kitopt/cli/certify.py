"""``kitopt pack --certificate`` and ``kitopt verify``."""

from __future__ import annotations

from collections.abc import Mapping
from dataclasses import asdict, dataclass
from pathlib import Path
from typing import TYPE_CHECKING, Any

from kitopt.budget import Budget
from kitopt.cli.answering import fit_the_page
from kitopt.cli.options import Options, check_options
from kitopt.cli.paper import check_written
from kitopt.cli.request import VERIFY_SCHEMA, Answer
from kitopt.cli.streams import say
from kitopt.errors import BadInput, Fault
from kitopt.files.writing import write_file
from kitopt.inventory.items import Inventory
from kitopt.operation.force import forced
from kitopt.operation.terms import Operation

if TYPE_CHECKING:
    from kitopt.interface.result import Result

_NOT_RESTATED = ("seconds",)
"""Options that change no question."""


@dataclass(frozen=True)
class Certifying:
    """Where the certificate of a choice is written, and what was typed for it; None where none is wanted."""

    path: Path | None
    options: Options

    def check(self) -> None:
        """Refuse what cannot be written, or has another ending.

        Raises
        ------
        BadInput
        """
        if self.path is not None:
            check_written("--certificate", self.path, ".json")

    def write(self, result: Result, clock: Budget) -> None:
        """Write the certificate of a choice, or say why there is none.

        Raises
        ------
        BadInput
            If it cannot be written.
        """
        if self.path is None:
            return
        from kitopt.budget import OutOfTime
        from kitopt.certificate.issue import NoCertificate, certificate
        from kitopt.choice import Choice
        from kitopt.report.encode import as_json

        assert isinstance(result.answer, Choice)
        typed = {name: text for name, text in asdict(self.options).items() if name not in _NOT_RESTATED}
        try:
            with clock.in_force():
                found = certificate(result.answer, typed, clock)
        except (NoCertificate, OutOfTime) as error:
            why = str(error) if isinstance(error, NoCertificate) else "the time was up"
            say(f"No certificate is written: {why}.")
            return
        write_file(self.path, as_json(found, is_for_eyes=False), may_replace=True)


NOT_CERTIFIED = Certifying(None, Options())


def run_verify(path: Path, *, is_json: bool = False) -> Answer:
    """Make again what a certificate tells, and say that it holds.

    Raises
    ------
    BadInput
        With every difference.
    """
    from kitopt.certificate.verify import verify

    found = verify(path, restated)
    if is_json:
        from kitopt.report.encode import as_json

        return Answer(as_json({"schema": VERIFY_SCHEMA, "status": "holds", **asdict(found)}))
    from kitopt.report.verified import verified_text

    fit_the_page()
    return Answer(verified_text(found))


def restated(typed: Mapping[str, Any], operation: Operation, inventory: Inventory) -> Operation:
    """The operation with what was typed in place of its keys.

    Raises
    ------
    BadInput
        For options that are none, or say nothing that can be.
    """
    known = set(asdict(Options())) - {*_NOT_RESTATED}
    strange = [name for name in typed if name not in known]
    if strange:
        raise BadInput([Fault(f"--{name}", None, None, "is no option that changes a question.") for name in strange])
    each: dict[str, Any] = {name: tuple(one) if isinstance(one, list) else one for name, one in typed.items()}
    options = Options(**each)
    return forced(check_options(options).of(operation), inventory.by_id, options.with_, options.without)
