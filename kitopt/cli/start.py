"""``kitopt start``."""

from __future__ import annotations

from pathlib import Path

from kitopt.cli.request import Answer
from kitopt.files.typed import as_typed


def run_start(folder: Path, *, with_plans: bool = False) -> Answer:
    """Write the starter files and say what to do next.

    Raises
    ------
    BadInput
        If one of them is already there, or cannot be written.
    """
    from kitopt.operation.starter import PLANS, write_starter

    written = write_starter(folder, with_plans=with_plans)
    lines = [f"Wrote {len(written)} files in {folder}:"]
    lines += [f"  {path.name}" for path in written]
    command = as_typed(folder / "operation.toml")
    lines += [
        "Next: replace the invented rows of the CSV files by what you own, in any",
        "spreadsheet, and the place, time and loads in operation.toml, in any editor.",
        f"Then:  kitopt check {command}",
        f"       kitopt pack {command}",
    ]
    if with_plans:
        lines += [f"       kitopt {verb} {as_typed(folder / name)}" for verb, name in PLANS]
    return Answer("\n".join(lines) + "\n")
