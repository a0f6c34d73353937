"""What a shell sees of the process: exit codes, pipes, interrupts, terminals."""

from __future__ import annotations

import os
import pty
import re
import signal
import subprocess
import sys
import time
from collections.abc import Callable
from pathlib import Path
from typing import Any

import pytest

import kitopt
from kitopt.inventory import demo_folder

Run = Callable[..., Any]
KITOPT = [sys.executable, "-m", "kitopt"]


def test_version(run: Run) -> None:
    result = run("--version")
    assert (result.returncode, result.stdout) == (0, f"kitopt {kitopt.__version__}\n")


@pytest.mark.parametrize("args", [(), ("--help",), ("pack", "--help"), ("check", "-h"), ("start", "-h")])
def test_help_needs_80_columns_and_no_colour(run: Run, args: tuple[str, ...]) -> None:
    result = run(*args, COLUMNS="200", FORCE_COLOR="1")
    assert result.returncode == 0
    assert result.stdout.startswith("Usage: kitopt")
    assert max(len(line) for line in result.stdout.splitlines()) <= 80
    assert "\x1b" not in result.stdout


def test_every_option_and_command_is_documented(run: Run) -> None:
    for command in ("pack", "check", "start", "fetch-weather"):
        assert f"  {command}  " in run("--help").stdout
        for line in run(command, "--help").stdout.splitlines():
            if line.startswith("  --"):
                assert len(line.split()) > 3, line


def test_a_reader_that_goes_away_is_no_failure(hut: Path) -> None:
    for args in (["--help"], ["check", "hut.toml"], ["pack", "hut.toml", "--json"]):
        process = subprocess.Popen([*KITOPT, *args], cwd=hut, stdout=subprocess.PIPE, stderr=subprocess.PIPE)
        assert process.stdout is not None
        assert process.stderr is not None
        process.stdout.close()
        assert process.stderr.read() == b""
        process.stderr.close()
        assert process.wait(60) == 0


def test_no_standard_output_at_all(hut: Path) -> None:
    command = " ".join(KITOPT) + " check hut.toml >&-"
    assert subprocess.run(["sh", "-c", command], cwd=hut, stderr=subprocess.PIPE, check=False).returncode == 0


@pytest.mark.skipif(not Path("/dev/full").exists(), reason="this system has no full device")
def test_an_answer_that_cannot_be_written_is_told(hut: Path) -> None:
    with open("/dev/full", "w", encoding="utf-8") as full:
        result = subprocess.run(
            [*KITOPT, "check", "hut.toml"], cwd=hut, stdout=full, stderr=subprocess.PIPE, text=True, check=False
        )
    assert result.returncode == 1
    assert "cannot be written" in result.stderr
    assert "Traceback" not in result.stderr


