"""What the C library is told is no more than a wish: without it all goes on."""

from __future__ import annotations

import ctypes
import sys

import pytest

from kitopt.cli import freed_memory


def test_it_is_asked_where_there_is_such_a_library(monkeypatch: pytest.MonkeyPatch) -> None:
    asked: list[tuple[int, int]] = []

    class Library:
        @staticmethod
        def mallopt(option: int, value: int) -> int:
            asked.append((option, value))
            return 1

    monkeypatch.setattr(sys, "platform", "linux")
    monkeypatch.setattr(ctypes, "CDLL", lambda name: Library)
    freed_memory.keep_freed_memory()
    # M_TRIM_THRESHOLD and M_MMAP_THRESHOLD of the GNU C library's malloc.h
    assert [option for option, _ in asked] == [-1, -3]


@pytest.mark.parametrize("platform", ["linux", "darwin"])
def test_without_one_nothing_is_asked(monkeypatch: pytest.MonkeyPatch, platform: str) -> None:
    monkeypatch.setattr(sys, "platform", platform)
    monkeypatch.setattr(ctypes, "CDLL", lambda name: object())
    freed_memory.keep_freed_memory()
