"""A hut without sun, and commands run as processes of their own: output descriptors are part of what is tested."""

from __future__ import annotations

import os
import subprocess
import sys
from collections.abc import Callable
from pathlib import Path

import pytest
from dark_hut import LOADS
from dark_hut import hut as operation

BATTERIES = """\
id,name,count,mass_g,price,chemistry,nominal_v,capacity_ah,measured_ah,max_charge_a,max_discharge_a,fused,connector
box-10,tin box,2,1200,80,lifepo4,12.8,10,10,5,20,yes,genderless-30
box-4,small box,3,500,,lifepo4,12.8,4,,2,8,yes,genderless-30
agm-7,lead box,1,2300,20,agm,12,7,6,2,10,yes,genderless-30
"""

Run = Callable[..., "subprocess.CompletedProcess[str]"]


@pytest.fixture
def hut(tmp_path: Path) -> Path:
    """A folder with an inventory and the operation hut.toml."""
    (tmp_path / "batteries.csv").write_text(BATTERIES, encoding="utf-8")
    (tmp_path / "loads.csv").write_text(LOADS, encoding="utf-8")
    (tmp_path / "hut.toml").write_text(operation(), encoding="utf-8")
    return tmp_path


@pytest.fixture
def run(tmp_path: Path) -> Run:
    """Runs ``kitopt`` in the temporary folder."""

    def kitopt(*args: str, **environment: str) -> subprocess.CompletedProcess[str]:
        return subprocess.run(
            [sys.executable, "-m", "kitopt", *args],
            cwd=tmp_path,
            env={**os.environ, **environment},
            capture_output=True,
            encoding="utf-8",
            timeout=300,
            check=False,
        )

    return kitopt
