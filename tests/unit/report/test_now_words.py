"""What to do with a kit in hand, as it is said to somebody who sits before it."""

from __future__ import annotations

from dataclasses import replace

import pytest
from small_choices import operation_of

from kitopt.ask import Change
from kitopt.report.field.now import change_text


@pytest.mark.parametrize(
    ("change", "told"),
    [
        (Change("aim"), "turn the panels to the sun every 3 h"),
        (Change("charge"), "swap to another battery now, if the others are full"),
        (Change("load off", "lamp"), "lamp off"),
        (Change("power", "radio"), "radio at half power"),
    ],
)
def test_a_change_is_something_that_can_be_done_at_once(change: Change, told: str) -> None:
    hut = operation_of()
    assert change_text(replace(hut, aim=replace(hut.aim, every_h=3.0)), change) == told
