"""Quantities in words that fit a narrow page."""

from __future__ import annotations

import itertools
import textwrap
from collections.abc import Iterable
from datetime import datetime
from fractions import Fraction

from kitopt.files.plain import printable
from kitopt.operation.terms import Bound

WIDTH = 80


def mass(mass_g: float) -> str:
    """Grams below one kilogram, else kilograms."""
    return f"{mass_g:.0f} g" if mass_g < 1000 else f"{mass_g / 1000:,.2f} kg"


def price(cents: float, currency: str) -> str:
    """Whole cents in the inventory's currency."""
    return f"{currency} {cents / 100:,.2f}".strip()


def hours(value_h: float) -> str:
    """Hours to a tenth."""
    return f"{round(value_h, 1):g} h"


def forced(bounds: Iterable[Bound]) -> str:
    """What is forced in and out, such as "at least 2 lfp-10, no fold-20"."""
    parts = [f"at least {one.least} {one.id}" for one in bounds if one.least]
    parts += [f"at most {one.most} {one.id}" if one.most else f"no {one.id}" for one in bounds if one.most is not None]
    return ", ".join(parts)


def percent(share: Fraction) -> str:
    """A share as percent, no more digits than it has."""
    return f"{float(share * 100):.6g} %"


def moment(time: datetime) -> str:
    """Weekday, day and clock at the site, in English whatever the locale."""
    days = ("Mon", "Tue", "Wed", "Thu", "Fri", "Sat", "Sun")
    months = ("Jan", "Feb", "Mar", "Apr", "May", "Jun", "Jul", "Aug", "Sep", "Oct", "Nov", "Dec")
    return f"{days[time.weekday()]} {time.day} {months[time.month - 1]} {time:%H:%M}"


def wrapped(text: str, first: str = "", after: str | None = None) -> list[str]:
    """Lines of at most `WIDTH`, the first after one indent and the others after another.

    Quantities such as "4.8 Ah" are not torn apart.
    """
    lines = textwrap.wrap(
        _glued(printable(text)),
        WIDTH,
        initial_indent=first,
        subsequent_indent=" " * len(first) if after is None else after,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def _glued(text: str) -> str:
    """Text in which a number and the unit after it count as one word."""
    words = text.split(" ")
    glued = words[0]
    for before, word in itertools.pairwise(words):
        is_unit = word.rstrip(".,;:)?") in _UNITS and before[-1:].isdigit()
        glued += ("\N{NO-BREAK SPACE}" if is_unit else " ") + word
    return glued


_UNITS = frozenset(("kg", "g", "h", "Wh", "Ah", "W", "A", "V", "°C", "%", "m", "km", "items"))
