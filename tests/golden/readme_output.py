"""The block of README.md that shows what the demo prints: read, run and, as a script, written anew."""

from __future__ import annotations

import re
import tempfile
from pathlib import Path

from golden_cases import REPOSITORY, Case, run_case

README = REPOSITORY / "README.md"
_BLOCK = re.compile(r"```text\n\$ (kitopt[^\n]*)\n(.*?)```\n", re.DOTALL)


def shown() -> tuple[str, str]:
    """The command in the block, and what it is said to print."""
    blocks = _BLOCK.findall(README.read_text(encoding="utf-8"))
    assert len(blocks) == 1, f"{len(blocks)} blocks of output in README.md"
    command, output = blocks[0]
    return command, output


def printed(command: str, folder: Path) -> str:
    """What the command prints on standard output."""
    result = run_case(Case("README", command), folder)
    assert result.returncode == 0, result.stderr
    return result.stdout


def write() -> None:
    """Put into README.md what the command prints now."""
    command, _ = shown()
    with tempfile.TemporaryDirectory() as folder:
        output = printed(command, Path(folder))
    text = README.read_text(encoding="utf-8")
    README.write_text(_BLOCK.sub(lambda _: f"```text\n$ {command}\n{output}```\n", text), encoding="utf-8")


if __name__ == "__main__":
    write()
