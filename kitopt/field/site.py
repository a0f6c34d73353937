"""Where and when somebody stands with a panel."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.terms import Operation
from kitopt.sky.clear_sky import Place
from kitopt.sky.light import Light
from kitopt.sky.overhead import Overhead, overhead
from kitopt.sky.temperature import daily_air_degc

UNKNOWN_AIR_DEGC = 20.0


@dataclass(frozen=True)
class FieldSite:
    """A place at a moment.

    Attributes
    ----------
    at : datetime
        Aware, on the clock of the place.
    air_degc : float or None
        Of the air now, where it was read; else by the operation's coldest and warmest, else 20 °C. [°C]
    distance_m : float
        From the panels to the controller. [m]
    """

    name: str
    latitude_deg: float
    longitude_deg: float
    altitude_m: float
    at: datetime
    air_degc: float | None = None
    coldest_degc: float | None = None
    warmest_degc: float | None = None
    distance_m: float = 0.0
    horizon: tuple[tuple[float, float], ...] = ()
    every_h: float = 2.0

    @property
    def at_s(self) -> float:
        """Seconds of universal time since 1970."""
        return self.at.timestamp()

    @property
    def is_air_guessed(self) -> bool:
        """Whether nothing is known of the air."""
        return self.air_degc is None and (self.coldest_degc is None or self.warmest_degc is None)

    def air_at(self, hours_later: NDArray[np.float64]) -> NDArray[np.float64]:
        """Air so many hours from now. [°C]"""
        if self.air_degc is not None:
            return np.full(np.shape(hours_later), self.air_degc)
        if self.coldest_degc is None or self.warmest_degc is None:
            return np.full(np.shape(hours_later), UNKNOWN_AIR_DEGC)
        clock = self.at.hour + self.at.minute / 60 + np.asarray(hours_later)
        return daily_air_degc(clock, self.coldest_degc, self.warmest_degc)

    def light(self, hours_later: NDArray[np.float64], sky: Overhead = "clear") -> Light:
        """Light so many hours from now."""
        place = Place(self.latitude_deg, self.longitude_deg, self.altitude_m)
        return overhead(place, self.at_s + np.asarray(hours_later) * 3600.0, sky, self.horizon)


def site_of(operation: Operation, at: datetime, air_degc: float | None = None) -> FieldSite:
    """An operation's site at a moment."""
    site = operation.site
    return FieldSite(
        operation.name,
        site.latitude_deg,
        site.longitude_deg,
        site.altitude_m,
        at,
        air_degc,
        site.coldest_degc,
        site.warmest_degc,
        operation.panel_distance_m,
        site.horizon_deg,
        operation.aim.every_h,
    )
