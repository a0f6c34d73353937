"""What a copy of the process makes ahead is waited for and found; and nothing fails where none can, or it dies."""

from __future__ import annotations

import os
import signal
import sys
import time
from collections.abc import Callable
from pathlib import Path

import numpy as np
import pytest

from kitopt import copies
from kitopt.files import ahead as module
from kitopt.files.ahead import Ahead, made_ahead
from kitopt.files.kept import FOLDER, Kept, kept, nothing_kept

MADE_BY = ("sky",)

pytestmark = pytest.mark.skipif(sys.platform != "linux", reason="only there a process is copied")


@pytest.fixture(autouse=True)
def folder(tmp_path: Path, monkeypatch: pytest.MonkeyPatch) -> Path:
    monkeypatch.setenv(FOLDER, str(tmp_path / "cache"))
    monkeypatch.setattr(module, "n_beside", lambda: 1)
    return tmp_path / "cache"


def asked(question: str, before: Callable[[], object] = lambda: None) -> int:
    """Which process answered a question."""

    def make() -> Kept:
        before()
        return Kept({"process": np.array([float(os.getpid())])})

    return int(kept(question, MADE_BY, make).arrays["process"][0])


def to_ask(question: str, before: Callable[[], object] = lambda: None, n_bytes: int = 0) -> Ahead:
    return Ahead(question, MADE_BY, lambda: asked(question, before), n_bytes)


def test_whoever_asks_waits_for_the_copy_in_whatever_order() -> None:
    with made_ahead([to_ask("a"), to_ask("b", lambda: time.sleep(0.3)), to_ask("c")]) as is_making:
        assert is_making
        by = [asked(question) for question in ("b", "c", "a", "other")]
    assert by[0] == by[1] == by[2] != by[3] == os.getpid()


def test_nothing_is_copied_for_what_is_kept_or_where_nothing_is_kept(monkeypatch: pytest.MonkeyPatch) -> None:
    asked("a")
    with made_ahead([to_ask("a")]) as is_making:
        assert not is_making
    with nothing_kept(), made_ahead([to_ask("b")]) as is_making:
        assert not is_making
    monkeypatch.setattr(module, "n_beside", lambda: 0)
    with made_ahead([to_ask("b")]) as is_making:
        assert not is_making


@pytest.mark.parametrize("end", ["raises", "dies", "keeps nothing"])
def test_what_the_copy_comes_to_nothing_with_is_made_here(end: str, folder: Path) -> None:
    here = os.getpid()

    def stumble() -> None:
        if os.getpid() != here:
            if end == "dies":
                os.kill(os.getpid(), signal.SIGKILL)
            if end == "raises":
                raise ValueError

    def ask() -> object:
        return None if end == "keeps nothing" else asked("b", stumble)

    with made_ahead([to_ask("a"), Ahead("b", MADE_BY, ask), to_ask("c")]) as is_making:
        assert is_making
        assert [asked(question) == here for question in ("c", "b", "a")] == [True, True, False]


def test_a_fault_is_told_to_whoever_asks_and_no_copy_is_left() -> None:
    def fail() -> None:
        raise ValueError("no such place")

    with pytest.raises(ValueError, match="no such place"), made_ahead([to_ask("a", fail)]):
        asked("a", fail)
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def test_the_copy_ends_with_what_it_was_for() -> None:
    begun = time.monotonic()
    with made_ahead([to_ask("a", lambda: time.sleep(50))]):
        pass
    assert time.monotonic() - begun < 20
    with pytest.raises(ChildProcessError):
        os.waitpid(-1, os.WNOHANG)


def test_a_copy_that_works_on_another_part_does_not_wait_for_what_is_told_here() -> None:
    with made_ahead([to_ask("a", lambda: time.sleep(50))]):
        other = copies.Copy(lambda pipe: pipe.write(b"here" if asked("a") == os.getpid() else b"there"))
        assert other.whole() == b"here"
        other.end()


def test_no_more_is_made_ahead_than_stays_on_the_disk(monkeypatch: pytest.MonkeyPatch) -> None:
    monkeypatch.setattr(module, "_MOST_BYTES", 100)
    with made_ahead([to_ask("a", n_bytes=60), to_ask("b", n_bytes=60), to_ask("c", n_bytes=40)]):
        assert [asked(question) == os.getpid() for question in ("a", "b", "c")] == [False, True, False]
