"""Aims and transposition."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.operation.terms import Aim, Operation, Shares
from kitopt.sky import windows_for
from kitopt.sky.aims import best_fixed, follow_sun
from kitopt.sky.clear_sky import ClearSky, Place
from kitopt.sky.light import Light
from kitopt.sky.moments import moments_of
from kitopt.sky.plane import plane_wm2
from kitopt.sky.sun import Sun, sun_at

Make = Callable[..., Operation]


def _sun(zenith: list[float], azimuth: list[float]) -> Sun:
    return Sun(np.array([zenith]), np.array([azimuth]), np.full((1, len(zenith)), 1360.0))


def _light(sun: Sun, dni: float, dhi: float, headroom: float = 1.0) -> Light:
    shape = sun.zenith_deg.shape
    ghi = dni * sun.cos_zenith + dhi
    clear = ClearSky(ghi, np.full(shape, 900.0), np.full(shape, 100.0))
    return Light(Place(45.0, 0.0, 0.0), np.zeros(shape), sun, clear, np.full(shape, dni), np.full(shape, dhi), headroom)


def test_block_faces_the_sun_in_its_middle() -> None:
    aimed = follow_sun(_sun([60, 50, 40, 30, 30, 40], [90, 110, 130, 170, 190, 230]), 1.0, 3.0, 6)
    assert aimed.tilt_deg[0].tolist() == pytest.approx([50] * 3 + [30] * 3)
    assert aimed.azimuth_deg[0].tolist() == pytest.approx([110] * 3 + [190] * 3)


def test_even_block_faces_half_way_between_its_middle_steps() -> None:
    aimed = follow_sun(_sun([40, 40], [350, 10]), 1.0, 2.0, 2)
    # across north, where a plain mean of azimuths would point south
    assert min(aimed.azimuth_deg[0, 0], 360 - aimed.azimuth_deg[0, 0]) == pytest.approx(0.0, abs=1e-9)


def test_dark_block_waits_for_the_next_sunrise() -> None:
    aimed = follow_sun(_sun([95, 100, 100, 95, 85, 70], [280, 300, 60, 70, 80, 95]), 1.0, 2.0, 6)
    assert aimed.azimuth_deg[0, :4].tolist() == [80] * 4
    assert aimed.tilt_deg[0, 0] == 85


def test_half_dark_block_faces_its_lit_part() -> None:
    aimed = follow_sun(_sun([100, 95, 80, 70], [60, 70, 80, 90]), 1.0, 4.0, 4)
    assert 80 <= aimed.azimuth_deg[0, 0] <= 90
    assert 70 <= aimed.tilt_deg[0, 0] <= 80


def test_blocks_count_from_the_start_and_do_not_know_the_end() -> None:
    sun = _sun([60, 50, 40, 30, 30, 40], [90, 110, 130, 170, 190, 230])
    long, short = follow_sun(sun, 1.0, 4.0, 6), follow_sun(sun, 1.0, 4.0, 5)
    assert np.array_equal(long.tilt_deg[:, :5], short.tilt_deg)


def test_re_aiming_more_often_gathers_more_on_a_clear_day(outing: Make) -> None:
    gathered = [
        windows_for(outing(weather=Shares((1.0,)), aim=Aim("re-aimed", every_h=every))).poa_wm2["aimed"].sum()
        for every in (0.5, 2.0, 6.0)
    ]
    flat = windows_for(outing(weather=Shares((1.0,)))).poa_wm2["flat"].sum()
    assert gathered[0] > gathered[1] > gathered[2] > flat


def test_best_fixed_is_the_best_of_the_grid() -> None:
    at_s = np.datetime64("2026-03-20T00:00", "s").astype(np.int64) + (np.arange(48)[None, :] + 0.5) * 1800.0
    sun = sun_at(at_s, 45.0, 0.0)
    up = (sun.zenith_deg < 87).astype(float)
    clear = ClearSky(600 * up, 800 * up, 100 * up)
    light = Light(Place(45.0, 0.0, 0.0), at_s, sun, clear, 800 * up, 100 * up)
    tilt, azimuth = best_fixed(light, None, None)
    best = plane_wm2(light, tilt, azimuth).mean()
    for other_tilt in range(0, 91, 5):
        for other_azimuth in range(0, 360, 15):
            assert plane_wm2(light, float(other_tilt), float(other_azimuth)).mean() <= best * (1 + 1e-9)
    # at the equinox the sun's path lies in a plane tilted by the latitude
    assert azimuth == 180.0
    assert tilt == pytest.approx(45.0, abs=10)


def test_best_fixed_keeps_what_is_settled() -> None:
    sun = _sun([50.0, 40.0, 50.0], [140.0, 180.0, 220.0])
    light = _light(sun, 700.0, 100.0)
    assert best_fixed(light, 20.0, None) == (20.0, 180.0)
    assert best_fixed(light, None, 90.0)[1] == 90.0


def test_best_fixed_looks_at_the_darkest_third() -> None:
    # two windows of beam and one of diffuse light alone: the darkest decides, and it is best caught flat
    sun = _sun([60.0, 60.0], [170.0, 190.0])
    light = _light(sun, 0.0, 50.0)
    dni = np.array([[800.0, 800.0], [800.0, 800.0], [0.0, 0.0]])
    three = Light(light.place, light.at_s, sun, light.clear, dni, np.full((3, 2), 50.0))
    assert best_fixed(three, None, None)[0] == 0.0


def test_without_light_an_aim_is_still_given() -> None:
    assert best_fixed(_light(_sun([100.0], [0.0]), 0.0, 0.0), None, None) == (0.0, 180.0)


def test_flat_panel_gets_beam_and_diffuse() -> None:
    sun = _sun([30.0, 60.0], [180.0, 200.0])
    ours = plane_wm2(_light(sun, 600.0, 100.0), 0.0, 180.0)
    np.testing.assert_allclose(ours[0], [600 * np.cos(np.radians(30)) + 100, 600 * 0.5 + 100])


def test_panel_facing_away_gets_no_beam() -> None:
    # by hand: anisotropy 600/1360; isotropic part over the half sky, ground at 0.2
    ours = plane_wm2(_light(_sun([60.0], [180.0]), 600.0, 100.0), 90.0, 0.0)
    assert ours[0, 0] == pytest.approx(100 * (1 - 600 / 1360) * 0.5 + 0.2 * 400 * 0.5)


@pytest.mark.parametrize("zenith", [86.0, 87.5, 88.9, 89.9, 92.0])
def test_low_sun_never_makes_more_than_a_panel_facing_the_clear_sun(zenith: float) -> None:
    sun = _sun([zenith], [90.0])
    light = _light(sun, 800.0, 60.0)
    faint = Light(
        light.place, light.at_s, sun, ClearSky(*(np.array([[each]]) for each in (60.0, 150.0, 50.0))),
        light.dni_wm2, light.dhi_wm2,
    )  # fmt: skip
    # by hand: beam, sky by Hay and Davies and ground on a panel that faces a clear sun of 150 with 50 diffuse
    # (below 5° the part from around the sun shrinks with the sine of its height)
    high, low = max(np.cos(np.radians(zenith)), 0.0), np.cos(np.radians(85))
    share = 150 / 1360 * min(high / low, 1)
    around = 50 * ((1 - share) * (1 + high) / 2 + share / max(high, 1e-3))
    most = 150 + around + 0.2 * (150 * high + 50) * (1 - high) / 2
    for tilt in (0.0, 45.0, 90.0):
        flat = 800 * high * (zenith < 87) + 60
        assert plane_wm2(faint, tilt, 90.0)[0, 0] <= max(most, flat) + 1e-9
    if zenith > 87:
        assert plane_wm2(faint, 90.0, 90.0)[0, 0] <= 60 * 0.5 + 0.2 * 60 * 0.5 + 1e-9


def test_aim_chosen_does_not_change_with_hours_or_windows(outing: Make) -> None:
    texts = {
        windows_for(outing(aim=Aim("fixed"), hours=hours), n=n).aim_text for hours in (3.0, 26.0, 80.0) for n in (1, 30)
    }
    assert len(texts) == 1


def test_shaded_afternoons_turn_the_chosen_aim_to_the_morning(outing: Make) -> None:
    from kitopt.operation.terms import Shade, Span

    open_sky = windows_for(outing(aim=Aim("fixed")), n=2).aim_text
    shaded = windows_for(outing(aim=Aim("fixed"), site={"shade": (Shade((Span(14 * 60, 22 * 60),)),)}), n=2).aim_text
    turned = [float(text.split("facing ")[1].split("°")[0]) for text in (open_sky, shaded)]
    assert turned[1] < turned[0] - 10


def test_moments_do_not_drift_over_a_week(outing: Make) -> None:
    assert moments_of(outing(hours=168.0)).middle_s[-1] == outing().start.timestamp() + 168 * 3600 - 900
