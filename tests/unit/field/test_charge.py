"""What is in the batteries by what is told of them: 10 Ah of which 9 may be used, by hand."""

from __future__ import annotations

import pytest
from oracle.instances import battery, operation

from kitopt.errors import BadInput
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


@pytest.mark.parametrize(
    ("state", "column", "said"),
    [
        (State("used", 10.5), "--used", "found 10.5 Ah, but the batteries hold 10 Ah; need no more than that."),
        # of a battery of twice the volts, or of a panel
        (State("volts", 26.4), "--volts", "found 26.4 V, need the volts of a rested lifepo4 battery of 12.8 V"),
        (State("volts", 3.3), "--volts", "found 3.3 V, need the volts of a rested lifepo4 battery of 12.8 V"),
    ],
)
def test_what_the_batteries_cannot_hold_or_show_is_told(state: State, column: str, said: str) -> None:
    with pytest.raises(BadInput) as caught:
        charge_of(state, [(battery("b", 10.0), 1)], operation((), 4.0))
    (fault,) = caught.value.faults
    assert fault.file == column
    assert fault.text.startswith(said)


def test_more_may_have_come_in_than_went_out_and_all_may_be_used() -> None:
    """Both are told by counters: above full it is full, and 10 of 10 Ah are below the one that is never given."""
    full, empty = (charge_of(State("used", ah), [(battery("b", 10.0), 1)], operation((), 4.0)) for ah in (-3.0, 10.0))
    assert (full.low_share, empty.low_share) == (1.0, 0.0)
