"""TOML text to values, and the line on which each key stands."""

from __future__ import annotations

import re
import tomllib
from collections.abc import Iterator
from typing import Any

from kitopt.files.faults import FaultList

LARGEST_BYTES = 250_000
LONGEST_LINE = 10_000
DEEPEST = 6
KeyPath = tuple[str | int, ...]

_BARE = r"""[A-Za-z0-9_-]+|"[^"\\]*"|'[^']*'"""
_DOTTED = rf"(?:{_BARE})(?:\s*\.\s*(?:{_BARE}))*"
_HEADER = re.compile(rf"\s*(\[\[?)\s*({_DOTTED})\s*\]")
_KEY = re.compile(rf"\s*({_DOTTED})\s*=(.*)", re.DOTALL)
_NAME = re.compile(_BARE)
_TOKEN = re.compile(r'''"""|\'\'\'|"(?:\\.|[^"\\])*"|'[^']*'|\#.*|[\[\]{}]''')
_PLACE = re.compile(r" \(at line (\d+), column (\d+)\)$")
_SHORT_TIME = re.compile(r"^([^=\n#\"']*=[ \t]*\d{4}-\d\d-\d\d[T ]\d\d:\d\d)(?=\s*(?:#.*)?$)", re.MULTILINE)


def parse_toml(text: str, faults: FaultList) -> dict[str, Any] | None:
    """Return the document's values, or None after noting where its syntax breaks."""
    lines = text.split("\n")
    for number, line in enumerate(lines, start=1):
        # the time that the parser takes grows with the square of a dotted key
        if len(line) > LONGEST_LINE:
            faults.add(number, None, f"found a line of {len(line):,} characters. Is it the right file?")
            return None
    try:
        return tomllib.loads(text)
    except (ValueError, RecursionError) as error:
        # a time may do without seconds since TOML 1.1, and a fault of it would hide every other one of the file
        with_seconds = _SHORT_TIME.sub(r"\1:00", text)
        if with_seconds != text:
            return parse_toml(with_seconds, faults)
        at, reason = _syntax_fault(text, str(error))
    written = lines[at - 1] if at is not None and at <= len(lines) else ""
    value = written.partition("=")[2].strip()
    if "\\" in value and not value.startswith("'"):
        reason += "; a path is written with / between its folders, on every system"
    faults.add(at, None, f"this is not TOML: {reason}.")
    return None


def _syntax_fault(text: str, reason: str) -> tuple[int | None, str]:
    """Return line and reason. tomllib has the place in its words only, and not always."""
    if place := _PLACE.search(reason):
        return int(place[1]), f"{reason[: place.start()]}, at character {place[2]}"
    reason = reason.removesuffix(" (at end of document)")

    import tomlkit
    from tomlkit.exceptions import ParseError

    try:
        tomlkit.parse(text)
    except ParseError as error:
        return min(error.line, text.count("\n") + 1), reason
    except Exception:  # it raises whatever it trips over; there is no better place then than the end
        pass
    return text.count("\n") + 1, reason


def texts_in(value: Any) -> Iterator[str]:
    """Every text among a document's values, however deep."""
    waiting = [value]
    while waiting:
        one = waiting.pop()
        if isinstance(one, str):
            yield one
        elif isinstance(one, dict | list):
            waiting.extend(one.values() if isinstance(one, dict) else one)


class KeyLines:
    """The physical line of each key, found by reading the text a second time.

    Parameters
    ----------
    text : str
        A document that tomllib accepts.
    """

    def __init__(self, text: str) -> None:
        self._lines: dict[KeyPath, int] = {}
        self._scan(text)

    def of(self, path: KeyPath) -> int | None:
        """Return the line of a value, or of the nearest thing around it that has one."""
        for n in range(len(path), 0, -1):
            if path[:n] in self._lines:
                return self._lines[path[:n]]
        return 1

    def _scan(self, text: str) -> None:
        table: KeyPath = ()
        counts: dict[KeyPath, int] = {}
        depth = 0
        closing = ""
        for number, line in enumerate(text.split("\n"), start=1):
            rest = line
            if not depth and not closing:
                if header := _HEADER.match(line):
                    table = self._resolve(_names(header[2]), counts)
                    if header[1] == "[[":
                        n = counts.get(table, 0)
                        counts[table] = n + 1
                        table = (*table, n)
                    self._note(table, number)
                    continue
                if not (key := _KEY.match(line)):
                    continue
                self._note((*table, *_names(key[1])), number)
                rest = key[2]
            depth, closing = _open_at_end(rest, depth, closing)

    def _resolve(self, names: KeyPath, counts: dict[KeyPath, int]) -> KeyPath:
        """Return the path of a header, with the number of the latest element wherever it passes an array."""
        path: KeyPath = ()
        for i, name in enumerate(names):
            path = (*path, name)
            if i < len(names) - 1 and path in counts:
                path = (*path, counts[path] - 1)
        return path

    def _note(self, path: KeyPath, line: int) -> None:
        for n in range(1, len(path) + 1):
            self._lines.setdefault(path[:n], line)


def _names(dotted: str) -> KeyPath:
    # no key that is known lies deeper
    return tuple(name.strip("\"'") for name in _NAME.findall(dotted)[:DEEPEST])


def _open_at_end(rest: str, depth: int, closing: str) -> tuple[int, str]:
    """Return the bracket depth, and the quotation marks that are still open, at the end of a line."""
    while rest:
        if closing:
            _, mark, rest = rest.partition(closing)
            if not mark:
                return depth, closing
            closing = ""
            continue
        token = _TOKEN.search(rest)
        if token is None or token[0].startswith("#"):
            return depth, ""
        rest = rest[token.end() :]
        if token[0] in ('"""', "'''"):
            closing = token[0]
        elif token[0] in "[{":
            depth += 1
        elif token[0] in "]}":
            depth -= 1
    return depth, closing


def dotted(path: KeyPath) -> str:
    """Return a path as a key is written: ``need.windows``, ``loads[2].mode`` (counted from 1)."""
    text = ""
    for part in path:
        text += f"[{part + 1}]" if isinstance(part, int) else f".{part}" if text else part
    return text
