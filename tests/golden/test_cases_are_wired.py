"""Every kit of the cases of this folder that has leads is followed plug by plug, fuse by fuse and swap by swap."""

from __future__ import annotations

import shlex
from pathlib import Path

import pytest
from golden_cases import FOLDER, read_case, write_files
from plugs import check_kit

import kitopt

CASES = [
    path
    for path in sorted(FOLDER.glob("*.txt"))
    if "leads.csv" in (case := read_case(path)).files and case.command.startswith("kitopt pack") and case.exit == 0
]


def test_there_are_cases_with_leads() -> None:
    assert len(CASES) >= 5


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_every_device_of_a_case_has_a_complete_path(path: Path, tmp_path: Path) -> None:
    case = read_case(path)
    write_files(case, tmp_path)
    # --brief and --no-reasons change what is said, not what is chosen
    assert not [word for word in shlex.split(case.command)[3:] if word not in ("--brief", "--no-reasons")]
    choice = kitopt.pack(kitopt.read_operation(tmp_path / "hut.toml"), kitopt.read_inventory(tmp_path)).answer
    for part in choice.parts:
        check_kit(part)
