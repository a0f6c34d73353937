"""What the files for many kits may hold: one class a table, which is the one list of its keys."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated as As
from typing import Any, ClassVar

from kitopt.inventory.columns import Such, Table
from kitopt.inventory.fields import WORDS, Number, OneOf, Value
from kitopt.operation.tables import BACKUP, DEGC, MASS, MAY_FAIL, START

MONTHS = ("jan", "feb", "mar", "apr", "may", "jun", "jul", "aug", "sep", "oct", "nov", "dec")
_WHOLE = (
    *("january", "february", "march", "april", "may", "june"),
    *("july", "august", "september", "october", "november", "december"),
)
_BY_NAME = {name: n for names in (MONTHS, _WHOLE) for n, name in enumerate(names, start=1)}


def _months(value: Any, decimal: str | None) -> tuple[int, ...]:
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


DAYS = Number("a whole number of days", "90", least=0, most=3650, whole="exact")
HOURS_BETWEEN = Number("a number of hours", "3", least=0, most=10**4)
MONTHS_FIELD = Value(_months, '"all", or some months, each once, such as ["may", "oct"]')
_LIST_DEGC = Value(_temperatures, "a list of air temperatures in °C, one for each month, such as [-4, 2]")


class StandingTable(Table):
    """Keys of a grab-kit's file above its events."""

    name: As[str, WORDS, "of the kit; the file's name without it"] = ""
    months: As[tuple[int, ...], MONTHS_FIELD, 'to be ready in, or "all"', Such('["may", "oct"]')] = ()
    backup: As[tuple[str, ...] | None, BACKUP, f"instead of the operations': {MAY_FAIL}", Such('["battery"]')] = None
    least: As[str, OneOf(("mass", "items")), 'or "items"'] = "mass"
    recharge_days: As[int, DAYS, "that it lies by the door between two charges, at most"] = 90


class EventTable(Table):
    """One of ``[[events]]``."""

    file: As[str, WORDS, "an operation, from this file's folder", Such('"operation.toml"')]
    months: As[tuple[int, ...] | None, MONTHS_FIELD, "instead of those above", Such('["dec", "jan"]')] = None
    coldest_degc: As[tuple[float, ...] | None, _LIST_DEGC, "coldest air, month by month", Such("[-9, -7]")] = None
    warmest_degc: As[tuple[float, ...] | None, _LIST_DEGC, "warmest air, month by month", Such("[-1, 1]")] = None


class BagTable(Table):
    """One of ``[[bags]]``."""

    KIND: ClassVar[str] = "bags"

    name: As[str, WORDS, "what you call it", Such('"rucksack"')]
    mass_g: As[int, MASS, 'what it may hold; or such as "9 kg"']


class ProgrammeTable(Table):
    """Keys of a season's or club's file above its operations."""

    name: As[str, WORDS, "of the programme; the file's name without it"] = ""
    hours_between: As[float | None, HOURS_BETWEEN, "that pieces take to the next team; blank: by distance"] = None


class OutingTable(Table):
    """One of ``[[operations]]``."""

    file: As[str, WORDS, "an operation, from this file's folder", Such('"operation.toml"')]
    operator: As[str, WORDS, "who goes", Such('"first team"')] = ""
    start: As[datetime | None, START, "instead of the operation's own", Such("2027-06-27T07:00:00")] = None
