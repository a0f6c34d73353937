"""What is kept on the disk: found again bit for bit, bounded, and no reason for anything to fail."""

from __future__ import annotations

import os
import subprocess
import sys
from pathlib import Path

import numpy as np
import pytest

from kitopt.files import kept as module
from kitopt.files.kept import FOLDER, Kept, cache_folder, kept, nothing_kept


@pytest.fixture
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(FOLDER, str(tmp_path / "cache"))
    return tmp_path / "cache"


class Maker:
    """Makes an answer and counts how often."""

    def __init__(self) -> None:
        self.n = 0

    def __call__(self) -> Kept:
        self.n += 1
        return Kept({"a": np.array([[0.1 + 0.2, np.nan, -0.0, np.inf]])}, {"words": ["é", None], "n": self.n})


def entries(folder: Path) -> list[Path]:
    return sorted(folder.iterdir())


def test_the_same_question_is_answered_once_bit_for_bit(folder: Path) -> None:
    make = Maker()
    first, again, other = (kept(question, ("sky",), make) for question in ("a", "a", "b"))
    assert make.n == 2
    assert again.arrays["a"].tobytes() == first.arrays["a"].tobytes()
    assert (first.facts, again.facts, other.facts["n"]) == ({"words": ["é", None], "n": 1}, first.facts, 2)
    assert len(entries(folder)) == 2


def test_code_that_changed_reads_nothing_of_before(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make = Maker()
    kept("a", ("sky",), make)
    monkeypatch.setattr(module, "_code", lambda folders: "another")
    kept("a", ("sky",), make)
    assert make.n == 2


def test_the_code_is_known_by_its_text_and_its_packages() -> None:
    assert module._code(("sky",)) != module._code(("operation",))
    assert len(module._code(("sky",))) == 64


@pytest.mark.parametrize("harm", ["cut", "empty", "flipped", "other", "folder"])
def test_a_broken_entry_is_made_anew(folder: Path, harm: str) -> None:
    make = Maker()
    kept("a", ("sky",), make)
    (path,) = entries(folder)
    content = bytearray(path.read_bytes())
    content[200] ^= 255
    made = {"cut": bytes(content[:150]), "empty": b"", "flipped": bytes(content), "other": b"not an archive at all"}
    path.unlink()
    if harm == "folder":
        path.mkdir()
    else:
        path.write_bytes(made[harm])
    assert kept("a", ("sky",), make).facts["n"] == 2
    assert kept("a", ("sky",), make).facts["n"] == (3 if harm == "folder" else 2)


def test_a_disk_that_refuses_only_costs_time(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    (tmp_path / "file").write_text("in the way")
    monkeypatch.setenv(FOLDER, str(tmp_path / "file" / "cache"))
    make = Maker()
    assert [kept("a", ("sky",), make).facts["n"] for _ in range(2)] == [1, 2]


def test_without_the_variable_it_is_kept_in_the_users_own_folder(
    tmp_path: Path, monkeypatch: pytest.MonkeyPatch
) -> None:
    monkeypatch.delenv(FOLDER)
    monkeypatch.setenv("HOME", str(tmp_path))
    monkeypatch.delenv("XDG_CACHE_HOME", raising=False)
    found = cache_folder()
    assert found is not None
    assert found.name == "kitopt"
    assert tmp_path in found.parents


def test_a_package_that_is_not_installed_is_no_hindrance(monkeypatch: pytest.MonkeyPatch) -> None:
    before = module._code.__wrapped__(("sky",))
    monkeypatch.setattr(module, "_PACKAGES", (*module._PACKAGES, "no_such_package"))
    assert module._code.__wrapped__(("sky",)) == before


def test_an_empty_variable_keeps_nothing(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER, "")
    make = Maker()
    assert cache_folder() is None
    assert [kept("a", ("sky",), make).facts["n"] for _ in range(2)] == [1, 2]


def test_the_oldest_go_when_there_is_no_room(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    make = Maker()
    kept("old", ("sky",), make)
    (old,) = entries(folder)
    size = old.stat().st_size
    os.utime(old, (1, 1))
    (folder / ".killed.0123.npz").write_bytes(b"x" * size)
    os.utime(folder / ".killed.0123.npz", (2, 2))
    monkeypatch.setattr(module, "LARGEST_BYTES", int(2.5 * size))
    kept("new", ("sky",), make)
    kept("newer", ("sky",), make)
    assert len(entries(folder)) == 2
    kept("new", ("sky",), make)
    kept("newer", ("sky",), make)
    assert make.n == 3


def test_what_is_too_large_is_not_kept(folder: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "LARGEST_ENTRY_BYTES", 31)
    kept("a", ("sky",), Maker())
    assert not folder.exists()


def test_a_repeated_command_loads_nothing_that_makes_weather_and_a_first_leaves_it_to_a_copy(folder: Path) -> None:
    def run(n_copies: int) -> list[str]:
        program = (
            "import sys\n"
            "from kitopt.files import ahead\n"
            f"ahead.n_beside = lambda: {n_copies}\n"
            "from kitopt.cli.run import main\n"
            "try:\n"
            "    main(['pack', '--brief', '--no-reasons', '--windows', '20', '--hours', '6'])\n"
            "except SystemExit as end:\n"
            "    print([name for name in ('pandas', 'pvlib', 'gsee_climate_data') if name in sys.modules], end.code)\n"
        )
        done = subprocess.run([sys.executable, "-c", program], capture_output=True, text=True, check=True)
        return done.stdout.splitlines()

    alone, again = run(0), run(0)
    assert "'pvlib'" in alone[-1]
    assert again == [*alone[:-1], "[] 0"]
    if sys.platform == "linux":
        for path in folder.iterdir():
            path.unlink()
        assert run(1) == again


def test_what_is_asked_once_pushes_nothing_out(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setenv(FOLDER, str(tmp_path))
    with nothing_kept():
        kept("once", ("files",), lambda: Kept({}, 1))
    assert list(tmp_path.iterdir()) == []
    kept("again", ("files",), lambda: Kept({}, 1))
    assert len(list(tmp_path.iterdir())) == 1
