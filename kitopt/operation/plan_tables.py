"""What the files for many kits may hold: one class a table, which is the one list of its keys."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, ClassVar

from kitopt.inventory.fields import WORDS, Amount, OneOf, Table, Told, Value
from kitopt.operation.tables import BACKUP, BACKUPS, DEGC, MASS, START

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
    return tuple(float(DEGC.read(one, decimal)) for one in value)


MONTHS_FIELD = Value(_months, '"all", or some months, each once, such as ["may", "oct"]')
_LIST_DEGC = Amount(_temperatures, "a list of air temperatures in °C, one for each month, such as [-4, 2]")


class StandingTable(Table):
    """Keys of a grab-kit's file above its events."""

    name: Annotated[str, WORDS, Told("of the kit; the file's name without it")] = ""
    months: Annotated[
        tuple[int, ...],
        MONTHS_FIELD,
        Told('to be ready in, or "all"; without it as the operations say', '["may", "oct"]'),
    ] = ()
    backup: Annotated[
        tuple[str, ...] | None,
        BACKUP,
        Told(f"kinds of which any one may fail: {', '.join(BACKUPS)}; instead of the operations' own", '["battery"]'),
    ] = None
    least: Annotated[str, OneOf(("mass", "items")), Told('or "items"')] = "mass"


class EventTable(Table):
    """One of ``[[events]]``."""

    file: Annotated[str, WORDS, Told("an operation, from this file's folder", '"operation.toml"')]
    months: Annotated[tuple[int, ...] | None, MONTHS_FIELD, Told("instead of those above", '["dec", "jan"]')] = None
    coldest_degc: Annotated[
        tuple[float, ...] | None, _LIST_DEGC, Told("coldest air, month by month in that order", "[-9, -7]")
    ] = None
    warmest_degc: Annotated[tuple[float, ...] | None, _LIST_DEGC, Told("warmest air, likewise", "[-1, 1]")] = None


class BagTable(Table):
    """One of ``[[bags]]``."""

    KIND: ClassVar[str] = "bags"

    name: Annotated[str, WORDS, Told("what you call it", '"rucksack"')]
    mass_g: Annotated[int, MASS, Told('what it may hold; or such as "9 kg"')]


class ProgrammeTable(Table):
    """Keys of a season's or club's file above its operations."""

    name: Annotated[str, WORDS, Told("of the programme; the file's name without it")] = ""


class OutingTable(Table):
    """One of ``[[operations]]``."""

    file: Annotated[str, WORDS, Told("an operation, from this file's folder", '"operation.toml"')]
    operator: Annotated[str, WORDS, Told("who goes; equal words share one bag", '"first team"')] = ""
    start: Annotated[datetime | None, START, Told("instead of the operation's own", "2027-06-27T07:00:00")] = None
