"""The blocks of README.md that show what commands print: read, run and, as a script, written anew."""

from __future__ import annotations

import re
import shutil
import tempfile
from pathlib import Path

from golden_cases import REPOSITORY, Case, run_case

README = REPOSITORY / "README.md"
_BLOCK = re.compile(r"```text\n\$ (kitopt[^\n]*)\n(.*?)```\n", re.DOTALL)


CUT = "…\n"
"""Ends a block that shows only the first lines."""


def shown() -> list[tuple[str, str]]:
    """The command in each block, and what it is said to print."""
    return _BLOCK.findall(README.read_text(encoding="utf-8"))


def printed(command: str, folder: Path) -> str:
    """What the command prints on standard output, in a folder that has the demo's inventory."""
    shutil.copytree(REPOSITORY / "inventory", folder / "inventory")
    result = run_case(Case("README", command), folder)
    # that a kit does not do is an answer
    assert result.returncode in (0, 3), result.stderr
    return result.stdout


def as_long_as(shown_before: str, output: str) -> str:
    """The output, or as many of its first lines as were shown before."""
    if not shown_before.endswith(CUT):
        return output
    lines = output.splitlines(keepends=True)
    return "".join(lines[: shown_before.count("\n") - 1]) + CUT


def write() -> None:
    """Put into README.md what the commands print now."""
    text = README.read_text(encoding="utf-8")
    for command, before in shown():
        with tempfile.TemporaryDirectory() as folder:
            output = as_long_as(before, printed(command, Path(folder)))
        text = text.replace(f"$ {command}\n{before}```\n", f"$ {command}\n{output}```\n")
    README.write_text(text, encoding="utf-8")


if __name__ == "__main__":
    write()
