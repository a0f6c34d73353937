"""The rules of thumb say what the trade says: each with readings of which one is off."""

from __future__ import annotations

import numpy as np
import pytest
from oracle.diagnosed import declared
from oracle.faulty_panels import a_set_up

from kitopt.field.thumb import by_thumb

SET_UP = declared(a_set_up(np.random.default_rng(5), "lead"))
USUAL = {"amps": 3.0, "isc": 3.3, "voc": 21.0}
# as at 13.4 V of a battery of 12.8 V
PLAIN = {"cover": 0.0, "amps": 3.0, "volts": SET_UP.charging_v, "isc": 3.3, "voc": 21.0}
FULL = 14.3 / 13.4 * SET_UP.charging_v


@pytest.mark.parametrize(
    ("off", "first"),
    [
        ({}, "normal"),
        ({"isc": 2.0, "amps": 1.8}, "haze"),
        # a third of the volts is a section of three
        ({"voc": 14.0, "amps": 1.0}, "open-section"),
        ({"amps": 1.5}, "limit"),
        ({"amps": 1.5, "volts": FULL}, "full"),
        ({"amps": 0.0}, "nothing"),
        ({"amps": 0.0, "volts": FULL}, "full"),
        ({"amps": 0.0, "voc": -21.0}, "polarity"),
        ({"cover": 0.4}, "meter-zero"),
    ],
)
def test_what_is_named_first(off: dict[str, float], first: str) -> None:
    assert by_thumb(SET_UP, PLAIN | off, USUAL)[0] == first
