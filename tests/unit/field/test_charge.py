"""What is in the batteries by what is told of them: 10 Ah of which 9 may be used, by hand."""

from __future__ import annotations

import pytest
from oracle.instances import battery, operation

from kitopt.field.now import State, charge_of


@pytest.mark.parametrize(
    ("state", "share", "used_ah"),
    [
        (State("used", 4.5), 0.5, 4.5),
        # a gauge at 55 % shows 5.5 Ah, of which 1 stays
        (State("charge", 0.55), 0.5, 4.5),
        (State("charge", 1.0), 1.0, 0.0),
        (State("charge", 0.05), 0.0, 9.0),
    ],
)
def test_what_is_left_is_counted_above_what_is_never_given(state: State, share: float, used_ah: float) -> None:
    found = charge_of(state, [(battery("b", 10.0), 1)], operation((), 4.0))
    assert (found.low_share, found.high_share) == pytest.approx((share, share))
    assert (found.usable_ah, found.used_ah) == pytest.approx((9.0, used_ah))
