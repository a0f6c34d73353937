"""What each table of an operation may hold: one class a table, which is the one list of its keys."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated as As
from typing import Any, ClassVar
from zoneinfo import ZoneInfo, available_timezones

from kitopt.files.nearest import did_you_mean
from kitopt.inventory import cells
from kitopt.inventory.columns import Such, Table
from kitopt.inventory.fields import (
    CONNECTOR,
    IDENTIFIER,
    WORDS,
    Flag,
    Number,
    OneOf,
    SomeOf,
    Text,
    Value,
)
from kitopt.inventory.items import MODES, Connector
from kitopt.operation.maidenhead import place_of
from kitopt.operation.moment import zone_named
from kitopt.operation.spans import read_span, read_time
from kitopt.operation.terms import Shade, Span

BACKUPS = ("battery", "controller", "panel", "lead")

_TIME = Text(read_time, 'a time of the day, such as "06:00"')
_SPAN = Text(read_span, 'hours of the day, such as "18:00-23:00" or "22:00-06:00"')
DEGC = Number("an air temperature in °C", "6 or -8", "degC", least=-90, most=60)
_SHARE = Number("a share", '0.2 or "20 %"', "share", least=0, most=1)


def _start(value: Any, decimal: str | None) -> datetime:
    if not isinstance(value, datetime):
        raise ValueError("not a time")
    if not 1950 <= value.year <= 2200:
        raise ValueError("not in this age")
    return value


def _reserve(value: Any, decimal: str | None) -> tuple[float, float]:
    """Return reserve as a share and in watt-hours; one of them is 0."""
    if not isinstance(value, str):
        raise ValueError("without a unit")
    if "%" in value:
        share = cells.share(value, decimal)
        if not 0 <= share < 1:
            raise ValueError("not a share")
        return share, 0.0
    if value.strip()[-1:].isdigit():
        raise ValueError("without a unit")
    energy_wh = cells.number(value, "Wh", decimal)
    if energy_wh < 0:
        raise ValueError("negative")
    return 0.0, energy_wh


def _cell_share(value: Any, decimal: str | None) -> float:
    """Return a share from text in the file's own marks, or from a number, whose mark is a point."""
    return cells.share(value, decimal) if isinstance(value, str) else cells.share(repr(value), ".")


def _locator(text: str) -> tuple[float, float]:
    return place_of(text.strip())


def _shade(value: Any, decimal: str | None) -> Shade:
    """Return hours alone, or a table of hours and of what passes."""
    if isinstance(value, str):
        return Shade((read_span(value),))
    if not isinstance(value, dict) or not {"hours"} <= set(value) <= {"hours", "beam", "diffuse"}:
        raise ValueError("neither hours nor a table with them")
    hours = value["hours"]
    if not isinstance(hours, list) or not hours or not all(isinstance(one, str) for one in hours):
        raise ValueError("no hours")
    passes = {f"{key}_share": _cell_share(one, decimal) for key, one in value.items() if key != "hours"}
    if not all(0 <= share <= 1 for share in passes.values()):
        raise ValueError("not shares")
    return Shade(tuple(read_span(one) for one in hours), **passes)


def _cells(value: Any, decimal: str | None) -> float | None:
    """Return how cold cells that are kept warm get, or None for those as cold as the air."""
    if isinstance(value, str) and value.strip().lower() == "as the air":
        return None
    degc = cells.number(value, "degC", decimal) if isinstance(value, str) else cells.number(repr(value), "degC", ".")
    if not -60 <= degc <= 60:
        raise ValueError("no such cells")
    return degc


def _weather(value: Any, decimal: str | None) -> str | tuple[float, ...]:
    """Return a word or path as text, or daily shares."""
    if isinstance(value, str) and value.strip() and value.isprintable():
        return value.strip()
    if not isinstance(value, list) or not 1 <= len(value) <= 400:
        raise ValueError("neither")
    shares = tuple(_cell_share(one, decimal) for one in value)
    if not all(0 <= share <= 1.2 for share in shares):
        raise ValueError("not shares")
    return shares


FORECAST_WORDS = {"clear": 0.95, "fair": 0.75, "mixed": 0.5, "dull": 0.3, "rain": 0.15}
"""Shares of clear sky of a forecast's words. Common practice, no source."""

_FORECAST_NEED = (
    'for each of the first days a share of clear sky from 0 to 1 or a word, such as [0.8, 0.3, "dull"]; words are '
    + ", ".join(FORECAST_WORDS)
)


