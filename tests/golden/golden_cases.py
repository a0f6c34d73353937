"""Reads and runs golden cases: one text file each."""

from __future__ import annotations

import os
import re
import shlex
import subprocess
import sys
from dataclasses import dataclass, field
from pathlib import Path

FOLDER = Path(__file__).parent
REPOSITORY = FOLDER.parents[1]
TIMEOUT_S = 900


@dataclass
class Case:
    """One case file.

    Attributes
    ----------
    command : str
        After the ``$``.
    files : dict of str to str
        Written into the working folder first.
    stdout, stderr : str
        Expected text; as for `matches`.
    """

    name: str
    command: str = ""
    files: dict[str, str] = field(default_factory=dict)
    stdout: str = ""
    stderr: str = ""
    exit: int = 0


def read_case(path: Path) -> Case:
    """Read one case; everything before the command is commentary."""
    case = Case(path.stem)
    parts: dict[str, list[str]] = {}
    current: list[str] | None = None
    for line in path.read_text(encoding="utf-8").splitlines(keepends=True):
        if not case.command:
            if line.startswith("$ "):
                case.command = line[2:].strip()
            continue
        head = line.rstrip("\n")
        if head in ("# stdout", "# stderr", "# exit") or head.startswith("# file "):
            assert head not in parts, f"{path.name}: {head} twice"
            current = parts.setdefault(head, [])
        else:
            assert current is not None, f"{path.name}: text before the first part"
            current.append(line)
    assert case.command, f"{path.name} has no command"
    assert "# exit" in parts, f"{path.name} has no exit code"
    for head, lines in parts.items():
        text = "".join(lines)
        if head.startswith("# file "):
            case.files[head.removeprefix("# file ")] = text
        elif head == "# exit":
            case.exit = int(text)
        elif head == "# stdout":
            case.stdout = text
        else:
            case.stderr = text
    return case


def write_files(case: Case, folder: Path) -> None:
    """Write the files of a case into an empty folder."""
    for name, text in case.files.items():
        path = folder / name
        path.parent.mkdir(parents=True, exist_ok=True)
        path.write_text(text, encoding="utf-8")


def run_case(case: Case, folder: Path) -> subprocess.CompletedProcess[str]:
    """Run a case in an empty folder, as a process of its own."""
    write_files(case, folder)
    words = shlex.split(case.command)
    assert words[0] == "kitopt", f"{case.name}: not a command of kitopt"
    environment = {**os.environ, "COLUMNS": "80", "PYTHONUTF8": "1"}
    return subprocess.run(
        [sys.executable, "-m", "kitopt", *words[1:]],
        cwd=folder,
        env=environment,
        capture_output=True,
        encoding="utf-8",
        timeout=TIMEOUT_S,
        check=False,
    )


def matches(expected: str, found: str) -> bool:
    """Whether text is as expected.

    A line of ``...`` stands for any lines, even none; ``...`` within a line for any characters, even none.
    """
    pattern = ""
    for line in expected.splitlines():
        if line == "...":
            pattern += r"(?:[^\n]*\n)*"
        else:
            pattern += ".*".join(re.escape(part) for part in line.split("...")) + r"\n"
    # what is written ends its last line
    return re.fullmatch(pattern, found) is not None
