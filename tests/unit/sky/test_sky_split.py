"""Splitting global light keeps its sum and its bounds."""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.clear_sky import ClearSky, Place, clear_sky
from kitopt.sky.split import diffuse_share, split
from kitopt.sky.sun import sun_at


def _morning() -> tuple[np.ndarray, Place]:
    place = Place(51.5, -0.1, 40.0)
    return np.datetime64("2026-01-15T07:50", "s").astype(np.int64) + np.arange(0, 4 * 3600, 60.0)[None, :], place


@pytest.mark.parametrize("share", [0.2, 0.6, 0.92, 1.0, 1.3])
def test_beam_is_bounded_and_the_sum_kept_through_a_winter_morning(share: float) -> None:
    at_s, place = _morning()
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg)
    clear = clear_sky(at_s, place, sun)
    ghi = share * clear.ghi_wm2
    dni, dhi = split(ghi, sun, clear)
    assert (dni <= clear.dni_wm2 + 1e-9).all()
    assert (dni[sun.zenith_deg >= 87] == 0).all()
    assert (dhi >= 0).all()
    np.testing.assert_allclose(dni * sun.cos_zenith + dhi, ghi, atol=1e-9)


def test_light_brighter_than_the_correlation_expects_gives_no_more_beam_than_a_clear_sky() -> None:
    # a faint clear sky under bright data: by correlation alone the beam would be several times the clear one
    at_s, place = _morning()
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg)
    clear = clear_sky(at_s, place, sun)
    faint = ClearSky(clear.ghi_wm2, clear.dni_wm2 * 0.3, clear.ghi_wm2 - clear.dni_wm2 * 0.3 * sun.cos_zenith)
    dni, _ = split(0.85 * clear.ghi_wm2, sun, faint)
    assert (dni <= faint.dni_wm2 + 1e-9).all()
    assert dni.max() == pytest.approx(faint.dni_wm2.max(), rel=0.05)


def test_a_clear_sky_is_split_as_itself() -> None:
    at_s, place = _morning()
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg)
    clear = clear_sky(at_s, place, sun)
    dni, _ = split(clear.ghi_wm2, sun, clear)
    high = sun.zenith_deg < 87
    np.testing.assert_allclose(dni[high], clear.dni_wm2[high], rtol=0.02)


def test_between_nine_tenths_and_the_whole_the_split_moves_evenly_to_the_clear_skys() -> None:
    at_s, place = _morning()
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg)
    clear = clear_sky(at_s, place, sun)
    ghi = 0.95 * clear.ghi_wm2
    _, dhi = split(ghi, sun, clear)
    high = sun.zenith_deg < 85
    by_erbs = diffuse_share(ghi[high] / (sun.extra_wm2 * sun.cos_zenith)[high])
    half_way = (by_erbs + clear.dhi_wm2[high] / clear.ghi_wm2[high]) / 2
    np.testing.assert_allclose((dhi[high] / ghi[high]), half_way, rtol=1e-6)
