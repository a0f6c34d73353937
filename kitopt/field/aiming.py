"""Where to point a panel now, until when, and whether turning it is worth the walk."""

from __future__ import annotations

from dataclasses import dataclass
from datetime import datetime, timedelta, tzinfo
from typing import Any

import numpy as np

from kitopt.field.site import FieldSite
from kitopt.field.suppose import MADE_BY
from kitopt.files.kept import Kept, kept
from kitopt.sky.overhead import Overhead
from kitopt.sky.plane import light_on, passed_wm2

STEP_H = 1.0 / 6.0
STAYS_SHARE = 0.94
"""A panel is turned again when it gets less than this of what one that faces the sun gets: some 20° off."""
WORTH_SHARE = 1.05
"""Turning that gains less is not worth the walk. Common practice, no source."""


@dataclass(frozen=True)
class BestAim:
    """An aim, and what it brings.

    Attributes
    ----------
    tilt_deg, azimuth_deg : float
        From the ground, and clockwise from true north. [deg]
    again : datetime or None
        When to turn it next; None where the sun sets before.
    until : datetime
        End of the span that the gain is taken over.
    gain_share : float
        Light over it that of a panel left as it is, clear sky.
    """

    tilt_deg: float
    azimuth_deg: float
    again: datetime | None
    until: datetime
    gain_share: float

    @property
    def is_worth_it(self) -> bool:
        """Whether turning gains a twentieth."""
        return self.gain_share >= WORTH_SHARE

    def raised_cm(self, height_cm: float) -> float:
        """How far the edge away from the sun stands above the other. [cm]"""
        return height_cm * float(np.sin(np.radians(self.tilt_deg)))

    def laid_down(self) -> list[float | None]:
        """As JSON can hold it."""
        again_s = None if self.again is None else self.again.timestamp()
        return [self.tilt_deg, self.azimuth_deg, again_s, self.until.timestamp(), self.gain_share]

    @classmethod
    def of(cls, told: list[Any], zone: tzinfo | None) -> BestAim:
        """What was laid down, on the clock of a place."""
        tilt, azimuth, again_s, until_s, gain = told
        again = None if again_s is None else datetime.fromtimestamp(again_s, zone)
        return cls(tilt, azimuth, again, datetime.fromtimestamp(until_s, zone), gain)


def best_aim(site: FieldSite, tilt_deg: float, azimuth_deg: float, sky: Overhead = "clear") -> BestAim | None:
    """Where to point a panel that lies so now; None while the sun is down. Asked again, it is found again.

    It is set to where the sun will be half way to the next turn, within the hours that the operation gives; the next
    turn is due when the sun has moved so far that a twentieth of the light is lost.

    Parameters
    ----------
    tilt_deg, azimuth_deg : float
        How it lies now. [deg]
    """

    def make() -> Kept:
        aim = _reckoned(site, tilt_deg, azimuth_deg, sky)
        return Kept({}, None if aim is None else aim.laid_down())

    told = kept(f"aim {site!r} {tilt_deg!r} {azimuth_deg!r} {sky}", MADE_BY, make).facts
    return None if told is None else BestAim.of(told, site.at.tzinfo)


def _reckoned(site: FieldSite, tilt_deg: float, azimuth_deg: float, sky: Overhead) -> BestAim | None:
    """The same, reckoned."""
    later_h = np.arange(0.0, 12.0, STEP_H)
    light = site.light(later_h, sky)
    zenith, azimuth = light.sun.zenith_deg[0], light.sun.azimuth_deg[0]
    up = zenith < 88.0
    if not up[0]:
        return None
    n_up = int(np.argmin(up)) if not up.all() else len(up)
    middle = min(round(site.every_h / 2.0 / STEP_H), max((n_up - 1) // 2, 0))
    tilt, facing = float(zenith[middle]), float(azimuth[middle])
    best = passed_wm2(light_on(light, np.minimum(zenith, 90.0)[None, :], azimuth[None, :]))[0]
    if sky == "overcast":
        # all of it comes from above
        tilt, facing = 0.0, facing
    held = passed_wm2(light_on(light, tilt, facing))[0]
    left = passed_wm2(light_on(light, tilt_deg, azimuth_deg))[0]
    worn = np.flatnonzero((held < STAYS_SHARE * best) & (np.arange(len(best)) > middle))
    n_span = min(int(worn[0]) if len(worn) else n_up, n_up)
    again = site.at + timedelta(hours=float(later_h[worn[0]])) if len(worn) and worn[0] < n_up else None
    span = slice(0, max(n_span, 1))
    gain = float(held[span].sum() / max(left[span].sum(), 1e-6))
    return BestAim(tilt, facing, again, site.at + timedelta(hours=n_span * STEP_H), gain)
