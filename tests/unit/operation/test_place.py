"""A place that is typed."""

from __future__ import annotations

import pytest

from kitopt.operation.place import place_named


@pytest.mark.parametrize(
    ("text", "place"),
    [
        ("46.1,14.5", (46.1, 14.5)),
        # a minus as it is typeset, and a list as it is written where the comma is the decimal mark
        (" −33.9 ; +18.4 ", (-33.9, 18.4)),
        ("90,-180", (90.0, -180.0)),
        # a field is 20 by 10 degrees, a square 2 by 1, a subsquare 5' by 2.5': its centre
        ("JN76fa", (46.0 + 1.25 / 60, 14.0 + 5.5 * 5 / 60)),
    ],
)
def test_two_numbers_or_a_locator(text: str, place: tuple[float, float]) -> None:
    assert place_named(text) == pytest.approx(place)


@pytest.mark.parametrize("text", ["90.1,0", "0,180.5", "-91,0", "0,-181"])
def test_a_place_off_the_globe_is_none(text: str) -> None:
    with pytest.raises(ValueError, match="is not on the globe"):
        place_named(text)


@pytest.mark.parametrize("text", ["", "46.1", "46.1,14.5,3", "146,14", "JN76zz", "nowhere"])
def test_what_is_neither_is_told(text: str) -> None:
    with pytest.raises(ValueError, match="is not a locator"):
        place_named(text)
