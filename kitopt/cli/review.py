"""``kitopt review``."""

from __future__ import annotations

from collections.abc import Sequence
from pathlib import Path

from kitopt.cli.answering import warn
from kitopt.cli.field import told
from kitopt.cli.inputs import Gather, read_both
from kitopt.cli.request import Answer
from kitopt.errors import BadInput, Fault


def run_review(files: Sequence[Path], folder: Path | None, *, kits: Sequence[str], is_json: bool = False) -> Answer:
    """Hold logged outings against their plans.

    Parameters
    ----------
    files : sequence of Path
        Logs, each or several of them followed by their operation.
    kits : sequence of str
        One for all outings, or one for each.

    Raises
    ------
    BadInput
        With every fault of what was typed and of the files.
    """
    pairs = _pairs(files)
    if len(kits) not in (0, 1, len(pairs)):
        text = f"found {len(kits)} kits for {len(pairs)} outings; need one for all, or one for each in their order."
        raise BadInput([Fault("--kit", None, None, text)])
    read = {file: read_both(Gather(), file, folder) for file in dict.fromkeys(file for _, file in pairs)}
    for operation, inventory in read.values():
        warn(operation.warnings, inventory.warnings)

    from kitopt.interface.in_hand import Reviewed, review

    def call() -> Reviewed:
        each = [
            review(log, *read[file], kit=kits[min(i, len(kits) - 1)] if kits else None)
            for i, (log, file) in enumerate(pairs)
        ]
        return Reviewed(tuple(one for some in each for one in some.outings))

    return told(call, is_json=is_json)


def _pairs(files: Sequence[Path]) -> list[tuple[Path, Path]]:
    """Logs with their operations; a log's is the next file that ends in .toml."""
    pairs: list[tuple[Path, Path]] = []
    logs: list[Path] = []
    for file in files:
        if file.suffix.lower() != ".toml":
            logs.append(file)
            continue
        if not logs:
            raise BadInput([Fault(str(file), None, None, "no log stands before it; need LOG.csv, then its operation.")])
        pairs += [(log, file) for log in logs]
        logs = []
    if logs:
        text = "no operation follows it; need the file of what was planned, such as day.toml."
        raise BadInput([Fault(str(logs[0]), None, None, text)])
    return pairs