@pytest.mark.parametrize("is_json", [False, True])
def test_an_interrupt_ends_with_130(hut: Path, is_json: bool) -> None:
    # the engine is replaced by a long sleep, so that the interrupt has something to interrupt
    (hut / "sitecustomize.py").write_text(
        "import sys, time, kitopt.choice\n"
        "def pack(*a, **k):\n    print('packing', file=sys.stderr, flush=True)\n    time.sleep(60)\n"
        "kitopt.choice.pack = pack\n",
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
    assert process.stderr.readline() == "packing\n"
    process.send_signal(signal.SIGINT)
    stdout, stderr = process.communicate(timeout=300)
    assert process.returncode == 130
    assert stderr == "Interrupted.\n"
    assert ('"interrupted"' in stdout) is is_json


def test_progress_is_drawn_on_terminals_alone(hut: Path) -> None:
    (hut / "sitecustomize.py").write_text(
        "import kitopt.cli.progress as p\np.FIRST_AFTER_S = p.EVERY_S = 0.0\n", encoding="utf-8"
    )
    environment = {**os.environ, "PYTHONPATH": str(hut), "TERM": "xterm"}
    ours, theirs = pty.openpty()
    try:
        process = subprocess.run(
            [*KITOPT, "pack", "hut.toml", "--brief"],
            cwd=hut,
            env=environment,
            stdout=subprocess.PIPE,
            stderr=theirs,
            timeout=300,
            check=False,
        )
        time.sleep(0.1)
        drawn = os.read(ours, 65536).decode()
    finally:
        os.close(theirs)
        os.close(ours)
    assert process.returncode == 0
    # what is known of all sides already says that the first kit is best
    assert "round 1: best 2.50 kg, among equals" in drawn
    assert drawn.endswith("\r")
    assert "\n" not in drawn
    assert "\x1b" not in drawn
    assert b"round" not in process.stdout
    piped = subprocess.run(
        [*KITOPT, "pack", "hut.toml", "--brief"], cwd=hut, env=environment, capture_output=True, check=False
    )
    assert piped.stderr == b""


def test_warnings_go_to_standard_error(hut: Path, run: Run) -> None:
    loads = hut / "loads.csv"
    loads.write_text(loads.read_text(encoding="utf-8").replace(",price,", ",prise,"), encoding="utf-8")
    result = run("pack", "hut.toml", "--brief")
    assert result.stderr.startswith("warning: ")
    assert "prise" in result.stderr
    assert "prise" not in result.stdout
    assert "prise" in run("check", "hut.toml").stdout


def test_start_then_check(run: Run) -> None:
    assert run("start", "mine").returncode == 0
    result = run("check", "mine/operation.toml")
    assert result.returncode == 0
    assert "First outing" in result.stdout


def test_fetch_weather_wants_one_place(run: Run) -> None:
    for args in (
        ("out.csv",),
        ("a.toml", "out.csv", "--latitude", "1"),
        ("out.csv", "--latitude", "1"),
        ("a", "b", "c"),
    ):
        result = run("fetch-weather", *args)
        assert result.returncode == 2, args
        assert result.stderr.startswith("fetch-weather: ")
    result = run("fetch-weather", "out.csv", "--latitude", "91", "--longitude", "0")
    assert result.returncode == 2
    assert "91" in result.stderr


def test_the_demo_is_packed_though_every_warning_is_an_error(tmp_path: Path) -> None:
    result = subprocess.run(
        [sys.executable, "-W", "error", *KITOPT[1:], "pack", "--brief", "--seconds", "100"],
        cwd=tmp_path,
        capture_output=True,
        text=True,
        timeout=300,
        check=False,
    )
    assert (result.returncode, result.stderr) == (
        0,
        "No operation named: this is the invented demo, coastal-checkpoint.toml.\n",
    )


def test_fetch_weather_overwrites_nothing_without_being_told(run: Run, hut: Path) -> None:
    (hut / "coast.csv").write_text("mine", encoding="utf-8")
    result = run("fetch-weather", "hut.toml", "coast.csv")
    assert (result.returncode, result.stdout) == (2, "")
    assert "add --force to replace it" in result.stderr
    assert (hut / "coast.csv").read_text(encoding="utf-8") == "mine"


def test_what_would_not_fit_in_memory_is_refused_with_what_does(run: Run) -> None:
    result = run("pack", "--hours", "1440", "--windows", "2000", "--step", "5")
    assert result.returncode == 2
    assert "340 windows fit" in result.stderr
    assert "defect" not in result.stderr


def test_check_refuses_what_pack_would(run: Run, tmp_path: Path) -> None:
    demo = demo_folder()
    text = (demo / "operations" / "coastal-checkpoint.toml").read_text(encoding="utf-8")
    text = re.sub(r"^hours = .*$", "hours = 1440", text, flags=re.M)
    text = re.sub(r"^windows = .*$", "", text, flags=re.M).replace("[need]", "[need]\nwindows = 3000")
    (tmp_path / "long.toml").write_text(text, encoding="utf-8")
    result = run("check", str(tmp_path / "long.toml"), "--inventory", str(demo))
    assert result.returncode == 2
    assert "windows fit" in result.stderr


def test_check_looks_into_the_weather_file(run: Run, hut: Path) -> None:
    operation = hut / "hut.toml"
    text = operation.read_text(encoding="utf-8").replace('weather = "no sun"', 'weather = "loads.csv"')
    operation.write_text(text, encoding="utf-8")
    result = run("check", "hut.toml")
    assert result.returncode == 2
    assert result.stderr.startswith("loads.csv, line 1: begins with ")
    with (hut / "loads.csv").open("ab") as stream:
        stream.truncate(20_000_000_000)
    assert run("check", "hut.toml").returncode == 2


@pytest.mark.parametrize(
    ("args", "told"),
    [
        (
            ("grab-kit", "g.toml", "--mass", "9"),
            'found "9", a kit\'s limit of mass is usually 500 to 200,000 g',
        ),
        (("grab-kit", "g.toml", "--mass", "9,000"), "write 9000 or 9."),
        (("buy", "g.toml", "--budget", "1.250"), "write 1250 or 1.25."),
        (("fetch-weather", "w.csv", "--latitude", "43.460", "--longitude", "3"), "write 43460 or 43.46."),
        (("fetch-weather", "w.csv", "--latitude", "999", "--longitude", "x"), '--longitude: found "x"'),
        (
            ("fetch-weather", "w.csv", "--latitude", "1", "--longitude", "3", "--last-year", "x"),
            '--last-year: found "x"',
        ),
    ],
)
def test_numbers_typed_for_other_commands_are_read_as_strictly(
    run: Run, hut: Path, args: tuple[str, ...], told: str
) -> None:
    (hut / "g.toml").write_text('[[events]]\nfile = "hut.toml"\n')
    answer = run(*args)
    assert answer.returncode == 2
    assert told in answer.stderr


def test_fetch_weather_never_takes_an_operation_for_its_file(run: Run, hut: Path) -> None:
    before = (hut / "hut.toml").read_text()
    answer = run("fetch-weather", "--force", "--latitude", "1", "--longitude", "3", "hut.toml")
    assert answer.returncode == 2
    assert 'found "hut.toml" as the file to be written' in answer.stderr
    assert (hut / "hut.toml").read_text() == before


def test_the_skies_of_a_plan_are_counted_together(run: Run, hut: Path) -> None:
    operation = (hut / "hut.toml").read_text().replace('weather = "no sun"', "windows = 3000")
    (hut / "hut.toml").write_text(operation.replace("hours = 16", "hours = 240"))
    (hut / "g.toml").write_text('months = "all"\n[[events]]\nfile = "hut.toml"\n')
    answer = run("grab-kit", "g.toml")
    assert answer.returncode == 2
    # by hand: 12 dates of 480 steps; 150 bytes a step of all and 190 more of one are 955,200 a window; 2,093 fit
    assert "12 dates, 3,000 windows each, takes about 2.9 GB" in answer.stderr
    assert "2,093 windows each fit (--windows)" in answer.stderr
