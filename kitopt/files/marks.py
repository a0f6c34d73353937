"""Which of point and comma is the decimal mark: settled by a file's own numbers, never guessed."""

from __future__ import annotations

import re
from collections.abc import Iterable

_DIGITS = r"[0-9]+(?:[.,][0-9]+)*|\.[0-9]+"
_NUMERAL = re.compile(rf"(?:{_DIGITS})(?P<power>[eE][+-]?[0-9])?")
_AMOUNTS = re.compile(rf"[+-]?(?:\s*(?:{_DIGITS})(?:[eE][+-]?[0-9]{{1,3}})?\s*(?:mm2|[A-Za-zµμΩ°'\"′″²%/]*)\.?)+")
_FORMS = {
    mark: re.compile(
        rf"(?P<whole>[0-9]+|[1-9][0-9]{{0,2}}(?:{other}[0-9]{{3}})+|(?={mark}))(?:{mark}(?P<part>[0-9]+))?"
    )
    for mark, other in ((r"\.", ","), (",", r"\."))
}
LONGEST = 60
"""Characters of the longest number that is looked at."""


class Ambiguous(ValueError):
    """A number that can be read two ways; carries how to write each so that it can be read one way only."""

    def __init__(self, thousands: str, decimals: str) -> None:
        self.thousands = thousands
        self.decimals = decimals
        super().__init__(f"{thousands} or {decimals}")


def decimal_mark(texts: Iterable[str]) -> str | None:
    """Return the decimal mark that a file's amounts prove, or None when none or both are proved.

    One number that can be read one way only is proof, whatever unit stands beside it: ``12,5``, ``1.45 kg``,
    ``0.500`` (no thousand begins with 0), ``1.234,5`` and ``1,234,567``.
    """
    proved: set[str] = set()
    for text in texts:
        if len(proved) == 2:
            break
        cleaned = text.strip().replace("−", "-")
        if ("." in cleaned or "," in cleaned) and len(cleaned) <= LONGEST and _AMOUNTS.fullmatch(cleaned):
            for numeral in _NUMERAL.finditer(cleaned):
                readings = _readings(numeral)
                if len(readings) == 1:
                    proved.update(readings)
    return proved.pop() if len(proved) == 1 else None


def with_points(text: str, decimal: str | None) -> str:
    """Return the text with every number in it written plainly: no thousands marks, a point for the decimal mark.

    Parameters
    ----------
    text : str
        One amount, or several with their units.
    decimal : str or None
        The file's decimal mark; None where nothing settles it.

    Raises
    ------
    Ambiguous
        If a number can be read two ways and nothing settles which.
    ValueError
        If it can be read no way.
    """
    if "." not in text and "," not in text:
        return text

    def plain(numeral: re.Match[str]) -> str:
        readings = _readings(numeral)
        if not readings:
            raise ValueError("no number")
        if len(set(readings.values())) == 1:
            return next(iter(readings.values()))
        if decimal is not None:
            return readings[decimal]
        small, large = sorted(readings.values(), key=float)
        short = small.rstrip("0").rstrip(".")
        # a fourth decimal can only be a decimal
        small = short if len(short.partition(".")[2]) != 3 else f"{short}0"
        rest = text[: numeral.start()], text[numeral.end() :]
        raise Ambiguous(large.join(rest), small.join(rest))

    return _NUMERAL.sub(plain, text)


def _readings(numeral: re.Match[str]) -> dict[str, str]:
    """A numeral written plainly under each decimal mark that it fits; both agree where it has no mark."""
    power = numeral["power"] or ""
    digits = numeral[0].removesuffix(power)
    found = {}
    for mark, other in ((".", ","), (",", ".")):
        form = _FORMS[re.escape(mark) if mark == "." else mark].fullmatch(digits)
        # powers of ten are not written with thousands marks, nor is a number begun with a comma
        if form and not (power and other in digits) and not digits.startswith(","):
            part = f".{form['part']}" if form["part"] else ""
            found[mark] = f"{form['whole'].replace(other, '')}{part}{power}"
    return found
