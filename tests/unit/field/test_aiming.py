"""Where a panel is pointed, until when, and what that brings, where the sun's way is known by hand."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from kitopt.field.aiming import best_aim
from kitopt.field.site import FieldSite

UTC = ZoneInfo("UTC")
NINE = datetime(2027, 3, 20, 9, 0, tzinfo=UTC)
"""At the equinox the sun climbs over the equator by 15° an hour, due east before noon; noon is at some 12:07."""


def test_a_panel_is_turned_to_where_the_sun_will_be_half_way_and_again_when_it_has_moved_on() -> None:
    """Turned every two hours: at 10:00 the sun stands 32° off the zenith. The beam is at 0.94 at 20° off, 11:20.

    The sky's own light, which hardly follows the aim, makes that a little later.
    """
    found = best_aim(FieldSite("equator", 0.0, 0.0, 0.0, NINE, every_h=2.0), 0.0, 180.0)
    assert found is not None
    assert found.tilt_deg == pytest.approx(32.0, abs=1.0)
    assert found.azimuth_deg == pytest.approx(90.0, abs=1.0)
    assert found.raised_cm(50.0) == pytest.approx(50.0 * math.sin(math.radians(32.0)), abs=1.0)
    assert found.again is not None
    assert NINE + timedelta(minutes=130) <= found.again <= NINE + timedelta(minutes=190)
    # what it brings is counted until then: flat, the sun comes in at 47° to 12° off
    assert found.until == found.again
    assert found.is_worth_it


def test_after_the_last_turn_it_stays_until_the_sun_sets() -> None:
    late = NINE.replace(hour=17, minute=30)
    found = best_aim(FieldSite("equator", 0.0, 0.0, 0.0, late, every_h=2.0), 0.0, 180.0)
    assert found is not None
    assert found.again is None
    assert late < found.until <= late.replace(hour=18, minute=10)


def test_by_night_there_is_no_aim() -> None:
    assert best_aim(FieldSite("equator", 0.0, 0.0, 0.0, NINE.replace(hour=1)), 0.0, 180.0) is None


def test_under_a_closed_cover_a_panel_lies_flat() -> None:
    """All light comes from above, evenly: flat there is nothing to gain, and stood on edge half of it is lost."""
    site = FieldSite("equator", 0.0, 0.0, 0.0, NINE, every_h=2.0)
    flat, edge = (best_aim(site, tilt, 180.0, "overcast") for tilt in (0.0, 90.0))
    assert flat is not None
    assert edge is not None
    assert (flat.tilt_deg, edge.tilt_deg) == (0.0, 0.0)
    assert flat.gain_share == pytest.approx(1.0)
    assert not flat.is_worth_it
    assert edge.gain_share > 1.5