def _forecast(value: Any, decimal: str | None) -> tuple[float, ...]:
    """Return shares of clear sky, one a day."""
    if not isinstance(value, list) or len(value) > 30:
        raise ValueError("not a list")
    shares = []
    for one in value:
        word = one.strip().lower() if isinstance(one, str) else ""
        shares.append(FORECAST_WORDS[word] if word in FORECAST_WORDS else cells.share(word or repr(one)))
    if not all(0 <= share <= 1 for share in shares):
        raise ValueError("not shares")
    return tuple(shares)


_ZONE = Text(
    *(zone_named, 'a time zone, such as "Europe/Madrid"'), lambda text: did_you_mean(text, available_timezones())
)
_SHADE = Value(
    _shade,
    'hours of the day, such as "18:00-23:00", or a table with hours = ["18:00-23:00"], and beam and diffuse: the '
    'shares that pass, such as "0 %" and "40 %"',
)
_WEATHER = Value(
    _weather, '"climate", "no sun", a file, or daily shares of clear sky from 0 to 1.2, such as [0.3, 0.2]'
)
_RESERVE = Value(_reserve, 'a reserve with its unit, such as "10 %" or "30 Wh"')
_CELLS = Value(_cells, '"as the air", or how cold the batteries get at most, such as 5 or "41 °F"')
_LOCATOR = Text(_locator, 'a locator, such as "IN83cl"')
_HOURS = Number("a number of hours", "26", least=0.1, most=60 * 24)
_DISTANCE = Number("a distance", '5 or "15 ft"', "m", least=0, most=500)
LATITUDE = Number("a latitude in degrees", "43.46", least=-90, most=90)
LONGITUDE = Number("a longitude in degrees", "-3.8", least=-180, most=180)
ALTITUDE = Number("an altitude", '40 or "130 ft"', "m", least=-450, most=8900)
_HEIGHT = Number("a height in degrees", "12", least=0, most=90)
_AROUND = Number("an azimuth in degrees", "270", least=0, most=360)
_CONFIDENCE = Number("a confidence", '0.95 or "95 %"', "share", above=0, most=1)
_WINDOWS = Number("a number of windows", "500", least=1, most=20_000, whole="exact")
_SEED = Number("a seed", "1", least=0, most=2**32 - 1, whole="exact")
_CHARGE = Number("a share of full charge", '"80 %"', "share", least=0, most=1)
_MINUTES = Number("a number of minutes", "30", least=5, most=60, whole="exact")
_EVERY = Number("a number of hours", "2", above=0, most=24)
_TILT = Number("a tilt in degrees from the ground", "35", least=0, most=90)
_AZIMUTH = Number("an azimuth in degrees from north", "180", least=0, most=360)
_COUNT = Number("a count", "1 or 2", least=1, most=1000, whole="exact")
_FULL = Number("a share", '0.35 or "35 %"', "share", least=0, most=1)
_CIRCUIT = Text(str.strip, 'a name for the loads that share batteries, such as "small"')
_DAILY = Number("an energy a day", '15 or "15 Wh"', "Wh", above=0, most=100_000)
START = Value(_start, "a date with a time, without quotes, such as 2026-10-10T09:00:00")
BACKUP = SomeOf(BACKUPS, '["battery", "controller"]')
MASS = Number("a mass", '9000 or "9 kg"', "g", above=0, most=10_000_000, whole="half-up")
MAY_FAIL = f"kinds of which any one may fail: {', '.join(BACKUPS)}"

_WHAT_PASSES = 'hours in the shade; or { hours = [...], beam = "0 %", diffuse = "40 %" }: what passes'
_FIRST_DAYS = f"of the first days: shares of clear sky, or {', '.join(FORECAST_WORDS)}"
_APART = 'or "apart": two equal banks, one on the air while the sun charges the other'
_Hills = tuple[tuple[As[float, _AROUND], As[float, _HEIGHT]], ...]
_Spans = tuple[As[Span, _SPAN], ...]


class TopTable(Table):
    """Keys above the first table."""

    KIND: ClassVar[str] = "operation"

    name: As[str, WORDS, "of the outing; the file's name without it"] = ""
    start: As[datetime, START, "time of day at the site", Such("2026-10-10T09:00:00")]
    hours: As[float, _HOURS, "how long it lasts"]
    station_connector: As[Connector | None, CONNECTOR, "where batteries and loads meet; needed to check leads"] = None
    panel_distance_m: As[float, _DISTANCE, "from the panels to the station"] = 0.0
    batteries: As[str, OneOf(("in turn", "parallel")), 'one after another, or "parallel": all at once'] = "in turn"
    battery_lead: As[str, OneOf(("each", "moved")), 'each on its own fused lead; "moved": one lead for all'] = "each"
    charge: As[str, OneOf(("together", "apart")), _APART] = "together"
    swap: As[tuple[As[int, _TIME], ...], "where apart: when they change places", Such('["06:00", "18:00"]')] = ()


