"""TOML: the line of every key, by a scan that must agree with the parser."""

from __future__ import annotations

import tomllib
from datetime import datetime

import pytest

from kitopt.files.faults import FaultList
from kitopt.files.toml_text import KeyLines, dotted, parse_toml

TEXT = '''\
# first = 1
a = 1
"b c" = """
fake = 2
[fake]
"""
d.e = 'x # ['

[site] # remark
x = [
  [1, 2], # y = 3
  "]", # [site]
]
y = { p = 1, q = [2] }

[[loads]]
id = "one"
[loads.more]
k = 1

[[loads]]
id = "two"
[loads.more]
k = 2
[[ loads . parts ]]
z = 1
'''


@pytest.mark.parametrize(
    ("path", "line"),
    [
        (("a",), 2),
        (("b c",), 3),
        (("d", "e"), 7),
        (("d",), 7),
        (("site",), 9),
        (("site", "x"), 10),
        (("site", "x", 0, 1), 10),
        (("site", "y"), 14),
        (("site", "y", "p"), 14),
        (("site", "absent"), 9),
        (("loads",), 16),
        (("loads", 0), 16),
        (("loads", 0, "id"), 17),
        (("loads", 0, "more", "k"), 19),
        (("loads", 1), 21),
        (("loads", 1, "id"), 22),
        (("loads", 1, "more", "k"), 24),
        (("loads", 1, "parts", 0, "z"), 26),
        (("fake",), 1),
        (("absent",), 1),
    ],
)
def test_the_line_of_a_key(path: tuple[str | int, ...], line: int) -> None:
    assert tomllib.loads(TEXT)
    assert KeyLines(TEXT).of(path) == line


def test_paths_are_counted_from_one() -> None:
    assert dotted(("loads", 0, "on_air", 1)) == "loads[1].on_air[2]"
    assert dotted(("need", "windows")) == "need.windows"


@pytest.mark.parametrize(
    ("text", "line"),
    [
        ("a = 1\nb = \n", 2),
        ("a = 1\na = 2\n", 2),
        ("[x]\ny = 1\n[x]\n", 3),
        ("a = 1\nb = 'x\n", 2),
        ("a = 1\n\nb = 1_\n", 3),
        ("a = [1,\n2\n", 2),
        ("junk", 1),
        ("a = \nstart = 2026-10-10T09:00\n", 1),
        ("a = 1\nb = " + "9" * 5000 + "\n", 2),
        ("a = " + "[" * 5_000, 1),
    ],
)
def test_the_line_of_a_syntax_fault(text: str, line: int | None) -> None:
    faults = FaultList("x.toml")
    assert parse_toml(text, faults) is None
    assert [fault.line for fault in faults.listed()] == [line]


@pytest.mark.parametrize("written", ["2026-10-10T09:00", "2026-10-10 09:00", "2026-10-10T09:00:00"])
def test_a_time_may_do_without_seconds(written: str) -> None:
    faults = FaultList("x.toml")
    assert parse_toml(f"start = {written} # nine\n", faults) == {"start": datetime(2026, 10, 10, 9)}
    assert not faults.listed()
