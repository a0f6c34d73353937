"""Text that a terminal can be given: no control characters, no escapes, nothing that turns the writing round.

What is printed holds names, cells and keys of files that may come from anyone. A terminal obeys what it reads, so
whatever is not to be read is replaced by a blank, here and nowhere else.
"""

from __future__ import annotations

import unicodedata


def printable(text: str) -> str:
    """Text on one line: control characters, line breaks, marks of direction and halves of letters become blanks."""
    return text if text.isprintable() else "".join(char if char.isprintable() else " " for char in text)


def columns_of(text: str) -> int:
    """Columns of a terminal that text takes: wide letters take two, marks over a letter none."""
    if text.isascii():
        return len(text)
    wide = sum(unicodedata.east_asian_width(char) in "WF" for char in text)
    return len(text) + wide - sum(unicodedata.combining(char) > 0 for char in text)


def error_line(error: Exception, most: int = 300) -> str:
    """The sort of an error that nobody foresaw and its own words, of which there may be so many letters."""
    return f"{type(error).__name__}: {' '.join(str(error).split())[:most]}"


def cut(text: str, columns: int) -> str:
    """Text on one line of at most so many columns, an ellipsis where it was cut."""
    text = printable(text)
    if columns_of(text) <= columns:
        return text
    kept = text[: max(0, columns - 1)]
    while kept and columns_of(kept) > columns - 1:
        kept = kept[:-1]
    return kept.rstrip() + "…" if columns > 0 else ""
