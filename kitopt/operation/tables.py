"""What each table of an operation may hold: key, meaning, range and example, as pydantic models."""

from __future__ import annotations

from datetime import datetime
from typing import Annotated, Any, ClassVar
from zoneinfo import ZoneInfo

from pydantic import BaseModel, ConfigDict

from kitopt.inventory import cells
from kitopt.inventory.fields import CONNECTOR, IDENTIFIER, WORDS, Amount, Flag, Number, OneOf, SomeOf, Text, Value
from kitopt.inventory.items import Connector
from kitopt.operation.maidenhead import place_of
from kitopt.operation.moment import zone_named
from kitopt.operation.spans import read_span
from kitopt.operation.terms import Shade, Span

BACKUPS = ("battery", "controller", "panel", "lead")
# mean over full while transmitting
MODES = {"ssb": 0.4, "ssb-compressed": 0.6, "cw": 0.5, "fm": 1.0, "data": 1.0}

_SPAN = Text(read_span, 'hours of the day, such as "18:00-23:00" or "22:00-06:00"')
_DEGC = Number("an air temperature in °C", "6 or -8", "degC", least=-90, most=60)
_SHARE = Number("a share", '0.2 or "20 %"', "share", least=0, most=1)


def _start(value: Any) -> datetime:
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


def _forecast(value: Any) -> tuple[float, ...]:
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


class Table(BaseModel):
    """Common settings; unknown keys are warned about before the values are looked at."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, arbitrary_types_allowed=True, frozen=True)

    KIND: ClassVar[str] = ""
    """Under which name its usual values stand in `kitopt.inventory.ranges`."""


class TopTable(Table):
    """Keys above the first table."""

    KIND: ClassVar[str] = "operation"

    name: Annotated[str, WORDS] = ""
    start: Annotated[datetime, Value(_start, "a date with a time, without quotes, such as 2026-10-10T09:00:00")]
    hours: Annotated[float, Number("a number of hours", "26", least=0.1, most=60 * 24)]
    station_connector: Annotated[Connector, CONNECTOR] | None = None
    panel_distance_m: Annotated[float, Number("a distance", '5 or "15 ft"', "m", least=0, most=500)] = 0.0
    batteries: Annotated[str, OneOf(("in turn", "parallel"))] = "in turn"
    battery_lead: Annotated[str, OneOf(("each", "moved"))] = "each"


class SiteTable(Table):
    """``[site]``."""

    KIND: ClassVar[str] = "site"

    latitude: Annotated[float, Number("a latitude in degrees", "43.46", least=-90, most=90)] | None = None
    longitude: Annotated[float, Number("a longitude in degrees", "-3.8", least=-180, most=180)] | None = None
    locator: Annotated[tuple[float, float], Text(_locator, 'a locator, such as "IN83cl"')] | None = None
    altitude_m: Annotated[float, Number("an altitude", '40 or "130 ft"', "m", least=-450, most=8900)] = 0.0
    timezone: Annotated[ZoneInfo, Text(zone_named, 'a time zone, such as "Europe/Madrid"')] | None = None
    coldest_degc: Annotated[float, _DEGC] | None = None
    warmest_degc: Annotated[float, _DEGC] | None = None
    horizon: tuple[
        tuple[
            Annotated[float, Number("an azimuth in degrees", "270", least=0, most=360)],
            Annotated[float, Number("a height in degrees", "12", least=0, most=90)],
        ],
        ...,
    ] = ()
    shade: tuple[
        Annotated[
            Shade,
            Amount(
                _shade,
                'hours of the day, such as "18:00-23:00", or a table with hours = ["18:00-23:00"], and beam and '
                'diffuse: the shares that pass, such as "0 %" and "40 %"',
            ),
        ],
        ...,
    ] = ()
    cells: Annotated[
        float | None, Amount(_cells, '"as the air", or how cold the batteries get at most, such as 5 or "41 °F"')
    ] = None


class NeedTable(Table):
    """``[need]``."""

    KIND: ClassVar[str] = "need"

    confidence: Annotated[float, Number("a confidence", '0.95 or "95 %"', "share", above=0, most=1)] = 0.95
    reserve: Annotated[tuple[float, float], Amount(_reserve, 'a reserve with its unit, such as "10 %" or "30 Wh"')] = (
        0.1,
        0.0,
    )
    weather: Annotated[
        str | tuple[float, ...],
        Amount(_weather, '"climate", "no sun", a file, or daily shares of clear sky from 0 to 1.2, such as [0.3, 0.2]'),
    ] = "climate"
    forecast: Annotated[tuple[float, ...], Value(_forecast, _FORECAST_NEED)] = ()
    windows: Annotated[int, Number("a number of windows", "500", least=1, most=20_000, whole="exact")] = 500
    seed: Annotated[int, Number("a seed", "1", least=0, most=2**32 - 1, whole="exact")] = 1
    start_charge: Annotated[float, Number("a share of full charge", '"80 %"', "share", least=0, most=1)] = 1.0
    backup: Annotated[tuple[str, ...], SomeOf(BACKUPS, '["battery", "controller"]')] = ()
    step_minutes: Annotated[float, Number("a number of minutes", "30", least=5, most=60, whole="exact")] = 30


class AimTable(Table):
    """``[aim]``."""

    mode: Annotated[str, OneOf(("flat", "fixed", "re-aimed"))]
    every_h: Annotated[float, Number("a number of hours", "2", above=0, most=24)] = 2.0
    tilt_deg: Annotated[float, Number("a tilt in degrees from the ground", "35", least=0, most=90)] | None = None
    azimuth_deg: Annotated[float, Number("an azimuth in degrees from north", "180", least=0, most=360)] | None = None


class LimitsTable(Table):
    """``[limits]``."""

    KIND: ClassVar[str] = "limits"

    mass_g: (
        Annotated[int, Number("a mass", '9000 or "9 kg"', "g", above=0, most=10_000_000, whole="half-up")] | None
    ) = None
    air_travel: Annotated[bool, Flag()] = False


class GoalTable(Table):
    """``[goal]``."""

    least: Annotated[str, OneOf(("mass", "price", "items"))] = "mass"


class LoadTable(Table):
    """One of ``[[loads]]``."""

    KIND: ClassVar[str] = "uses"

    id: Annotated[str, IDENTIFIER]
    count: Annotated[int, Number("a count", "1 or 2", least=1, most=1000, whole="exact")] = 1
    mode: Annotated[str, OneOf((*MODES, "on"))] | None = None
    full_share: Annotated[float, Number("a share", '0.35 or "35 %"', "share", least=0, most=1)] | None = None
    wh_per_day: Annotated[float, Number("an energy a day", '15 or "15 Wh"', "Wh", above=0, most=100_000)] | None = None
    transmit: Annotated[float, _SHARE] | None = None
    on_air: tuple[Annotated[Span, _SPAN], ...] | None = None
    on: tuple[Annotated[Span, _SPAN], ...] | None = None
    quiet: Annotated[str, OneOf(("listen", "off"))] | None = None
    priority: Annotated[str, OneOf(("must", "nice"))] = "must"
