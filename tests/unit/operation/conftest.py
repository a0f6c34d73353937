from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import BadInput, Fault
from kitopt.operation import read_operation
from kitopt.operation.terms import Operation

Read = Callable[..., Operation]

TEXT = """\
name = "Trial"
start = 2026-10-10T09:00:00
hours = 26

[site]
latitude = 43.46
longitude = -3.8
timezone = "Europe/Madrid"
coldest_degc = 6
warmest_degc = 19

[need]
windows = 40

[[loads]]
id = "hf-20w"
mode = "ssb"
transmit = 0.2
"""


@pytest.fixture
def read(tmp_path: Path) -> Read:
    """Read the trial operation with pieces of its text replaced, and text added at its end."""

    def read(*changes: tuple[str, str], end: str = "") -> Operation:
        text = TEXT
        for old, new in changes:
            assert text.count(old) == 1, old
            text = text.replace(old, new)
        path = tmp_path / "trial.toml"
        path.write_bytes((text + end).encode())
        return read_operation(path)

    return read


@pytest.fixture
def faults_of(read: Read) -> Callable[..., list[Fault]]:
    """Return the faults of such an operation, without the file."""

    def faults_of(*changes: tuple[str, str], end: str = "") -> list[Fault]:
        with pytest.raises(BadInput) as caught:
            read(*changes, end=end)
        return list(caught.value.faults)

    return faults_of
