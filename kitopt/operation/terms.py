"""One outing to be powered, as frozen typed values with every default filled."""

from __future__ import annotations

from collections.abc import Container
from dataclasses import dataclass, field, replace
from datetime import datetime
from fractions import Fraction
from pathlib import Path
from typing import Literal
from zoneinfo import ZoneInfo

from kitopt.inventory.items import Assumed, Connector

Objective = Literal["mass", "price", "items"]


@dataclass(frozen=True)
class Span:
    """Hours of the day, in minutes after local midnight; ``end_min`` below ``start_min`` crosses midnight."""

    start_min: int
    end_min: int


@dataclass(frozen=True)
class Shade:
    """Hours in which something stands between the panels and the sky, and what passes it.

    Trees and walls take the beam whole; 40 % of the light of the sky is left where nobody says more (common practice,
    no source).
    """

    spans: tuple[Span, ...]
    beam_share: float = 0.0
    diffuse_share: float = 0.4


@dataclass(frozen=True)
class Site:
    """Where it is; ``cells_degc`` is how cold batteries that are kept warm get, None for those as cold as the air.

    Angles in degrees, north and east positive; heights of the horizon clockwise from north."""

    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    timezone: ZoneInfo
    coldest_degc: float | None
    warmest_degc: float | None
    horizon_deg: tuple[tuple[float, float], ...] = ()
    shade: tuple[Shade, ...] = ()
    cells_degc: float | None = None


@dataclass(frozen=True)
class Climate:
    """The built-in monthly climate of the place, after the shares of clear sky that a forecast gives the first days."""

    forecast: tuple[float, ...] = ()


@dataclass(frozen=True)
class WeatherFile:
    """A weather file that pvlib reads."""

    path: Path


@dataclass(frozen=True)
class Shares:
    """Daily shares of clear sky, 0 to 1; the last repeats."""

    shares: tuple[float, ...]


@dataclass(frozen=True)
class NoSun:
    """No sun at all."""


Weather = Climate | WeatherFile | Shares | NoSun


@dataclass(frozen=True)
class Need:
    """What is promised. Of the two reserves one is 0; likewise start charge is a share of usable capacity."""

    confidence: Fraction = Fraction(19, 20)
    reserve_share: float = 0.1
    reserve_wh: float = 0.0
    weather: Weather = Climate()
    windows: int = 500
    seed: int = 1
    start_charge_share: float = 1.0
    backup: tuple[str, ...] = ()
    step_h: float = 0.5


@dataclass(frozen=True)
class Aim:
    """How panels that tilt are aimed; a fixed aim with None is chosen from the sky."""

    mode: Literal["flat", "fixed", "re-aimed"] = "flat"
    every_h: float = 2.0
    tilt_deg: float | None = None
    azimuth_deg: float | None = None


@dataclass(frozen=True)
class LoadUse:
    """How one load of the inventory is used in this operation.

    Attributes
    ----------
    full_share : float
        Mean current while transmitting (or on) over full current, 0 to 1.
    transmit_share : float
        Share of the on-air time spent transmitting, 0 to 1.
    spans : tuple of Span
        Hours on the air (or on); empty means always.
    quiet : {"listen", "off"}
        What it does outside those hours.
    wh_per_day : float or None
        Energy a day, spread evenly over the spans; replaces the rest when given. [Wh]
    """

    id: str
    count: int = 1
    mode: str = "on"
    full_share: float = 1.0
    transmit_share: float = 1.0
    spans: tuple[Span, ...] = ()
    quiet: Literal["listen", "off"] = "listen"
    wh_per_day: float | None = None
    priority: Literal["must", "nice"] = "must"
    circuit: str = ""
    """Loads of one circuit share batteries, controllers and wiring; empty for the main one."""
    line: int = 0


@dataclass(frozen=True)
class Bound:
    """How many pieces of an item a kit must take and may take, whatever else would be best."""

    id: str
    least: int = 0
    most: int | None = None
    """None for as many as there are."""


