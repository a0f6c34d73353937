"""What reaches the user, and what reaches nobody: broken streams, hostile text, narrow terminals, early interrupts."""

from __future__ import annotations

import fcntl
import json
import os
import pty
import re
import signal
import struct
import subprocess
import sys
import termios
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import kitopt

Run = Callable[..., Any]
KITOPT = [sys.executable, "-m", "kitopt"]

HOSTILE = "\x1b[31mred\x1b[0m\x07\u202eturned\u2066\x9b2J"
"""An escape, a bell, a mark that turns the writing round, one that isolates it, and a one-letter escape."""


def in_shell(command: str, folder: Path) -> subprocess.CompletedProcess[str]:
    return subprocess.run(["sh", "-c", command], cwd=folder, capture_output=True, text=True, check=False, timeout=300)


def harmless(text: str) -> bool:
    return all(char.isprintable() or char == "\n" for char in text)


def with_warning(hut: Path) -> None:
    """A column that is not known makes every command say something on standard error."""
    loads = hut / "loads.csv"
    loads.write_text(loads.read_text(encoding="utf-8").replace(",price,", ",prise,"), encoding="utf-8")


def test_json_stays_one_document_when_standard_error_is_closed(hut: Path) -> None:
    with_warning(hut)
    result = in_shell(f"{' '.join(KITOPT)} pack hut.toml --json 2>&-", hut)
    assert result.returncode == 0
    assert json.loads(result.stdout)["status"] == "found"
    demo = in_shell(f"{' '.join(KITOPT)} check --json 2>&-", hut)
    assert json.loads(demo.stdout)["status"] == "read"


def test_json_stays_one_document_when_all_streams_but_one_are_closed(hut: Path) -> None:
    with_warning(hut)
    result = in_shell(f"{' '.join(KITOPT)} pack hut.toml --json 2>&- <&-", hut)
    assert (result.returncode, json.loads(result.stdout)["status"]) == (0, "found")
    faulty = in_shell(f"{' '.join(KITOPT)} pack none.toml --json 2>&-", hut)
    assert (faulty.returncode, json.loads(faulty.stdout)["status"]) == (2, "bad-input")


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
@pytest.mark.parametrize("command", ["pack hut.toml --json", "pack hut.toml", "check hut.toml"])
def test_the_answer_survives_a_standard_error_that_is_full(hut: Path, command: str) -> None:
    with_warning(hut)
    whole = in_shell(f"{' '.join(KITOPT)} {command}", hut)
    result = in_shell(f"{' '.join(KITOPT)} {command} 2>/dev/full", hut)
    assert result.returncode == 0
    assert result.stdout == whole.stdout


