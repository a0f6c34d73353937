"""README.md shows what the demo prints, letter by letter, and names real files, options and commands."""

from __future__ import annotations

import json
import re
import shutil
import subprocess
import sys
from pathlib import Path

import pytest
from golden_cases import REPOSITORY
from readme_output import README, as_long_as, printed, shown

from kitopt.report.words import WIDTH

BLOCKS = shown()


@pytest.mark.parametrize(("command", "output"), BLOCKS, ids=[" ".join(command.split()[1:3]) for command, _ in BLOCKS])
def test_the_output_shown_is_the_output_printed(command: str, output: str, tmp_path: Path) -> None:
    assert as_long_as(output, printed(command, tmp_path)) == output


def test_each_command_that_answers_is_shown() -> None:
    assert {command.split()[1] for command, _ in BLOCKS} == {
        "pack",
        "grab-kit",
        "share",
        "buy",
        "sun",
        "reading",
        "now",
        "review",
    }


def test_the_python_shown_prints_what_is_shown(tmp_path: Path) -> None:
    text = README.read_text(encoding="utf-8")
    ((code, output),) = re.findall(r"```python\n(.*?)```\n\n```text\n(.*?)```", text, re.DOTALL)
    shutil.copytree(REPOSITORY / "inventory", tmp_path / "inventory")
    done = subprocess.run([sys.executable, "-c", code], cwd=tmp_path, capture_output=True, text=True, check=True)
    assert done.stdout == output


def test_the_demo_fits_a_narrow_page() -> None:
    _, output = BLOCKS[0]
    assert max(len(line) for line in output.splitlines()) <= WIDTH
    # what is asked about afterwards is not read at once
    parts = output.split("\n\n")
    titles = [part.split("\n", 1)[0] for part in parts]
    assert titles[1].startswith("battery ")
    assert titles[2].startswith("Wiring")
    assert titles[3].startswith("Balance")
    assert titles[4].startswith("Why each")
    assert len(" ".join(parts[:4]).split()) < 520


def test_the_demo_without_reasons_fits_a_screen(tmp_path: Path) -> None:
    output = printed("kitopt pack --no-reasons", tmp_path)
    lines = output.splitlines()
    assert len(lines) <= 45
    first = " ".join(output.split("\n\n")[0].split())
    # charge at the start, mass, chance and what to heed
    assert "at 50 % at the start" in first
    assert re.search(r"26 h with \d\.\d\d kg", first)
    assert re.search(r"of 5,000 unseen spells of weather, \d\d\.\d %", first)
    assert " Heed" in first
    assert "practice come first" in lines[-1]


def test_every_option_named_exists() -> None:
    commands = (
        "pack",
        "grab-kit",
        "share",
        "buy",
        "check",
        "start",
        "sun",
        "reading",
        "learned",
        "now",
        "review",
        "study",
    )
    told = "".join(
        subprocess.run(
            [sys.executable, "-m", "kitopt", command, "--help"], capture_output=True, text=True, check=True
        ).stdout
        for command in commands
    )
    named = set(re.findall(r"--[a-z]+", README.read_text(encoding="utf-8"))) - {"--extra"}
    assert len(named) >= 9
    assert {option for option in named if option not in told} == set()


def test_the_guide_for_developers_is_short_and_names_real_paths() -> None:
    text = (REPOSITORY / "DEVELOPERS.md").read_text(encoding="utf-8")
    assert len(text.splitlines()) <= 300
    for path in re.findall(r"`((?:tests|kitopt|benchmarks|cli)/[\w/.]*)`", text):
        assert (REPOSITORY / path).exists() or (REPOSITORY / "kitopt" / path).exists(), path


def test_the_json_of_the_demo_is_one_document(tmp_path: Path) -> None:
    plan = json.loads(printed("kitopt pack --json", tmp_path))
    assert plan["status"] == "found"
    assert plan["proof"]["proved"] is True
    assert plan["mass_g"] == sum(one["total_mass_g"] for one in plan["kit"]) == plan["proof"]["objective"]
    windows = plan["windows"]
    assert windows["tried"] >= windows["survived"] >= windows["needed"]
    assert windows["fresh"]["tried"] == 5000
    assert plan["lowest"]["margin_wh"] >= 0
    assert re.search(r"[+-]\d\d:\d\d$", plan["lowest"]["time"])
