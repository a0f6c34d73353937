"""The one way in: regular files of bearable size; whatever the system refuses is the user's fault, with its path."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path
from typing import Any

import pytest

from kitopt.errors import BadInput
from kitopt.files import reading
from kitopt.files.faults import FaultList, quoted
from kitopt.files.reading import read_bytes, what_lies_at
from kitopt.inventory import read_inventory
from kitopt.operation import find_inventory, read_operation

LONG = "n" * 300
"""Longer than the 255 bytes that the usual file systems take for a name."""


def faults_of(path: Path, largest: int = 1000) -> list[str]:
    faults = FaultList(str(path))
    assert read_bytes(path, faults, largest) is None
    return [str(fault) for fault in faults.listed()]


def kitopt(folder: Path, *args: str) -> subprocess.CompletedProcess[str]:
    command = [sys.executable, "-m", "kitopt", *args]
    return subprocess.run(command, cwd=folder, capture_output=True, text=True, timeout=300, check=False)


def test_only_regular_files_are_read(tmp_path: Path) -> None:
    os.mkfifo(tmp_path / "pipe")
    for path in (tmp_path, tmp_path / "pipe", Path("/dev/zero")):
        assert "not a file" in faults_of(path)[0]
    assert "no such file" in faults_of(tmp_path / "none")[0]
    assert "no such file" in faults_of(tmp_path / "pipe" / "beneath")[0]


def test_a_file_is_refused_by_its_size_before_it_is_read(tmp_path: Path) -> None:
    path = tmp_path / "sparse.csv"
    with path.open("wb") as stream:
        stream.truncate(20_000_000_000)
    assert "found 20,000 MB, need a smaller file, of 0.001 MB at most" in faults_of(path)[0]
    path.write_bytes(b"x" * 1000)
    assert read_bytes(path, FaultList(""), 1000) == b"x" * 1000
    path.write_bytes(b"x" * 1001)
    assert "more than 0.001 MB" in faults_of(path)[0]


def test_a_file_that_is_exchanged_for_a_pipe_before_it_is_opened_is_not_waited_for(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    # nobody writes into the pipe: reading it would wait for ever
    os.mkfifo(tmp_path / "a.csv")
    monkeypatch.setattr(reading, "what_lies_at", lambda _: "file")
    assert faults_of(tmp_path / "a.csv") == [f"{tmp_path}/a.csv: cannot be read: it is no longer a file."]


def test_a_file_that_may_not_be_opened_is_told(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "a.csv").write_text("x")

    # permissions do not bind every user that runs the tests, so the system's refusal is played
    def refused(*_: Any) -> int:
        raise PermissionError(13, "Permission denied")

    monkeypatch.setattr(os, "open", refused)
    assert faults_of(tmp_path / "a.csv") == [f"{tmp_path}/a.csv: cannot be read: Permission denied."]


def test_a_name_too_long_for_any_file_is_the_users_fault(tmp_path: Path) -> None:
    assert "name too long" in faults_of(tmp_path / LONG)[0].lower()
    for args in (
        ["pack", f"{LONG}.toml"],
        ["check", "--inventory", LONG],
        ["check", f"{LONG}/a.toml"],
        ["share", f"{LONG}.toml"],
        ["start", LONG],
        ["start", f"new/{LONG}"],
        ["why", f"{LONG}.toml"],
        ["fetch-weather", LONG, "--latitude", "1", "--longitude", "1"],
    ):
        result = kitopt(tmp_path, *args)
        assert result.returncode == 2, args
        assert "too long" in result.stderr
        assert "defect" not in result.stderr
        # one file is told once
        assert result.stderr.count("too long") == 1


def test_links_in_a_circle_are_the_users_fault(tmp_path: Path) -> None:
    (tmp_path / "round.toml").symlink_to("round.toml")
    result = kitopt(tmp_path, "pack", "round.toml")
    assert result.returncode == 2
    assert "round.toml: cannot be read: " in result.stderr


def test_an_unreadable_folder_is_the_users_fault(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    # permissions do not bind every user that runs the tests, so the system's refusal is played
    closed = tmp_path / "closed"
    real = Path.stat

    def stat(self: Path, **more: Any) -> os.stat_result:
        if closed in self.parents:
            raise PermissionError(13, "Permission denied")
        return real(self, **more)

    monkeypatch.setattr(Path, "stat", stat)
    closed.mkdir()
    for read in (
        lambda: what_lies_at(closed / "a"),
        lambda: read_inventory(closed),
        lambda: read_inventory(closed / "inner"),
        lambda: read_operation(closed / "a.toml"),
        lambda: find_inventory(closed / "a.toml"),
    ):
        with pytest.raises(BadInput, match=r"closed/.*: cannot be read: Permission denied"):
            read()


@pytest.mark.parametrize(
    "key", ["hours", "name", "start", "need.windows", "site.latitude", "aim.mode", "limits.mass_g"]
)
def test_whole_numbers_of_9000_digits_are_the_users_fault(tmp_path: Path, key: str) -> None:
    # Python spells whole numbers of up to 4,300 digits only, but TOML's base 16 makes longer ones
    table, _, name = key.rpartition(".")
    path = tmp_path / "a.toml"
    value = "0x" + "f" * 9000
    path.write_text(f"[{table}]\n{name} = {value}\n" if table else f"{name} = {value}\n")
    with pytest.raises(BadInput, match="a number of thousands of digits"):
        read_operation(path)
    path.write_text(f"{name} = [[{value}]]\n[need]\nweather = [{value}]\n")
    with pytest.raises(BadInput, match="a number of thousands of digits"):
        read_operation(path)


def test_what_was_found_is_quoted_on_one_line() -> None:
    assert quoted(16**9000) == '"a number of thousands of digits"'
    assert quoted("\x1b[31m\u202e\n") == '" [31m  "'
