"""What every owned panel should give: now and by the hour, under each sky, flat and facing the sun."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime

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
from kitopt.inventory.items import Inventory
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
        Now and every whole hour after, shape (n,). [A]
    low_share, high_share : float
        Between which multiples of that nine readings in ten lie.
    """

    reach: Reach
    amps: dict[tuple[str, str], Floats]
    low_share: float
    high_share: float


@dataclass(frozen=True, eq=False)
class SunNow:
    """The sun over a site and what each panel should give.

    Attributes
    ----------
    later_h : ndarray, shape (n,)
        Hours from now; the first is 0. [h]
    zenith_deg, azimuth_deg : ndarray, shape (n,)
    aim : BestAim or None
        For a panel that lies flat now; None while the sun is down.
    """

    site: FieldSite
    inventory: Inventory
    later_h: Floats
    zenith_deg: Floats
    azimuth_deg: Floats
    aim: BestAim | None
    outlooks: tuple[Outlook, ...]
    declination_deg: float | None = None


def set_up_of(
    reach: Reach,
    inventory: Inventory,
    light: Light,
    *,
    tilt_deg: float = 0.0,
    azimuth_deg: float = 180.0,
    lies: bool = True,
    air_degc: float = 20.0,
    charge_share: float | None = None,
) -> SetUp:
    """A panel on its controller under some light, as the inventory has them."""
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


def outlook(site: FieldSite, inventory: Inventory, pairs: list[Reach], declination_deg: float | None = None) -> SunNow:
    """What some panels should give from now until the sun sets; asked again, it is found again."""

    def make() -> Kept:
        return _laid_down(_reckoned(site, inventory, pairs))

    found = kept(f"outlook {site!r} {pairs!r}", MADE_BY, make)
    facts, arrays = found.facts, found.arrays
    outlooks = tuple(
        Outlook(pair, {key: arrays["amps"][n, i] for i, key in enumerate(KEYS)}, *facts["shares"][n])
        for n, pair in enumerate(pairs)
    )
    aim = None if facts["aim"] is None else _aim_of(site, facts["aim"])
    return SunNow(
        *(site, inventory, arrays["later_h"], arrays["zenith_deg"], arrays["azimuth_deg"]),
        aim,
        outlooks,
        declination_deg,
    )


KEYS = tuple((sky, way) for sky in SKIES for way in WAYS)


def _laid_down(now: SunNow) -> Kept:
    arrays = {name: getattr(now, name) for name in ("later_h", "zenith_deg", "azimuth_deg")}
    amps = [[one.amps[key] for key in KEYS] for one in now.outlooks]
    arrays["amps"] = np.array(amps) if amps else np.zeros((0, len(KEYS), len(now.later_h)))
    aim, told = now.aim, None
    if aim is not None:
        again_s = None if aim.again is None else aim.again.timestamp()
        told = [aim.tilt_deg, aim.azimuth_deg, again_s, aim.until.timestamp(), aim.gain_share]
    return Kept(arrays, {"aim": told, "shares": [(one.low_share, one.high_share) for one in now.outlooks]})


def _aim_of(site: FieldSite, told: list[float]) -> BestAim:
    tilt, azimuth, again_s, until_s, gain = told

    def moment(at_s: float) -> datetime:
        return datetime.fromtimestamp(at_s, site.at.tzinfo)

    return BestAim(tilt, azimuth, None if again_s is None else moment(again_s), moment(until_s), gain)


def _reckoned(site: FieldSite, inventory: Inventory, pairs: list[Reach]) -> SunNow:
    """The same, reckoned."""
    # the whole hours after now
    first = (60.0 - site.at.minute - site.at.second / 60.0) / 60.0
    later_h = np.concatenate([[0.0], first + np.arange(LONGEST_H)])
    clear = site.light(later_h)
    zenith, azimuth = clear.sun.zenith_deg[0], clear.sun.azimuth_deg[0]
    found = outlooks_at(site, inventory, pairs, later_h, clear)
    return SunNow(site, inventory, later_h, zenith, azimuth, best_aim(site, 0.0, 180.0), found)


def outlooks_at(
    site: FieldSite, inventory: Inventory, pairs: list[Reach], later_h: Floats, clear: Light
) -> tuple[Outlook, ...]:
    """What some panels should give so many hours from now, shape (n,), of which the clear sky is known. [h]"""
    air = site.air_at(later_h)
    lit: dict[tuple[str, str], tuple[Floats, Floats]] = {}
    zenith, azimuth = clear.sun.zenith_deg[0], clear.sun.azimuth_deg[0]
    for sky in SKIES:
        light = clear if sky == "clear" else site.light(later_h, sky)
        for way in WAYS:
            tilt = np.zeros_like(zenith) if way == "flat" else np.minimum(zenith, 90.0)
            wm2, degc = on_panel(
                *(light, tilt[None, :], azimuth[None, :]),
                lies=way == "flat",
                air_degc=air[None, :],
                wind_ms=np.asarray(WIND_MS),
            )
            lit[sky, way] = (np.where(zenith < 90.0, wm2[0], 0.0), degc[0])
    all_wm2, all_degc = (np.concatenate([lit[key][part] for key in lit]) for part in (0, 1))
    found = []
    for pair in pairs:
        set_up = set_up_of(pair, inventory, clear)
        low, high = interval_a(set_up, 1.0)
        every = seen(set_up, declared(set_up, all_wm2, all_degc)).amps
        amps = dict(zip(lit, np.split(every, len(lit)), strict=True))
        found.append(Outlook(pair, amps, low, high))
    return tuple(found)


def light_now(site: FieldSite, sky: Overhead) -> Light:
    """Light of this moment alone."""
    return site.light(np.zeros(1), sky)
