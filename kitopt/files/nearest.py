"""The known name that a mistyped one most resembles."""

from __future__ import annotations

from collections.abc import Iterable


def nearest(name: str, known: Iterable[str], cutoff: float = 0.6) -> str | None:
    """Return the known name most like `name`, or None when nothing comes near.

    `cutoff` is how like it must be, from 0 to 1.
    """
    import difflib

    choices = {choice.lower(): choice for choice in sorted(known)}
    small = name[:100].lower()
    close = difflib.get_close_matches(small, choices, n=1, cutoff=cutoff)
    if close:
        return choices[close[0]]
    # "mass" for "mass_g" or "latitude_deg" for "latitude": one is the start of the other
    starts = [choice for choice in choices if len(small) > 2 and (choice.startswith(small) or small.startswith(choice))]
    return choices[starts[0]] if starts else None


def did_you_mean(name: str, known: Iterable[str]) -> str:
    """Return " Did you mean X?" or nothing."""
    near = nearest(name, known)
    return f" Did you mean {near}?" if near else ""
