"""Every case of this folder, and the reader of cases itself."""

from __future__ import annotations

from pathlib import Path

import pytest
from golden_cases import FOLDER, matches, read_case, run_case

CASES = sorted(path for path in FOLDER.glob("*.txt"))


def test_there_are_cases() -> None:
    assert len(CASES) >= 10


@pytest.mark.parametrize("path", CASES, ids=lambda path: path.stem)
def test_golden(path: Path, tmp_path: Path) -> None:
    case = read_case(path)
    result = run_case(case, tmp_path)
    told = f"exit {result.returncode}\n--- stdout\n{result.stdout}--- stderr\n{result.stderr}"
    assert result.returncode == case.exit, told
    assert matches(case.stdout, result.stdout), told
    assert matches(case.stderr, result.stderr), told


@pytest.mark.parametrize(
    ("expected", "found", "is_match"),
    [
        ("a\nb\n", "a\nb\n", True),
        ("a\n", "a\nb\n", False),
        ("a\n...\n", "a\nb\nc\n", True),
        ("a\n...\nc\n", "a\nc\n", True),
        ("a\n...\nc\n", "a\nb\n", False),
        ("...\nb\n...\n", "a\nb\nc\n", True),
        ("...\nb\n...\n", "a\nc\n", False),
        ("a\n...\na\n", "a\n", False),
        ("a...c\n", "abc\n", True),
        ("a...c\n", "ab\nc\n", False),
        ("a.c\n", "abc\n", False),
        ("a\n", "a", False),
        ("", "", True),
        ("", "a\n", False),
    ],
)
def test_dots_stand_for_any_lines(expected: str, found: str, is_match: bool) -> None:
    assert matches(expected, found) is is_match
