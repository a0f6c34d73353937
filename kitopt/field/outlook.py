"""What every owned panel should give: now and by the hour, under each sky, flat and facing the sun."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.field.aiming import BestAim, best_aim
from kitopt.field.amperes import declared, interval_a
from kitopt.field.circuit import seen
from kitopt.field.reach import Reach
from kitopt.field.set_up import WIND_MS, SetUp, on_panel
from kitopt.field.site import FieldSite
from kitopt.field.suppose import MADE_BY
from kitopt.files.kept import Kept, kept
from kitopt.sky.light import Light
from kitopt.sky.overhead import SKIES, Overhead

Floats = NDArray[np.float64]
WAYS = ("flat", "facing")
LONGEST_H = 16


@dataclass(frozen=True, eq=False)
class Outlook:
    """Amperes of one panel on one controller.

    Attributes
    ----------
    amps : mapping of (sky, way)
        At each of the hours, shape (n,). [A]
    low_share, high_share : float
        Between which multiples of that nine readings in ten lie.
    """

    reach: Reach
    amps: dict[tuple[str, str], Floats]
    low_share: float
    high_share: float


@dataclass(frozen=True, eq=False)
class ByHour:
    """The sun over a site and what each panel should give, at some hours.

    Attributes
    ----------
    at_h : ndarray, shape (n,)
        After the site's moment. [h]
    zenith_deg, azimuth_deg : ndarray, shape (n,)
        Of the sun. [deg]
    outlooks : tuple of Outlook
        By panel and controller. [A]
    """

    at_h: Floats
    zenith_deg: Floats
    azimuth_deg: Floats
    outlooks: tuple[Outlook, ...]

    @property
    def high_deg(self) -> Floats:
        """Of the sun above a level horizon, shape (n,). [deg]"""
        return 90.0 - self.zenith_deg


@dataclass(frozen=True, eq=False)
class SunNow:
    """The sun over a site from now until it sets, and where to aim.

    Attributes
    ----------
    by_hour : ByHour
        The first is now.
    aim : BestAim or None
        For a panel that lies flat now; None while the sun is down.
    """

    site: FieldSite
    by_hour: ByHour
    aim: BestAim | None
    declination_deg: float | None = None


def set_up_of(
    reach: Reach,
    light: Light,
    *,
    tilt_deg: float = 0.0,
    azimuth_deg: float = 180.0,
    lies: bool = True,
    air_degc: float = 20.0,
    charge_share: float | None = None,
) -> SetUp:
    """A panel on its controller under some light."""
    return SetUp(
        reach.panel,
        reach.controller,
        reach.battery,
        reach.lead_ohm,
        light,
        tilt_deg,
        azimuth_deg,
        lies,
        air_degc,
        charge_share,
        reach.panel.worth_spread,
    )


def outlook(site: FieldSite, pairs: list[Reach], declination_deg: float | None = None) -> SunNow:
    """What some panels should give now and at the whole hours after it."""
    first = (60.0 - site.at.minute - site.at.second / 60.0) / 60.0
    at_h = np.concatenate([[0.0], first + np.arange(LONGEST_H)])
    return SunNow(site, by_hour(site, pairs, at_h), best_aim(site, 0.0, 180.0), declination_deg)


_KEYS: tuple[tuple[Overhead, str], ...] = tuple((sky, way) for sky in SKIES for way in WAYS)


def by_hour(site: FieldSite, pairs: list[Reach], at_h: Floats) -> ByHour:
    """What some panels should give so many hours from a site's moment, shape (n,); asked again, it is found again."""

    def make() -> Kept:
        return _laid_down(_reckoned(site, pairs, at_h))

    found = kept(f"outlook {site!r} {pairs!r} {at_h.tolist()}", MADE_BY, make)
    arrays = found.arrays
    return ByHour(
        *(arrays["at_h"], arrays["zenith_deg"], arrays["azimuth_deg"]),
        tuple(
            Outlook(pair, {key: arrays["amps"][n, i] for i, key in enumerate(_KEYS)}, *found.facts[n])
            for n, pair in enumerate(pairs)
        ),
    )


def _laid_down(found: ByHour) -> Kept:
    arrays = {name: getattr(found, name) for name in ("at_h", "zenith_deg", "azimuth_deg")}
    amps = [[one.amps[key] for key in _KEYS] for one in found.outlooks]
    arrays["amps"] = np.array(amps) if amps else np.zeros((0, len(_KEYS), len(found.at_h)))
    return Kept(arrays, [(one.low_share, one.high_share) for one in found.outlooks])


def _reckoned(site: FieldSite, pairs: list[Reach], at_h: Floats) -> ByHour:
    """The same, reckoned."""
    clear = site.light(at_h)
    wm2, degc = _on_panels(site, clear, at_h) if pairs else (np.empty(0), np.empty(0))
    outlooks = []
    for pair in pairs:
        set_up = set_up_of(pair, clear)
        amps = seen(set_up, declared(set_up, wm2, degc)).amps
        by_key: dict[tuple[str, str], Floats] = dict(zip(_KEYS, np.split(amps, len(_KEYS)), strict=True))
        outlooks.append(Outlook(pair, by_key, *interval_a(set_up, 1.0)))
    return ByHour(at_h, clear.sun.zenith_deg[0], clear.sun.azimuth_deg[0], tuple(outlooks))


def _on_panels(site: FieldSite, clear: Light, at_h: Floats) -> tuple[Floats, Floats]:
    """Light and heat of the cells under each sky and way, one after the other. [Wm⁻², °C]"""
    air = site.air_at(at_h)
    wm2, degc = [], []
    lights = {sky: clear if sky == "clear" else site.light(at_h, sky) for sky in SKIES}
    zenith, azimuth = clear.sun.zenith_deg, clear.sun.azimuth_deg
    for sky, way in _KEYS:
        tilt = np.zeros_like(zenith) if way == "flat" else np.minimum(zenith, 90.0)
        lit, hot = on_panel(
            *(lights[sky], tilt, azimuth), lies=way == "flat", air_degc=air[None, :], wind_ms=np.asarray(WIND_MS)
        )
        wm2.append(np.where(zenith[0] < 90.0, lit[0], 0.0))
        degc.append(hot[0])
    return np.concatenate(wm2), np.concatenate(degc)


def light_now(site: FieldSite, sky: Overhead) -> Light:
    """Light of this moment alone."""
    return site.light(np.zeros(1), sky)
