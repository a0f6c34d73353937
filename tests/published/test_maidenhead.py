"""Maidenhead locators.

The first four pairs are the examples of E. Tyson, "Conversion between geodetic and grid locator systems,"
QST, January 1989 (as transcribed by implementations that cite it). The next two and the corner of BL11bh16
are examples of published descriptions of the system, read second-hand.
"""

from __future__ import annotations

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitopt.operation.maidenhead import corner_of, locator_of, place_of

TYSON = [
    (48.14666, 11.60833, "JN58td"),
    (-34.91, -56.21166, "GF15vc"),
    (38.92, -77.065, "FM18lw"),
    (-41.28333, 174.745, "RE78ir"),
]
OTHERS = [
    (41.714775, -72.727260, "FN31pr"),
    (37.413708, -122.1073236, "CM87wj"),
]
# height of a square of so many characters, by the definition: 10°, then in turn a tenth, a 24th, a tenth, a 24th
HEIGHT_DEG = {4: 1, 6: 1 / 24, 8: 1 / 240, 10: 1 / 5760}


@pytest.mark.parametrize(("latitude_deg", "longitude_deg", "locator"), TYSON + OTHERS)
def test_place_to_locator(latitude_deg: float, longitude_deg: float, locator: str) -> None:
    assert locator_of(latitude_deg, longitude_deg) == locator
    assert locator_of(latitude_deg, longitude_deg, 4) == locator[:4]
    assert locator_of(latitude_deg, longitude_deg, 10)[:6] == locator


@pytest.mark.parametrize(("latitude_deg", "longitude_deg", "locator"), TYSON + OTHERS)
def test_locator_to_the_centre_of_its_square(latitude_deg: float, longitude_deg: float, locator: str) -> None:
    centre = place_of(locator)
    assert centre[0] == pytest.approx(latitude_deg, abs=HEIGHT_DEG[6] / 2)
    assert centre[1] == pytest.approx(longitude_deg, abs=HEIGHT_DEG[6])
    corner = corner_of(locator)
    assert centre == pytest.approx((corner[0] + 1 / 48, corner[1] + 1 / 24), abs=1e-9)


def test_the_south_west_corner_of_an_extended_square() -> None:
    assert corner_of("BL11bh16") == pytest.approx((21.316667, -157.908333), abs=5e-7)


def test_letters_of_either_case() -> None:
    assert place_of("jn58TD") == place_of("JN58td")


@pytest.mark.parametrize(
    "text", ["", "J", "JN", "JN5", "SN58", "JS58", "JN58y", "JN58yd", "JN58tda0", "JN58td123", "ＪＮ58", "J5N8"]
)
def test_what_is_no_locator_is_refused(text: str) -> None:
    with pytest.raises(ValueError, match="not a locator"):
        place_of(text)


@pytest.mark.parametrize(("place", "n"), [((91, 0), 6), ((0, 181), 6), ((0, 0), 5), ((float("nan"), 0), 6)])
def test_places_off_the_globe_are_refused(place: tuple[float, float], n: int) -> None:
    with pytest.raises(ValueError, match="no locator"):
        locator_of(*place, n)


def test_edges_of_the_globe_count_to_the_last_square() -> None:
    assert locator_of(90, 180) == "RR99xx"
    assert locator_of(-90, -180) == "AA00aa"


@given(st.floats(-90, 90), st.floats(-180, 180), st.sampled_from([4, 6, 8, 10]))
def test_a_place_lies_in_its_square_and_the_centre_leads_back(latitude: float, longitude: float, n: int) -> None:
    locator = locator_of(latitude, longitude, n)
    south, west = corner_of(locator)
    assert -1e-9 <= latitude - south <= HEIGHT_DEG[n] + 1e-9
    assert -1e-9 <= longitude - west <= 2 * HEIGHT_DEG[n] + 1e-9
    assert locator_of(*place_of(locator), n) == locator
    # the definition starts each square at its corner, also where the corner has no exact binary value
    assert locator_of(round(south, 9), round(west, 9), 4) == locator[:4]
