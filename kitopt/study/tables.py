"""What a study's file and its file of sites may hold: one class a table, which is the one list of its keys."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated as As
from typing import Any
from zoneinfo import ZoneInfo, available_timezones

from kitopt.files.nearest import did_you_mean
from kitopt.inventory import cells
from kitopt.inventory.columns import Such, Table
from kitopt.inventory.fields import WORDS, Number, Text, Value
from kitopt.operation.maidenhead import place_of
from kitopt.operation.moment import zone_named
from kitopt.operation.plan_tables import MONTHS_FIELD
from kitopt.operation.tables import ALTITUDE, LATITUDE, LONGITUDE


def _dates(value: Any, decimal: str | None) -> tuple[date, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("no list")
    if any(isinstance(one, datetime) or not isinstance(one, date) or not 1950 <= one.year <= 2200 for one in value):
        raise ValueError("no date")
    if len(set(value)) < len(value):
        raise ValueError("a date twice")
    return tuple(value)


def _some_words(value: Any, decimal: str | None) -> tuple[str, ...]:
    if not isinstance(value, list) or not value:
        raise ValueError("no list")
    if any(not isinstance(one, str) or not one.strip() or not one.isprintable() for one in value):
        raise ValueError("no words")
    if len(set(value)) < len(value):
        raise ValueError("twice")
    return tuple(one.strip() for one in value)


def _by_month(text: str) -> tuple[float, ...]:
    """One temperature for the whole year, or twelve from January on."""
    found = tuple(cells.number(one, "degC", ".") for one in text.replace(",", ".").split())
    if len(found) not in (1, 12) or not all(-90 <= one <= 60 for one in found):
        raise ValueError("neither one nor twelve")
    return found * (12 // len(found))


def _hills(text: str) -> tuple[tuple[float, float], ...]:
    found = []
    for one in text.split():
        around, colon, height = one.partition(":")
        pair = cells.number(around, None, "."), cells.number(height, None, ".")
        if not colon or not 0 <= pair[0] <= 360 or not 0 <= pair[1] <= 90:
            raise ValueError("no hill")
        found.append(pair)
    return tuple(sorted(found))


_ZONE = Text(
    *(zone_named, "a time zone, such as Europe/Madrid"), lambda text: did_you_mean(text, available_timezones())
)
_KITS = Value(_some_words, 'a list of kits, each once, such as ["lfp-30:1, fold-50:2"]')
_FOLDERS = Value(_some_words, 'a list of folders, each once, such as ["our-inventory"]')
_DATES = Value(_dates, "a list of dates without quotes, each once, such as [2027-06-12, 2027-12-11]")
_BY_MONTH = Text(_by_month, "one air temperature in °C, or twelve from January on with blanks between")
_HILLS = Text(_hills, "azimuths from north and heights in degrees, such as 180:5 270:12")
_PRIORITY = Number("a weight", "1, or 3 for a site that counts as three", above=0, most=1000)
_STANDARD = Number("a number of kits", "3", least=0, most=20, whole="exact")
_FRESH = Number("a number of windows", "1000", least=100, most=5000, whole="exact")
_AT_ONCE = Number("a number of sites", "2", least=1, most=10_000, whole="exact")


class StudyTable(Table):
    """Keys of a study's file above its patterns."""

    name: As[str, WORDS, "of the study; the file's name without it"] = ""
    sites: As[str, WORDS, "a CSV file of sites, from this file's folder", Such('"sites.csv"')]
    months: As[tuple[int, ...], MONTHS_FIELD, "in the middle of which each pattern is put", Such('["jan", "jul"]')] = ()
    dates: As[tuple[date, ...], _DATES, "on which each pattern begins, instead of months", Such("[2027-06-12]")] = ()
    inventories: As[tuple[str, ...], _FOLDERS, "from this file's folder; found near it without", Such('["."]')] = ()
    catalogue: As[str, WORDS, "folder of what could be bought; catalogue/ in the first inventory without"] = ""
    kits: As[tuple[str, ...], _KITS, "to be judged instead of finding the best", Such('["lfp-30:1, fold-50:2"]')] = ()
    standard_kits: As[int, _STANDARD, "few kits that together serve most sites; none are looked for with 0"] = 0
    fresh: As[int, _FRESH, "unseen spells of weather by which each kit's chance is told"] = 1000


class PatternTable(Table):
    """One of ``[[patterns]]``."""

    file: As[str, WORDS, "an operation, from this file's folder; its site and day are replaced", Such('"day.toml"')]


class StoreTable(Table):
    """One of ``[[stores]]``."""

    name: As[str, WORDS, "as the sites call it", Such('"north"')]
    at_once: As[int, _AT_ONCE, "any so many of its sites may need their kits at the same time"] = 1


class SiteRow(Table):
    """One row of a file of sites."""

    name: As[str, WORDS, "what the site is called"]
    latitude: As[float | None, LATITUDE, "north is +"] = None
    longitude: As[float | None, LONGITUDE, "east is +"] = None
    locator: As[tuple[float, float] | None, Text(lambda t: place_of(t.strip()), "a locator, such as IN83cl")] = None
    altitude_m: As[float, ALTITUDE, "of the site"] = 0.0
    timezone: As[ZoneInfo | None, _ZONE, "of the clocks; found from the place without it"] = None
    coldest_degc: As[tuple[float, ...] | None, _BY_MONTH, "coldest air: one number, or twelve"] = None
    warmest_degc: As[tuple[float, ...] | None, _BY_MONTH, "warmest air: one number, or twelve"] = None
    horizon: As[tuple[tuple[float, float], ...], _HILLS, "hills: azimuth:height in degrees, blanks between"] = ()
    priority: As[float, _PRIORITY, "how much it counts"] = 1.0
    store: As[str, WORDS, "which store it draws on"] = ""
