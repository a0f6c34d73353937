"""The starter: what it writes reads back; it is all or nothing; it overwrites nothing."""

from __future__ import annotations

import os
import stat
from pathlib import Path

import pytest

from kitopt.errors import BadInput
from kitopt.inventory import read_inventory
from kitopt.inventory.starter import STARTER, write_starter
from kitopt.operation import check_against, find_inventory, read_operation


def test_what_it_writes_reads_back(tmp_path: Path) -> None:
    folder = tmp_path / "new" / "kit"
    written = write_starter(folder)
    assert sorted(path.name for path in written) == sorted(STARTER) == sorted(os.listdir(folder))
    operation = read_operation(folder / "operation.toml")
    inventory = read_inventory(find_inventory(folder / "operation.toml"))
    check_against(operation, inventory)
    assert inventory.warnings == operation.warnings == ()
    assert inventory.panels
    assert inventory.batteries
    assert inventory.controllers
    assert inventory.leads


def test_files_have_the_mode_of_any_new_file(tmp_path: Path) -> None:
    umask = os.umask(0o027)
    try:
        written = write_starter(tmp_path / "kit")
    finally:
        os.umask(umask)
    assert {stat.S_IMODE(path.stat().st_mode) for path in written} == {0o640}


def test_nothing_is_overwritten(tmp_path: Path) -> None:
    (tmp_path / "loads.csv").write_text("mine")
    (tmp_path / "operation.toml").symlink_to(tmp_path / "nowhere")
    with pytest.raises(BadInput) as caught:
        write_starter(tmp_path)
    assert sorted(Path(fault.file).name for fault in caught.value.faults) == ["loads.csv", "operation.toml"]
    assert (tmp_path / "loads.csv").read_text() == "mine"
    assert sorted(os.listdir(tmp_path)) == ["loads.csv", "operation.toml"]


def test_a_folder_that_is_a_file(tmp_path: Path) -> None:
    (tmp_path / "kit").write_text("")
    with pytest.raises(BadInput, match="not a folder"):
        write_starter(tmp_path / "kit")
    assert (tmp_path / "kit").read_text() == ""
