"""Whole commands as a user runs them: seconds, seconds of processor, memory, and the ratio to the import floor.

The floor is the time in which the program only starts and prints its help. Each command runs twice, first with
nothing kept on the disk, then again. Times say little on a busy machine, their ratios a little more; processor seconds
are the ones to compare.

    python benchmarks/commands.py [--smoke] [--python OTHER] [NAME ...]

With ``--python`` each command is also run by another interpreter, in which an older kitopt is installed, right after
its own run, and the ratio of the two is printed.
"""

from __future__ import annotations

import argparse
import os
import subprocess
import sys
import tempfile
import threading
import time
from dataclasses import dataclass
from pathlib import Path

INVENTORY = Path(__file__).parents[1] / "inventory"
OPERATION = "operations/coastal-checkpoint.toml"

COMMANDS: dict[str, list[str]] = {
    "help": ["--help"],
    "brief": ["pack", OPERATION, "--brief"],
    "pack": ["pack", OPERATION],
    "why-item": ["why", "lfp-30", OPERATION],
    "why": ["why", OPERATION],
    "confidence": ["pack", OPERATION, "--against", "confidence"],
    "hours": ["pack", OPERATION, "--against", "hours"],
    "grab-kit": ["grab-kit", "plans/grab-kit.toml"],
    "share": ["share", "plans/club.toml"],
    "buy": ["buy", "plans/season.toml"],
    "winter": ["pack", "operations/winter-shelter.toml"],
    "lakes": ["pack", "operations/canoe-lakes.toml"],
    "no-kit": ["pack", "operations/winter-shelter.toml", "--without", "lfp-50"],
}
IN_SMOKE = ("help", "brief")


@dataclass(frozen=True)
class Run:
    """One run of a command: wall [s], processor [s], peak memory [MB], exit code."""

    wall_s: float
    cpu_s: float
    peak_mb: float
    code: int

    def __str__(self) -> str:
        return f"{self.wall_s:7.2f} s {self.cpu_s:7.2f} s {self.peak_mb:5.0f} MB"


def run(python: str, args: list[str], kept: str) -> Run:
    """Run a command in a process of its own and wait for it."""
    began = time.perf_counter()
    process = subprocess.Popen(
        [python, "-m", "kitopt", *args],
        cwd=INVENTORY,
        env={**os.environ, "KITOPT_CACHE": kept, "OPENBLAS_NUM_THREADS": "1"},
        stdout=subprocess.PIPE,
        stderr=subprocess.DEVNULL,
    )
    assert process.stdout is not None
    reader = threading.Thread(target=process.stdout.read)
    reader.start()
    _, status, used = os.wait4(process.pid, 0)
    reader.join()
    process.returncode = os.waitstatus_to_exitcode(status)
    return Run(time.perf_counter() - began, used.ru_utime + used.ru_stime, used.ru_maxrss / 1024, process.returncode)


def measure(names: list[str], other: str | None) -> None:
    """Print two lines a command: with nothing kept, and again."""
    with tempfile.TemporaryDirectory() as kept, tempfile.TemporaryDirectory() as kept_by_other:
        run(sys.executable, ["--help"], kept)
        floor = min((run(sys.executable, ["--help"], kept) for _ in range(5)), key=lambda one: one.cpu_s)
        print(f"{'floor':12} {'':6} {floor}")
        for name in names:
            for turn in ("first", "again"):
                if turn == "first":
                    for folder in (kept, kept_by_other):
                        for path in Path(folder).iterdir():
                            path.unlink()
                made = run(sys.executable, COMMANDS[name], kept)
                line = f"{name:12} {turn:6} {made} ×{made.cpu_s / floor.cpu_s:6.1f} exit {made.code}"
                if other is not None:
                    before = run(other, COMMANDS[name], kept_by_other)
                    line += f"   before {before} now/before {made.cpu_s / before.cpu_s:.2f}"
                print(line, flush=True)


def main() -> None:
    """Read the options and run."""
    parser = argparse.ArgumentParser(description=__doc__.splitlines()[0])
    parser.add_argument("--smoke", action="store_true", help="only the commands that take no time")
    parser.add_argument("--python", help="interpreter with an older kitopt, to be compared with")
    parser.add_argument("names", nargs="*", choices=[*COMMANDS, []], help="of commands; all when none is given")
    asked = parser.parse_args()
    measure(asked.names or list(IN_SMOKE if asked.smoke else COMMANDS), asked.python)


if __name__ == "__main__":
    main()
