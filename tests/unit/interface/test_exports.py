"""What ``import kitopt`` gives: exactly these names, loaded on first use, none hidden by a folder."""

from __future__ import annotations

import subprocess
import sys
from pathlib import Path

import kitopt

EXPORTED = {
    *("read_inventory", "read_operation", "read_standing", "read_programme", "demo_folder"),
    *("pack", "grab_kit", "share", "buy", "why", "site_at", "sun", "reading", "keep", "learned", "now"),
    *("read_study", "answer_study", "Study", "Studied"),
    *("Inventory", "Operation", "Standing", "Programme", "Result", "Argument", "FieldResult", "Learned", "Lasting"),
    *("KitoptError", "BadInput", "Fault", "__version__"),
}


def test_these_names_are_exported_and_no_others() -> None:
    assert set(kitopt.__all__) == EXPORTED
    assert {name for name in EXPORTED if not hasattr(kitopt, name)} == set()
    assert set(dir(kitopt)) >= EXPORTED


def test_no_folder_or_module_bears_an_exported_name() -> None:
    package = Path(kitopt.__file__).parent
    there = {path.stem for path in package.iterdir() if path.suffix in ("", ".py")}
    assert there & EXPORTED == set()


def test_importing_kitopt_loads_next_to_nothing() -> None:
    code = "import sys, kitopt; print(*(name for name in sys.modules if name.split('.')[0] == 'kitopt'))"
    loaded = subprocess.run([sys.executable, "-c", code], capture_output=True, text=True, check=True).stdout.split()
    assert loaded == ["kitopt"]


def test_a_name_that_is_not_there_is_no_attribute() -> None:
    assert not hasattr(kitopt, "pack_everything")
