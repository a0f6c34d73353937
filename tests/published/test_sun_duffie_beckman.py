"""J. A. Duffie and W. A. Beckman, *Solar Engineering of Thermal Processes*, worked examples; declination by P. I.
Cooper, "The absorption of radiation in solar stills," Solar Energy 12, 1969, as the book uses it.

The book counts azimuth from south, west positive; kitopt counts from north, clockwise.
"""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.sun import Sun, incidence_cos, outside_day_whm2, outside_flat_whm2, sun_at

MJ = 0.0036


def _cooper_deg(day: np.ndarray) -> np.ndarray:
    return 23.45 * np.sin(np.radians(360 * (284 + day) / 365))


def _normal_wm2(day: np.ndarray) -> np.ndarray:
    return 1367.0 * (1 + 0.033 * np.cos(np.radians(360 * day / 365)))


def _sun(latitude_deg: float, declination_deg: float, hour_angle_deg: float) -> Sun:
    """Sun by the book's equations 1.6.5 and 1.6.6, independent of any ephemeris."""
    phi, delta, omega = np.radians([latitude_deg, declination_deg, hour_angle_deg])
    cos_zenith = np.cos(phi) * np.cos(delta) * np.cos(omega) + np.sin(phi) * np.sin(delta)
    zenith = np.arccos(cos_zenith)
    azimuth = np.sign(omega) * np.arccos((cos_zenith * np.sin(phi) - np.sin(delta)) / (np.sin(zenith) * np.cos(phi)))
    return Sun(np.degrees(zenith)[None], 180.0 + np.degrees(azimuth)[None], np.array([1367.0]))


def test_example_1_6_1_incidence_on_a_slope_turned_to_the_west() -> None:
    # Madison, 43 N, 13 February, 10:30 solar time, 45° slope, 15° west of south
    cosine = incidence_cos(_sun(43.0, -14.0, -22.5), 45.0, 195.0)
    assert cosine[0] == pytest.approx(0.817, abs=0.001)
    assert np.degrees(np.arccos(cosine[0])) == pytest.approx(35.2, abs=0.1)


@pytest.mark.parametrize(
    ("sun", "tilt", "azimuth", "ratio"),
    [
        (_sun(43.0, -14.0, -22.5), 45.0, 195.0, 1.66),  # example 1.8.1, the surface of example 1.6.1
        (_sun(40.0, -12.95, -37.5), 30.0, 180.0, 1.61),  # example 1.8.2, 16 February, 9 to 10 o'clock
    ],
    ids=["1.8.1", "1.8.2"],
)
def test_beam_ratio(sun: Sun, tilt: float, azimuth: float, ratio: float) -> None:
    assert (incidence_cos(sun, tilt, azimuth) / sun.cos_zenith)[0] == pytest.approx(ratio, abs=0.01)


@pytest.mark.parametrize(("day", "declination"), [(1, -23.01), (47, -12.95), (105, 9.41), (172, 23.45), (355, -23.45)])
def test_noon_height_follows_the_declination(day: int, declination: float) -> None:
    # table 1.6.1 by Cooper; the true declination differs by up to 0.7° on these days
    midnight = np.datetime64("2025-12-31", "s").astype(np.int64) + day * 86400.0
    sun = sun_at(midnight + np.arange(0, 86400, 60.0), 45.0, 0.0, pressure_pa=0.0)
    assert 45.0 - sun.zenith_deg.min() == pytest.approx(declination, abs=0.8)


def test_example_1_10_1_daily_radiation_outside_the_atmosphere() -> None:
    # 43 N, 15 April: 33.8 MJ/m² (from memory)
    day = np.array([105])
    assert outside_flat_whm2(43.0, _cooper_deg(day), _normal_wm2(day))[0] * MJ == pytest.approx(33.8, abs=0.1)
    assert outside_day_whm2(43.0, day)[0] * MJ == pytest.approx(33.8, abs=0.1)


def test_example_2_12_1_june_clearness() -> None:
    # Madison, 43 N, June, 23.0 MJ/m² a day: 41.7 outside, clearness 0.55
    outside = outside_day_whm2(43.0, np.array([162]))[0] * MJ
    assert outside == pytest.approx(41.7, abs=0.1)
    assert 23.0 / outside == pytest.approx(0.55, abs=0.005)


MEAN_DAYS = np.array([17, 47, 75, 105, 135, 162, 198, 228, 258, 288, 318, 344])
OUTSIDE_MJ = {
    60.0: [3.4, 8.5, 16.8, 27.5, 36.6, 41.0, 38.9, 31.0, 20.6, 10.9, 4.5, 2.3],
    45.0: [12.1, 17.6, 25.0, 33.2, 39.2, 41.8, 40.4, 35.5, 27.9, 19.8, 13.4, 10.7],
    0.0: [36.2, 37.5, 37.9, 36.8, 34.8, 33.5, 33.9, 35.7, 37.2, 37.4, 36.4, 35.7],
    -45.0: [42.9, 36.8, 28.6, 19.6, 12.9, 10.0, 11.2, 16.5, 24.7, 33.8, 41.1, 44.4],
}


@pytest.mark.parametrize("latitude", OUTSIDE_MJ)
def test_table_1_10_1_by_the_books_own_declination(latitude: float) -> None:
    ours = outside_flat_whm2(latitude, _cooper_deg(MEAN_DAYS), _normal_wm2(MEAN_DAYS)) * MJ
    np.testing.assert_allclose(ours, OUTSIDE_MJ[latitude], atol=0.1)


@pytest.mark.parametrize("latitude", OUTSIDE_MJ)
def test_table_1_10_1_by_the_better_declination(latitude: float) -> None:
    # Cooper's formula is up to 1.2° behind in September and October, so 1.1 MJ at most separates the two
    ours = outside_day_whm2(latitude, MEAN_DAYS) * MJ
    np.testing.assert_allclose(ours, OUTSIDE_MJ[latitude], atol=1.1)
    spring = slice(0, 7)
    np.testing.assert_allclose(ours[spring], np.array(OUTSIDE_MJ[latitude])[spring], atol=0.4)
