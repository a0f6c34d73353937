"""Daily shares of clear sky, and the clear sky they are shares of."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
import pytest

from kitopt.operation.terms import Aim, Operation, Shares
from kitopt.sky import windows_for
from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.moments import moments_of
from kitopt.sky.sun import incidence_cos, sun_at

Make = Callable[..., Operation]


def _by_day(operation: Operation) -> np.ndarray:
    return windows_for(operation).poa_wm2["flat"][0].reshape(-1, 48).sum(axis=1)


def test_each_day_has_its_share_and_the_last_repeats(outing: Make) -> None:
    start = "2026-06-20T00:00"
    clear = _by_day(outing(weather=Shares((1.0,)), start=start, hours=96.0))
    given = _by_day(outing(weather=Shares((0.5, 0.1, 0.8)), start=start, hours=96.0))
    np.testing.assert_allclose(given / clear, [0.5, 0.1, 0.8, 0.8], rtol=1e-6)


def test_the_first_share_is_for_the_first_local_day_however_late_it_starts(outing: Make) -> None:
    # a start at 23:45: its first step's middle is already the next day
    sky = windows_for(outing(weather=Shares((0.0, 1.0)), start="2026-06-20T23:50", hours=24.0))
    assert sky.poa_wm2["flat"].max() > 500


def test_full_share_is_the_clear_sky_itself_on_a_low_winter_sun(outing: Make) -> None:
    # the whole chain against the clear sky's own beam and diffuse, where a split by correlation alone is a third short
    operation = outing(
        weather=Shares((1.0,)),
        start="2026-01-15T00:00",
        hours=24.0,
        place=(51.5, -0.1),
        zone="Europe/London",
        aim=Aim("fixed", tilt_deg=65.0, azimuth_deg=180.0),
    )
    sky = windows_for(operation)
    at_s = moments_of(operation).middle_s
    place = Place(51.5, -0.1, 40.0)
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(at_s, place, sun)
    beam = clear.dni_wm2 * np.maximum(incidence_cos(sun, 65.0, 180.0), 0.0)
    isotropic = clear.dhi_wm2 * (1 + np.cos(np.radians(65))) / 2
    ground = 0.2 * clear.ghi_wm2 * (1 - np.cos(np.radians(65))) / 2
    simple = (beam + isotropic + ground).sum()
    # light from around the sun adds to the isotropic sky on a panel that faces it
    assert simple < sky.poa_wm2["aimed"].sum() < 1.12 * simple


@pytest.mark.parametrize("share", [0.0, 0.3, 0.7, 1.0])
def test_flat_panels_get_exactly_the_share(outing: Make, share: float) -> None:
    clear = windows_for(outing(weather=Shares((1.0,)))).poa_wm2["flat"]
    given = windows_for(outing(weather=Shares((share,)))).poa_wm2["flat"]
    np.testing.assert_allclose(given, share * clear, atol=1e-6)


def test_darker_days_are_more_diffuse(outing: Make) -> None:
    # an upright panel facing away from the sun sees diffuse light only; its part of the whole grows as days darken
    ratios = []
    for share in (0.9, 0.6, 0.3):
        sky = windows_for(
            outing(weather=Shares((share,)), hours=10.0, aim=Aim("fixed", tilt_deg=90.0, azimuth_deg=0.0))
        )
        ratios.append(sky.poa_wm2["aimed"].sum() / sky.poa_wm2["flat"].sum())
    assert ratios[0] < ratios[1] < ratios[2]


def test_source_names_the_shares(outing: Make) -> None:
    assert windows_for(outing(weather=Shares((0.3, 0.25)))).source == "daily shares of clear sky: 0.3, 0.25"
