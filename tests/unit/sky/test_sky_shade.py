"""Local horizon and hours of shade cut the beam and leave the diffuse light."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.operation.terms import Aim, Operation, Shares, Span
from kitopt.sky import windows_for
from kitopt.sky.shade import horizon_deg, shaded_share

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


def test_a_wall_all_round_leaves_only_diffuse_light(outing: Make) -> None:
    clear = windows_for(outing(weather=Shares((1.0,)), hours=10.0))
    walled = windows_for(outing(weather=Shares((1.0,)), hours=10.0, site={"horizon_deg": ((0.0, 89.0),)}))
    share = walled.poa_wm2["flat"].sum() / clear.poa_wm2["flat"].sum()
    # Ineichen's clear sky in October: a fifth or so of the light is diffuse
    assert 0.08 < share < 0.35


def test_a_hill_in_the_west_takes_the_evening_only(outing: Make) -> None:
    hill = ((200.0, 0.0), (230.0, 60.0), (300.0, 60.0), (320.0, 0.0))
    clear = windows_for(outing(weather=Shares((1.0,)), hours=10.0)).poa_wm2["flat"][0]
    hidden = windows_for(outing(weather=Shares((1.0,)), hours=10.0, site={"horizon_deg": hill})).poa_wm2["flat"][0]
    assert np.array_equal(clear[:8], hidden[:8])
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
    operation = outing(start=start, hours=len(shares) / 2, site={"shade": (span,)})
    assert shaded_share(operation).tolist() == pytest.approx(shares)


def test_no_spans_is_no_shade(outing: Make) -> None:
    assert not shaded_share(outing()).any()


def test_a_part_empty_last_step_is_shaded_like_a_whole_one(outing: Make) -> None:
    site = {"shade": (Span(0, 24 * 60 - 1),)}
    assert shaded_share(outing(hours=1.25, site=site)).tolist() == [1.0, 1.0, 1.0]


def test_shade_cuts_the_beam_of_its_hours_in_every_window(outing: Make) -> None:
    aim = Aim("re-aimed")
    sky = windows_for(outing(hours=10.0, aim=aim), n=20)
    shaded = windows_for(outing(hours=10.0, aim=aim, site={"shade": (Span(13 * 60, 15 * 60),)}), n=20)
    inside = slice(8, 12)
    outside = np.r_[0:8, 12:20]
    assert np.array_equal(sky.poa_wm2["aimed"][:, outside], shaded.poa_wm2["aimed"][:, outside])
    assert (shaded.poa_wm2["flat"][:, inside] <= sky.poa_wm2["flat"][:, inside] + 1e-9).all()
    assert shaded.poa_wm2["flat"][:, inside].sum() < 0.7 * sky.poa_wm2["flat"][:, inside].sum()
    assert (shaded.poa_wm2["flat"][:, inside] > 0).all()
