"""Local horizon and hours of shade cut the beam, and their part of the light of the sky."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.operation.terms import Aim, Operation, Shade, Shares, Span
from kitopt.sky import windows_for
from kitopt.sky.shade import horizon_deg, open_sky, passing, shaded_share

Make = Callable[..., Operation]


def test_horizon_is_linear_between_points_and_wraps() -> None:
    horizon = [(350.0, 10.0), (90.0, 0.0), (180.0, 20.0)]
    azimuth = np.array([350.0, 0.0, 40.0, 135.0, 265.0, 720.0 + 90.0])
    # from 350° to 90° is a hundred degrees, from 180° to 350° a hundred and seventy
    np.testing.assert_allclose(horizon_deg(azimuth, horizon), [10.0, 9.0, 5.0, 10.0, 15.0, 0.0])


def test_horizon_order_does_not_matter_and_one_point_is_level() -> None:
    azimuth = np.array([10.0, 200.0])
    assert np.array_equal(
        horizon_deg(azimuth, [(90.0, 5.0), (270.0, 15.0)]), horizon_deg(azimuth, [(270.0, 15.0), (90.0, 5.0)])
    )
    assert horizon_deg(azimuth, [(90.0, 5.0)]).tolist() == [5.0, 5.0]


@pytest.mark.parametrize("height_deg", [10.0, 30.0, 60.0, 80.0])
def test_a_wall_all_round_hides_its_part_of_an_even_sky(height_deg: float) -> None:
    # on the flat, an even sky above a height h is cos²(h) of the whole: the integral of sin·cos, any textbook
    wall = open_sky(((0.0, height_deg),))
    assert float(wall.share(0.0, 0.0)) == pytest.approx(np.cos(np.radians(height_deg)) ** 2, abs=0.005)
    # the azimuth is nothing to the flat, nor to a wall all round
    assert float(wall.share(40.0, 77.0)) == pytest.approx(float(wall.share(40.0, 200.0)), abs=0.01)


def test_a_hill_hides_sky_from_the_panel_that_faces_it() -> None:
    # a cliff to the zenith over the southern half: an upright panel facing it sees no sky, its back sees all of it
    half = open_sky(((90.0, 0.0), (91.0, 90.0), (269.0, 90.0), (270.0, 0.0)))
    assert float(half.share(90.0, 180.0)) == pytest.approx(0.0, abs=0.02)
    assert float(half.share(90.0, 0.0)) == pytest.approx(1.0, abs=0.02)
    assert float(half.share(0.0, 0.0)) == pytest.approx(0.5, abs=0.02)


def test_a_wall_all_round_leaves_next_to_nothing(outing: Make) -> None:
    clear = windows_for(outing(weather=Shares((1.0,)), hours=10.0))
    walled = windows_for(outing(weather=Shares((1.0,)), hours=10.0, site={"horizon_deg": ((0.0, 80.0),)}))
    share = walled.poa_wm2["flat"].sum() / clear.poa_wm2["flat"].sum()
    # cos²(80°) is 0.03, and Ineichen's clear sky in October has a fifth or so of its light from the sky
    assert 0.0 < share < 0.03


@pytest.mark.parametrize("aim", [Aim(), Aim("re-aimed")])
def test_full_shade_leaves_less_than_half_of_a_dull_day(outing: Make, aim: Aim) -> None:
    dull = outing(weather=Shares((0.15,)), hours=10.0, aim=aim)
    shade = Shade((Span(0, 12 * 60), Span(12 * 60, 24 * 60)))
    shaded = windows_for(outing(weather=Shares((0.15,)), hours=10.0, aim=aim, site={"shade": (shade,)}))
    for light in ("poa_wm2", "useful_wm2"):
        left, whole = (getattr(sky, light)["aimed"].sum() for sky in (shaded, windows_for(dull)))
        assert 0.2 * whole < left < 0.5 * whole


def test_what_passes_a_shade_is_as_said(outing: Make) -> None:
    # ten to eleven under leaves that pass 20 % of the beam and half of the sky; half past ten to noon a wall
    leaves, wall = Shade((Span(600, 660),), 0.2, 0.5), Shade((Span(630, 720),))
    beam, sky = passing(outing(start="2026-10-10T10:00", hours=2.0, site={"shade": (leaves, wall)}))
    assert beam.tolist() == pytest.approx([0.2, 0.0, 0.0, 0.0])
    assert sky.tolist() == pytest.approx([0.5, 0.2, 0.4, 0.4])


def test_a_hill_in_the_west_takes_the_evening_only(outing: Make) -> None:
    hill = ((200.0, 0.0), (230.0, 60.0), (300.0, 60.0), (320.0, 0.0))
    clear = windows_for(outing(weather=Shares((1.0,)), hours=10.0)).poa_wm2["flat"][0]
    hidden = windows_for(outing(weather=Shares((1.0,)), hours=10.0, site={"horizon_deg": hill})).poa_wm2["flat"][0]
    # before it takes the beam, it takes its part of the sky: less than 120 of 360 degrees to two thirds of the height
    assert np.all((hidden[:8] < clear[:8]) & (hidden[:8] > 0.85 * clear[:8]))
    assert hidden[16:].sum() < 0.5 * clear[16:].sum()


@pytest.mark.parametrize(
    ("span", "start", "shares"),
    [
        (Span(16 * 60, 20 * 60), "2026-10-10T15:30", [0, 1, 1]),
        (Span(16 * 60 + 15, 20 * 60), "2026-10-10T16:00", [0.5, 1, 1]),
        (Span(23 * 60, 60), "2026-10-10T22:30", [0, 1, 1, 1, 1, 0]),
    ],
)
def test_share_of_a_step_in_the_shade(outing: Make, span: Span, start: str, shares: list[float]) -> None:
    operation = outing(start=start, hours=len(shares) / 2)
    assert shaded_share(operation, (span,)).tolist() == pytest.approx(shares)


def test_no_spans_is_no_shade(outing: Make) -> None:
    assert not shaded_share(outing(), ()).any()
    assert all((share == 1.0).all() for share in passing(outing()))


def test_a_part_empty_last_step_is_shaded_like_a_whole_one(outing: Make) -> None:
    assert shaded_share(outing(hours=1.25), (Span(0, 24 * 60 - 1),)).tolist() == [1.0, 1.0, 1.0]


def test_shade_cuts_the_beam_of_its_hours_in_every_window(outing: Make) -> None:
    aim = Aim("re-aimed")
    sky = windows_for(outing(hours=10.0, aim=aim), n=20)
    shaded = windows_for(outing(hours=10.0, aim=aim, site={"shade": (Shade((Span(13 * 60, 15 * 60),)),)}), n=20)
    inside = slice(8, 12)
    outside = np.r_[0:8, 12:20]
    assert np.array_equal(sky.poa_wm2["aimed"][:, outside], shaded.poa_wm2["aimed"][:, outside])
    assert (shaded.poa_wm2["flat"][:, inside] <= sky.poa_wm2["flat"][:, inside] + 1e-9).all()
    assert shaded.poa_wm2["flat"][:, inside].sum() < 0.7 * sky.poa_wm2["flat"][:, inside].sum()
    assert (shaded.poa_wm2["flat"][:, inside] > 0).all()
