"""What the files for many kits may hold, as pydantic models."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, ClassVar

from kitopt.inventory.fields import WORDS, Amount, Number, OneOf, SomeOf, Value
from kitopt.operation.tables import BACKUPS, Table

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WHOLE = [
    "january",
    "february",
    "march",
    "april",
    "may",
    "june",
    "july",
    "august",
    "september",
    "october",
    "november",
    "december",
]
_BY_NAME = {name: n for names in (MONTHS, _WHOLE) for n, name in enumerate(names, start=1)}

_DEGC = Number("an air temperature in °C", "6 or -8", "degC", least=-90, most=60)


def _months(value: Any) -> tuple[int, ...]:
    words = value.lower().split() if isinstance(value, str) else value
    if words == ["all"]:
        return tuple(range(1, 13))
    if not isinstance(words, list) or not words:
        raise ValueError("neither")
    names = [word.strip().lower() if isinstance(word, str) else "" for word in words]
    if any(name not in _BY_NAME for name in names):
        raise ValueError("no month")
    # in the order written, which temperatures follow
    found = tuple(_BY_NAME[name] for name in names)
    if len(set(found)) < len(found):
        raise ValueError("a month twice")
    return found


def _temperatures(value: Any, decimal: str | None) -> tuple[float, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("no list")
    return tuple(float(_DEGC.read(one, decimal)) for one in value)


def _start(value: Any) -> datetime:
    if not isinstance(value, datetime) or not 1950 <= value.year <= 2200:
        raise ValueError("not a time")
    return value


MONTHS_FIELD = Value(_months, '"all", or some months, each once, such as ["may", "oct"]')
_LIST_DEGC = Amount(_temperatures, "a list of air temperatures in °C, one for each month, such as [-4, 2]")
_START = Value(_start, "a date with a time, without quotes, such as 2026-10-10T09:00:00")


class StandingTable(Table):
    """Keys of a grab-kit's file above its events."""

    name: Annotated[str, WORDS] = ""
    months: Annotated[tuple[int, ...], MONTHS_FIELD] = ()
    backup: Annotated[tuple[str, ...], SomeOf(BACKUPS, '["battery", "controller"]')] | None = None
    least: Annotated[str, OneOf(("mass", "items"))] = "mass"


class EventTable(Table):
    """One of ``[[events]]``."""

    file: Annotated[str, WORDS]
    months: Annotated[tuple[int, ...], MONTHS_FIELD] | None = None
    coldest_degc: Annotated[tuple[float, ...], _LIST_DEGC] | None = None
    warmest_degc: Annotated[tuple[float, ...], _LIST_DEGC] | None = None


class BagTable(Table):
    """One of ``[[bags]]``."""

    KIND: ClassVar[str] = "bags"

    name: Annotated[str, WORDS]
    mass_g: Annotated[int, Number("a mass", '9000 or "9 kg"', "g", above=0, most=10_000_000, whole="half-up")]


class ProgrammeTable(Table):
    """Keys of a season's or club's file above its operations."""

    name: Annotated[str, WORDS] = ""


class OutingTable(Table):
    """One of ``[[operations]]``."""

    file: Annotated[str, WORDS]
    operator: Annotated[str, WORDS] = ""
    start: Annotated[datetime, _START] | None = None
