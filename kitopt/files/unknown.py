"""How an owner writes that something is not known."""

from __future__ import annotations

_WORDS = frozenset(("", "?", "unknown", "n/a"))


def is_unknown(text: object) -> bool:
    """Whether a cell or key says that its value is not known: blank, ``?``, ``unknown`` or ``n/a``."""
    return isinstance(text, str) and text.strip().lower() in _WORDS
