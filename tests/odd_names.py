"""Names that somebody may give a thing by accident or in malice, for files of every kind."""

from __future__ import annotations

import csv
import io
import json
import re
from collections.abc import Iterator, Mapping
from itertools import count

ODD = (
    "<script>alert(1)</script>",
    "</script><img src=x onerror=alert(1)>",
    "\u202egnol\u202c",
    "אבג דהו",
    "Ж" * 300,
    "🔋🏕️👩‍🔧",
    "\"'&<>",
    "=HYPERLINK(1)",
    "\x1b[31mred\x1b[0m\x07\u202eturned\u2066\x9b2J",
    "#set page(width: 1cm) $x$ *a* _b_ @c `d` \\ [e]",
    "{{ name }} %s {0} ${x}",
)
"""Elements and their ends, writing turned round, other letters, 300 of them, pictures, marks, a formula, an escape for
a terminal, and the marks of typesetting and of templates."""

_NAME = re.compile(r'^name = ".*"$', re.MULTILINE)


def oddly_named(files: Mapping[str, str], first: int) -> dict[str, str]:
    """Files with every name in them replaced; each is another, so that none is there twice; from which on is told."""
    odd = (f"{ODD[n % len(ODD)]}{n}" for n in count(first))
    return {
        name: _in_table(text, odd) if name.endswith(".csv") else _in_toml(text, odd) for name, text in files.items()
    }


def _in_toml(text: str, odd: Iterator[str]) -> str:
    return _NAME.sub(lambda _: f"name = {in_toml(next(odd))}", text)


def in_toml(text: str) -> str:
    """Text as TOML writes it: as JSON does, but for letters beyond the first plane."""
    return "".join(char if ord(char) > 0xFFFF else json.dumps(char)[1:-1] for char in text).join('""')


def _in_table(text: str, odd: Iterator[str]) -> str:
    rows = list(csv.reader(io.StringIO(text)))
    if not rows or "name" not in rows[0]:
        return text
    at = rows[0].index("name")
    for row in rows[1:]:
        if len(row) > at:
            row[at] = next(odd)
    made = io.StringIO()
    csv.writer(made, lineterminator="\n").writerows(rows)
    return made.getvalue()
