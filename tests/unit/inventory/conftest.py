from __future__ import annotations

from collections.abc import Callable
from pathlib import Path

import pytest

from kitopt.errors import BadInput, Fault
from kitopt.inventory import read_inventory

GOOD = {
    "batteries.csv": "id,mass_g,chemistry,capacity_ah,connector\nlfp,1400,lifepo4,12,genderless-30\n",
    "loads.csv": "id,mass_g,idle_a,full_a,connector\nhf,1100,0.5,4.5,genderless-30\n",
}


@pytest.fixture
def write(tmp_path: Path) -> Callable[..., Path]:
    """Write a good small inventory, with files replaced or added by name (dots as double underscores)."""

    def write(**files: str | bytes) -> Path:
        named = {name.replace("__", "."): content for name, content in files.items()}
        for name, content in {**GOOD, **named}.items():
            (tmp_path / name).write_bytes(content if isinstance(content, bytes) else content.encode())
        return tmp_path

    return write


@pytest.fixture
def faults_of(write: Callable[..., Path]) -> Callable[..., list[Fault]]:
    """Read such an inventory and return the faults, the folder's name taken off."""

    def faults_of(**files: str | bytes) -> list[Fault]:
        folder = write(**files)
        with pytest.raises(BadInput) as caught:
            read_inventory(folder)
        return [Fault(Path(fault.file).name, fault.line, fault.column, fault.text) for fault in caught.value.faults]

    return faults_of