class SiteTable(Table):
    """``[site]``."""

    KIND: ClassVar[str] = "site"

    latitude: As[float | None, LATITUDE, "north is +"] = None
    longitude: As[float | None, LONGITUDE, "east is +"] = None
    locator: As[tuple[float, float] | None, _LOCATOR, "instead of latitude and longitude", Such('"IN83cl"')] = None
    altitude_m: As[float, ALTITUDE, "of the site"] = 0.0
    timezone: As[ZoneInfo | None, _ZONE, "of the clocks; found from the place without it", Such('"Europe/Madrid"')] = (
        None
    )
    coldest_degc: As[float | None, DEGC, "coldest air expected, at dawn"] = None
    warmest_degc: As[float | None, DEGC, "warmest air expected; a weather file brings both"] = None
    horizon: As[_Hills, "hills: [azimuth from north, height] in degrees", Such("[[180, 5], [270, 12]]")] = ()
    shade: As[tuple[As[Shade, _SHADE], ...], _WHAT_PASSES, Such('["16:00-20:00"]')] = ()
    cells: As[float | None, _CELLS, "how cold batteries that are kept warm get", Such('"as the air"')] = None


class NeedTable(Table):
    """``[need]``."""

    KIND: ClassVar[str] = "need"

    confidence: As[float, _CONFIDENCE, "share of weather windows that must be survived"] = 0.95
    reserve: As[tuple[float, float], _RESERVE, 'held back; or such as "30 Wh"', Such('"10 %"')] = (0.1, 0.0)
    weather: As[str | tuple[float, ...], _WEATHER, 'or "no sun", daily shares of clear sky, or a weather file'] = (
        "climate"
    )
    forecast: As[tuple[float, ...], Value(_forecast, _FORECAST_NEED), _FIRST_DAYS, Such('[0.8, 0.3, "dull"]')] = ()
    windows: As[int, _WINDOWS, "weather histories tried"] = 500
    seed: As[int, _SEED, "another seed, other windows"] = 1
    start_charge: As[float, _CHARGE, "of the batteries at the start"] = 1.0
    backup: As[tuple[str, ...], BACKUP, MAY_FAIL, Such('["battery", "controller"]')] = ()
    step_minutes: As[float, _MINUTES, "length of a step of the clock"] = 30


class AimTable(Table):
    """``[aim]``."""

    mode: As[str, OneOf(("flat", "fixed", "re-aimed")), "of panels that tilt: flat, fixed or re-aimed"]
    every_h: As[float, _EVERY, "between turns, where re-aimed"] = 2.0
    tilt_deg: As[float | None, _TILT, "from the ground, where fixed; chosen without it"] = None
    azimuth_deg: As[float | None, _AZIMUTH, "clockwise from true north, where fixed"] = None


class LimitsTable(Table):
    """``[limits]``."""

    KIND: ClassVar[str] = "limits"

    mass_g: As[int | None, MASS, 'most that all of it may weigh; or such as "9 kg"'] = None
    nice_at_most_g: As[int | None, MASS, "most that nice loads may add to the kit of the musts alone"] = None
    air_travel: As[bool, Flag(), "whether it must be allowed in an aeroplane"] = False


class GoalTable(Table):
    """``[goal]``."""

    least: As[str, OneOf(("mass", "price", "items")), 'or "price" or "items"'] = "mass"


class LoadTable(Table):
    """One of ``[[loads]]``."""

    KIND: ClassVar[str] = "uses"

    id: As[str, IDENTIFIER, "as in loads.csv", Such('"hf-20w"')]
    count: As[int, _COUNT, "how many of it"] = 1
    mode: As[str | None, OneOf((*MODES, "on")), f"{', '.join(MODES)} or on"] = None
    full_share: As[float | None, _FULL, "instead of mode: mean draw in use over full draw"] = None
    wh_per_day: As[float | None, _DAILY, "instead of mode: energy a day"] = None
    transmit: As[float | None, _SHARE, "share of the time on the air"] = None
    on_air: As[_Spans | None, "hours on the air; all of them without it", Such('["08:00-23:00"]')] = None
    on: As[_Spans | None, 'hours of a load with mode = "on"', Such('["21:00-23:30"]')] = None
    quiet: As[str | None, OneOf(("listen", "off")), 'what it does otherwise: "listen" or "off"'] = None
    priority: As[str, OneOf(("must", "nice")), 'or "nice": runs where it can, first named first'] = "must"
    circuit: As[str, _CIRCUIT, "loads with batteries, controllers and wiring of their own", Such('"small"')] = ""
