"""The text of one cell to a value. Everything raises ValueError on text that is not exactly as it should be."""

from __future__ import annotations

import math
import re
from datetime import date, datetime
from typing import Literal

from kitopt.files.marks import LONGEST, with_points
from kitopt.files.units import to_unit
from kitopt.inventory.families import canonical, family_of
from kitopt.inventory.items import Connector

# float() would take 1_000, nan, inf, full-width digits and 1e400
_NUMBER = r"(?:[0-9]+(?:\.[0-9]*)?|\.[0-9]+)(?:[eE][+-]?[0-9]{1,3})?"
_PLAIN = re.compile(rf"[+-]?{_NUMBER}", re.ASCII)
_PART = re.compile(rf"\s*({_NUMBER})\s*(mm2|[A-Za-zµμΩ°'\"′″²]{{1,16}})\.?")
_PERCENT = re.compile(rf"([+-]?{_NUMBER})\s*%(?:\s*(?:/|per\s)\s*(?:K|°C|degC|C))?")
_SPACES = re.compile(r"[   ]")
_CONNECTOR = re.compile(r"(\w[\w.+/-]{0,59})(?::(plug|socket))?")
_ID = re.compile(r"\w[\w.+/:-]{0,79}")


def _clean(text: str, decimal: str | None) -> str:
    text = _SPACES.sub(" ", text).replace("−", "-").strip()
    if len(text) > LONGEST:
        raise ValueError("too long for a number")
    return with_points(text, decimal)


def _finite(text: str) -> float:
    value = float(text)
    if not math.isfinite(value):
        raise ValueError("too large for a number")
    return value


def number(text: str, unit: str | None, decimal: str | None = None) -> float:
    """Return a number, converted to `unit` when the cell names one.

    Parameters
    ----------
    text : str
        Such as ``740``, ``1.6 lb``, ``3 lb 2 oz`` or ``7,4``.
    unit : str or None
        The column's unit as `kitopt.files.units` spells it; None for a bare number.
    decimal : str or None
        The file's decimal mark, "." or ","; None where nothing settles it.
    """
    cleaned = _clean(text, decimal)
    if _PLAIN.fullmatch(cleaned):
        return _finite(cleaned)
    if unit is None:
        raise ValueError("not a number")
    sign = -1.0 if cleaned.startswith("-") else 1.0
    rest = cleaned[1:] if cleaned[:1] in ("+", "-") else cleaned
    parts: list[tuple[float, str]] = []
    while rest.strip():
        part = _PART.match(rest)
        if part is None:
            raise ValueError("not a number with a unit")
        parts.append((_finite(part[1]), part[2]))
        rest = rest[part.end() :]
    if not parts:
        raise ValueError("not a number")
    if sign < 0:
        parts = [(-amount, name) for amount, name in parts]
    return to_unit(parts, unit)


def is_percent(text: object) -> bool:
    """Whether a share is written in percent."""
    return isinstance(text, str) and "%" in text


def share(text: str, decimal: str | None = None) -> float:
    """Return a share written as a fraction or in percent: ``0.95``, ``95 %``, ``-0.3 %/K``."""
    cleaned = _clean(text, decimal)
    if percent := _PERCENT.fullmatch(cleaned):
        # shifting the point is exact where dividing by 100 is not
        return _finite(f"{percent[1]}e-2") if "e" not in percent[1].lower() else _finite(percent[1]) / 100
    # its mark is a point by now, and stands for decimals
    return number(cleaned, None, ".")


def yes_no(text: str) -> bool:
    """Return whether the cell says yes."""
    answer = {"yes": True, "y": True, "true": True, "no": False, "n": False, "false": False}.get(text.lower())
    if answer is None:
        raise ValueError("neither yes nor no")
    return answer


def connector(text: str) -> Connector:
    """Return the connector written ``family``, ``family:plug`` or ``family:socket``, in small letters."""
    match = _CONNECTOR.fullmatch(text.lower())
    if match is None:
        raise ValueError("not a connector")
    side: Literal["", "plug", "socket"] = "plug" if match[2] == "plug" else "socket" if match[2] == "socket" else ""
    return Connector(match[1], side)


_SIDES = {"male": "plug", "plug": "plug", "female": "socket", "socket": "socket", "jack": "socket"}
_USB = re.compile(r"\busb[\s-]*(?:type[\s-]*)?(a|b|c|mini|micro)\b|\b(mini|micro)[\s-]*usb\b|\busb\b")
_BOLT = re.compile(r"\bm\s?([0-9]+)\b")
_ROUND = re.compile(r"([0-9.]+)\s*(?:mm)?\s*[x×/]\s*([0-9.]+)")


def connector_meant(text: str) -> str:
    """Return " Write ring-m6." for words that are none of a connector, such as "ring terminal M6", or nothing."""
    # a size may be written apart, and USB has a letter; either is one word of a connector
    text = _USB.sub(lambda usb: f"usb-{usb[1] or usb[2] or 'a'} ", text.lower())
    text = _ROUND.sub(r"\1x\2", _BOLT.sub(r"m\1", text))
    words = re.findall(r"[a-z0-9.+/-]+", text)
    known = (one for word in words for one in (word, word.removesuffix("s")) if family_of(one))
    family = next((canonical(one) for one in known), None)
    side = next((f":{_SIDES[word]}" for word in words if word in _SIDES), "")
    if family is None:
        # a family of the owner's own, of which only the side is written otherwise
        return f" Write {words[0]}{side}." if side and len(words) == 2 and words[0] not in _SIDES else ""
    sizes = [word for word in words if re.fullmatch(r"m[0-9]+|[0-9.]+x[0-9.]+", word)]
    alone = re.search(r"(?:^|[a-z] )([0-9.]*[0-9])(?: ?mm)?(?= |$)(?! v\b)", " ".join(words))
    if not sizes and alone and not family.startswith("usb"):
        # bolts are told by M, round plugs by both diameters, of which the outer one is 5.5 mm where one is told
        sizes = [{"ring": "m", "stud": "m", "barrel": "5.5x"}.get(family, "") + alone[1]]
    size = f"-{sizes[0]}" if sizes and f"-{sizes[0]}" not in family else ""
    return f" Write {family}{size}{side}."


def family(text: str) -> str:
    """Return the family of a connector, in small letters."""
    found = connector(text)
    if found.side:
        raise ValueError("one side of a family")
    return found.family


def iso_date(text: str) -> date:
    """Return a date written year-month-day."""
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}", text):
        raise ValueError("not a date")
    return date.fromisoformat(text)


def moment(text: str) -> datetime:
    """Return a date with a time and its offset."""
    if not re.fullmatch(r"[0-9]{4}-[0-9]{2}-[0-9]{2}[T ][0-9]{2}:[0-9]{2}(:[0-9]{2})?(Z|[+-][0-9]{2}:[0-9]{2})", text):
        raise ValueError("not a moment")
    return datetime.fromisoformat(text)


def identifier(text: str) -> str:
    """Return an id: letters, digits and ``. + / : _ -``, without blanks because lists are separated by them."""
    if not _ID.fullmatch(text):
        raise ValueError("not an id")
    return text


def words(text: str) -> tuple[str, ...]:
    """Return the parts of a list separated by blanks."""
    return tuple(text.split())


def plain_text(text: str) -> str:
    """Return text without the apostrophe that guards a formula sign in spreadsheets."""
    return text[1:] if re.match(r"'[=+\-@\t]", text) else text