def test_the_answer_survives_a_standard_error_that_nobody_reads(hut: Path) -> None:
    with_warning(hut)
    process = subprocess.Popen([*KITOPT, "pack", "hut.toml"], cwd=hut, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    assert process.stdout is not None
    assert process.stderr is not None
    process.stderr.close()
    assert process.stdout.read().startswith(b"Dark hut: ")
    process.stdout.close()
    assert process.wait(60) == 0


def _hostile_key(hut: Path) -> list[str]:
    operation = hut / "hut.toml"
    key = HOSTILE.replace("\x1b", "\\u001b").replace("\x07", "\\u0007").replace("\x9b", "\\u009b")
    operation.write_text(f'"{key}" = 1\n"two\\nlines" = 1\n' + operation.read_text(encoding="utf-8"), encoding="utf-8")
    return ["pack", "hut.toml"]


def _hostile_header(hut: Path) -> list[str]:
    loads = hut / "loads.csv"
    loads.write_text(loads.read_text(encoding="utf-8").replace(",price,", f",{HOSTILE},"), encoding="utf-8")
    return ["check", "hut.toml"]


def _hostile_header_twice(hut: Path) -> list[str]:
    loads = hut / "loads.csv"
    text = loads.read_text(encoding="utf-8").replace("id,name,", f"{HOSTILE},{HOSTILE},")
    loads.write_text(text, encoding="utf-8")
    return ["check", "hut.toml"]


def _hostile_name(hut: Path) -> list[str]:
    batteries = hut / "batteries.csv"
    batteries.write_text(batteries.read_text(encoding="utf-8").replace("tin box", HOSTILE), encoding="utf-8")
    return ["pack", "hut.toml"]


def _typed_file(hut: Path) -> list[str]:
    return ["pack", f"{HOSTILE}.toml"]


def _typed_folder(hut: Path) -> list[str]:
    return ["check", "--inventory", f"{HOSTILE}\n"]


def _typed_item(hut: Path) -> list[str]:
    return ["why", HOSTILE, "hut.toml"]


def _typed_option(hut: Path) -> list[str]:
    return ["pack", "hut.toml", "--least", HOSTILE, f"--{HOSTILE}"]


def _typed_target(hut: Path) -> list[str]:
    return ["start", HOSTILE]


@pytest.mark.parametrize(
    "case",
    [
        _hostile_key,
        _hostile_header,
        _hostile_header_twice,
        _hostile_name,
        _typed_file,
        _typed_folder,
        _typed_item,
        _typed_option,
        _typed_target,
    ],
)
def test_no_escape_reaches_the_terminal(hut: Path, run: Run, case: Callable[[Path], list[str]]) -> None:
    result = run(*case(hut))
    said = result.stdout + result.stderr
    assert result.returncode in (0, 2)
    assert harmless(said)
    assert "red" in said
    if case is _hostile_key:
        assert "two lines" in said


@pytest.mark.parametrize("columns", [10, 20, 41])
def test_the_progress_line_is_never_wider_than_the_terminal(hut: Path, columns: int) -> None:
    (hut / "sitecustomize.py").write_text(
        "import kitopt.cli.progress as p\np.FIRST_AFTER_S = p.EVERY_S = 0.0\n", encoding="utf-8"
    )
    ours, theirs = pty.openpty()
    fcntl.ioctl(theirs, termios.TIOCSWINSZ, struct.pack("HHHH", 24, columns, 0, 0))
    try:
        subprocess.run(
            [*KITOPT, "pack", "hut.toml", "--brief"],
            cwd=hut,
            env={**os.environ, "PYTHONPATH": str(hut), "TERM": "xterm"},
            stdout=subprocess.DEVNULL,
            stderr=theirs,
            timeout=300,
            check=True,
        )
        time.sleep(0.1)
        drawn = os.read(ours, 65536).decode()
    finally:
        os.close(theirs)
        os.close(ours)
    assert "round" in drawn
    # a line that fills the last column wraps on some terminals
    assert max(len(line) for line in drawn.split("\r")) < columns


def test_wide_letters_count_twice_and_marks_over_letters_not_at_all() -> None:
    from kitopt.files.plain import columns_of, cut

    # widths by Unicode's annex 11: ideographs and full-width forms are two columns, a combining accent is none
    assert [columns_of(text) for text in ("abc", "電池", "Ｗ", "e\u0301")] == [3, 4, 2, 1]
    assert cut("電池電池", 5) == "電池…"
    assert cut("\x1b[2Jab", 10) == " [2Jab"


@pytest.mark.parametrize("is_json", [False, True])
def test_an_interrupt_while_the_program_is_loaded_ends_with_130(hut: Path, is_json: bool) -> None:
    # the first import of the command line is made slow, so that the interrupt surely meets it
    (hut / "sitecustomize.py").write_text(
        "import builtins, sys, time\n"
        "real = builtins.__import__\n"
        "def slow(name, *rest, **more):\n"
        "    if name == 'kitopt.cli':\n"
        "        builtins.__import__ = real\n"
        "        print('loading', file=sys.stderr, flush=True)\n"
        "        time.sleep(0.3)\n"
        "    return real(name, *rest, **more)\n"
        "builtins.__import__ = slow\n",
        encoding="utf-8",
    )
    process = subprocess.Popen(
        [*KITOPT, "pack", "hut.toml", *(["--json"] if is_json else [])],
        cwd=hut,
        env={**os.environ, "PYTHONPATH": str(hut)},
        stdout=subprocess.PIPE,
        stderr=subprocess.PIPE,
        text=True,
    )
    assert process.stderr is not None
    assert process.stderr.readline() == "loading\n"
    process.send_signal(signal.SIGINT)
    stdout, stderr = process.communicate(timeout=300)
    assert (process.returncode, stderr) == (130, "Interrupted.\n")
    assert ('"interrupted"' in stdout) is is_json


@pytest.mark.parametrize("after_ms", [25, 40, 60, 90, 130])
def test_an_interrupt_in_the_first_25_ms_meets_no_code_of_kitopts(hut: Path, after_ms: int) -> None:
    process = subprocess.Popen([*KITOPT, "pack", "hut.toml"], cwd=hut, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
    time.sleep(after_ms / 1000)
    process.send_signal(signal.SIGINT)
    _, stderr = process.communicate(timeout=300)
    # until the first lines of these two files have run, Python answers as it does for every program
    assert process.returncode in (130, -signal.SIGINT, 1, 0)
    loaders = {"__init__.py", "__main__.py"}
    folder = re.escape(str(Path(kitopt.__file__).parent))
    assert set(re.findall(rf'File "{folder}/([^"]+)"', stderr.decode())) <= loaders


def test_before_an_interrupt_is_caught_nothing_is_imported_that_takes_time() -> None:
    # what the package and its entry point load before the handler stands, beyond what Python itself has loaded
    report = subprocess.run(
        [sys.executable, "-X", "importtime", "-c", "import kitopt.__main__"], capture_output=True, text=True, check=True
    ).stderr
    names = [line.rsplit("|", 1)[1].strip() for line in report.splitlines()]
    assert names[names.index("kitopt") - 1 :] == [names[names.index("kitopt") - 1], "kitopt", "kitopt.__main__"]
