"""The sun of a place in words, where nothing is known of the air and no panel can be joined."""

from __future__ import annotations

from dataclasses import replace
from datetime import datetime

import numpy as np
from small_choices import ZONE

from kitopt.field.outlook import ByHour, SunNow
from kitopt.field.site import FieldSite
from kitopt.report.field.sun import sun_text

SITE = FieldSite("Hut", 47.0, 13.0, 0.0, datetime(2027, 6, 4, 12, tzinfo=ZONE), air_degc=15.0)
ALONE = SunNow(SITE, ByHour(np.zeros(1), np.array([25.0]), np.array([170.0]), ()), None)


def test_where_no_panel_reaches_a_controller_that_is_said() -> None:
    # 90 - 25 = 65° high
    assert sun_text(ALONE) == ("Hut, Fri 4 Jun 12:00: sun 65° high at 170°.\nNo panel reaches a controller.\n")


def test_air_that_is_not_known_is_said_to_be_guessed() -> None:
    guessed = replace(ALONE, site=replace(SITE, air_degc=None))
    assert "The air is taken as 20 °C; say --air." in sun_text(guessed)
    # what an operation says of its coldest and warmest is no guess
    told = replace(ALONE, site=replace(SITE, air_degc=None, coldest_degc=5.0, warmest_degc=20.0))
    assert "--air" not in sun_text(told)


def test_the_sun_below_the_horizon_is_down() -> None:
    night = replace(ALONE, by_hour=replace(ALONE.by_hour, zenith_deg=np.array([95.0])))
    assert ": the sun is down." in sun_text(night)