def circuit_name(name: str) -> str:
    """What a circuit is called; the main one has no name of its own."""
    return name or "main"


@dataclass(frozen=True)
class Operation:
    """One outing. ``start`` is aware, in the site's time zone; ``hours`` are elapsed hours."""

    file: str
    name: str
    start: datetime
    hours: float
    site: Site
    loads: tuple[LoadUse, ...]
    need: Need = Need()
    aim: Aim = Aim()
    station_connector: Connector | None = None
    panel_distance_m: float = 0.0
    batteries: Literal["in turn", "parallel"] = "in turn"
    battery_lead: Literal["each", "moved"] = "each"
    """In turn: a fused lead to each battery that has no fused plug, or one that is moved."""
    charge: Literal["together", "apart"] = "together"
    """Apart: two equal banks, one on the air while the other has the sun; they change places at each `swap`."""
    swap: tuple[int, ...] = ()
    """Times of the day, in minutes after local midnight, rising."""
    bank: int | None = None
    """Where one of the two banks is looked at alone: 0 for that which goes on the air first, else 1."""
    mass_limit_g: int | None = None
    nice_at_most_g: int | None = None
    """What nice loads may add to the kit of the musts alone; None for any mass. [g]"""
    air_travel: bool = False
    least: Objective = "mass"
    bounds: tuple[Bound, ...] = ()
    """Items forced in or out, each id once."""
    stored_days: float | None = None
    """Days since the batteries were charged, whatever the inventory says; None for what it says."""
    extras: tuple[tuple[str, int], ...] | None = None
    """How many of each extra may go along where several outings share them; None for all that are owned."""
    assumed: tuple[Assumed, ...] = ()
    warnings: tuple[str, ...] = ()
    _fold: int = field(init=False, repr=False)
    """Of a start in an hour that clocks show twice, which: without it two outings an hour apart would be equal."""

    def __post_init__(self) -> None:
        object.__setattr__(self, "_fold", self.start.fold)

    @property
    def nices(self) -> tuple[str, ...]:
        """Ids of the loads that run where they can, the first wanted most."""
        return tuple(use.id for use in self.loads if use.priority == "nice")

    @property
    def circuits(self) -> tuple[str, ...]:
        """Circuits in the order of their first loads, the main one being ""."""
        return tuple(dict.fromkeys(use.circuit for use in self.loads))

    def circuit(self, name: str) -> Operation:
        """The same with the loads of one circuit; what the whole may weigh or must take is not asked of it."""
        loads = tuple(use for use in self.loads if use.circuit == name)
        bounds = tuple(replace(bound, least=0) for bound in self.bounds)
        title = f"{self.name}, {circuit_name(name)} circuit"
        return replace(self, name=title, loads=loads, mass_limit_g=None, bounds=bounds)

    def running(self, nices: Container[str] = ()) -> Operation:
        """The same with the loads that must run and some that are nice; the others stay at home."""
        return replace(self, loads=tuple(use for use in self.loads if use.priority == "must" or use.id in nices))

    @property
    def n_banks(self) -> int:
        """How many equal parts of the batteries there are, each with a store of its own."""
        return 2 if self.charge == "apart" else 1

    @property
    def bank_name(self) -> str:
        """What the one bank that is looked at is called; empty for the whole."""
        return "" if self.bank is None else f"bank {'AB'[self.bank]}"

    @property
    def has_own_leads(self) -> bool:
        """Whether each battery without a fused plug stays on a lead of its own."""
        return self.batteries == "parallel" or self.battery_lead == "each"

    @property
    def n_steps(self) -> int:
        """Steps that cover the hours; the last one may be part empty."""
        whole = self.hours / self.need.step_h
        n = round(whole)
        return n if abs(whole - n) < 1e-9 else int(whole) + 1
