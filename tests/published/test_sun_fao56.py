"""R. G. Allen et al., *Crop Evapotranspiration*, FAO Irrigation and Drainage Paper 56, examples 8 and 9:
3 September at 20 S."""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.sun import outside_day_whm2, outside_flat_whm2, sun_at


def test_example_8_extraterrestrial_radiation() -> None:
    # distance factor 0.985, declination 0.120 rad, solar constant 0.0820 MJ/m²/min: 32.2 MJ/m² a day
    normal_wm2 = np.array([0.985 * 0.0820e6 / 60])
    ours = outside_flat_whm2(-20.0, np.degrees(np.array([0.120])), normal_wm2)
    assert ours[0] * 0.0036 == pytest.approx(32.2, abs=0.1)


def test_example_8_by_the_day_alone() -> None:
    # the paper's declination formula is 0.7° off on this day; that is worth 0.5 MJ
    assert outside_day_whm2(-20.0, np.array([246]))[0] * 0.0036 == pytest.approx(32.2, abs=0.6)


def test_example_9_daylight_hours() -> None:
    # 11.7 h between the sun's middle passing the level horizon; refraction lengthens the seen day by some 5 minutes
    minutes = np.datetime64("2026-09-03T00:00", "s").astype(np.int64) + np.arange(1440) * 60.0
    sun = sun_at(minutes, -20.0, 0.0)
    assert np.sum(sun.zenith_deg < 90.0) / 60 == pytest.approx(11.7, abs=0.2)
