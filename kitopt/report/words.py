"""Quantities in words that fit a narrow page."""

from __future__ import annotations

import itertools
import re
import textwrap
from collections.abc import Iterable
from contextvars import ContextVar
from datetime import datetime
from fractions import Fraction

from kitopt.files.plain import printable
from kitopt.files.units import UNITS
from kitopt.operation.terms import Bound

LEAST_WIDTH, WIDTH = 40, 80
"""Columns of a page, at the least and at the most."""

_COLUMNS: ContextVar[int] = ContextVar("columns", default=WIDTH)
_TOLD_IN: ContextVar[tuple[str, ...]] = ContextVar("told in", default=())
_METRIC = re.compile(r"(?<![\w.,])([0-9][0-9,]*(?:\.[0-9]+)?) (kg|g|m)(?![\w²³/])")


def tell_within(columns: int) -> None:
    """Keep lines within so many columns from now on, as far as a page can be as narrow or wide."""
    _COLUMNS.set(min(WIDTH, max(LEAST_WIDTH, columns)))


def width() -> int:
    """Columns that a line may take."""
    return _COLUMNS.get()


def tell_in(units: tuple[str, ...]) -> None:
    """Tell masses in "lb", lengths in "ft", where these are among the units, from now on."""
    _TOLD_IN.set(units)


def mass(mass_g: float, *, to_the_gram: bool = False) -> str:
    """Grams below one kilogram, else kilograms; ounces and pounds where the owner has these."""
    if "lb" not in _TOLD_IN.get():
        return f"{mass_g:.0f} g" if mass_g < 1000 else f"{mass_g / 1000:,.{3 if to_the_gram else 2}f} kg"
    unit, digits = ("oz", ".3g") if mass_g < UNITS["g"]["lb"] else ("lb", ",.2f")
    return f"{mass_g / UNITS['g'][unit]:{digits}} {unit}"


def _in_their_units(text: str) -> str:
    """Text with its masses and lengths in the owner's units."""

    def told(found: re.Match[str]) -> str:
        value, unit = float(found[1].replace(",", "")), found[2]
        if unit == "m":
            return f"{value / UNITS['m']['ft']:.3g} ft" if "ft" in _TOLD_IN.get() else found[0]
        return mass(value * UNITS["g"][unit]) if "lb" in _TOLD_IN.get() else found[0]

    return _METRIC.sub(told, text) if _TOLD_IN.get() else text


def length(metres: float) -> str:
    """Metres, or feet where the owner has these."""
    return _in_their_units(f"{metres:g} m")


def spell(label: str) -> str:
    """What a spell of weather is called: a number where it was drawn, else the day or days that it was."""
    return f"no. {label.removeprefix('window ')}" if label.startswith("window ") else label


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


def wrapped(text: str, first: str = "", after: str | None = None, most: int = WIDTH) -> list[str]:
    """Lines as wide as the page, or less, the first after one indent and the others after another.

    Quantities such as "4.8 Ah" are not torn apart.
    """
    lines = textwrap.wrap(
        _glued(_in_their_units(printable(text))),
        min(most, width()),
        initial_indent=first,
        subsequent_indent=" " * len(first) if after is None else after,
        break_on_hyphens=False,
    )
    return [line.replace("\N{NO-BREAK SPACE}", " ") for line in lines]


def unwrapped(lines: Iterable[str]) -> list[str]:
    """Paragraphs of lines again: one that begins with a blank goes on with the one before."""
    found: list[str] = []
    for line in lines:
        if line.startswith(" ") and found:
            found[-1] += f" {line.strip()}"
        elif line.strip():
            found.append(line.strip())
    return found


def _glued(text: str) -> str:
    """Text in which a number and the unit after it count as one word."""
    words = text.split(" ")
    glued = words[0]
    for before, word in itertools.pairwise(words):
        is_unit = word.rstrip(".,;:)?") in _UNITS and before[-1:].isdigit()
        glued += ("\N{NO-BREAK SPACE}" if is_unit else " ") + word
    return glued


_UNITS = frozenset(("kg", "g", "lb", "oz", "ft", "h", "Wh", "Ah", "W", "A", "V", "°C", "%", "m", "km", "items"))
