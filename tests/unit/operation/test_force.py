"""Items forced in and out: how many of each a kit must take and may take."""

from __future__ import annotations

import pytest
from oracle.instances import battery, load, operation, panel

from kitopt.errors import BadInput
from kitopt.inventory.items import Inventory
from kitopt.operation.force import forced, in_all
from kitopt.operation.terms import Bound

OWNED = Inventory("box", batteries=(battery("b", 10.0, count=3),), loads=(load("lamp", full_a=1.0),))
OUTING = operation((), 4.0)


def test_of_three_one_may_stay_at_home_and_one_be_packed() -> None:
    assert forced(OUTING, OWNED.by_id, "b", "b:1").bounds == (Bound("b", 1, 2),)
    assert forced(OUTING, OWNED.by_id, "b:2", "b:1").bounds == (Bound("b", 2, 2),)
    # all of it stays at home where no number is given
    assert forced(OUTING, OWNED.by_id, "", "b").bounds == (Bound("b", 0, 0),)
    assert forced(OUTING, OWNED.by_id, "b").bounds == (Bound("b", 1, None),)


def test_more_in_than_what_is_left_is_told() -> None:
    with pytest.raises(BadInput) as caught:
        forced(OUTING, OWNED.by_id, "b:3", "b:1")
    (fault,) = caught.value.faults
    assert (fault.file, fault.text) == ("--with", "found 3 × b, but without 1 of them 2 are left.")


def test_a_catalogue_adds_pieces_and_items_and_no_loads() -> None:
    """Loads and extras are the owner's; what has the id of something else is not more of it."""
    offered = Inventory(
        "shop",
        panels=(panel("p", 50.0, count=4), panel("lamp", 50.0)),
        batteries=(battery("b", 10.0, count=2),),
        loads=(load("radio", full_a=1.0),),
    )
    found = in_all(OWNED, offered)
    assert {name: (type(one).__name__, one.count) for name, one in found.items()} == {
        "b": ("Battery", 5),
        "lamp": ("Load", 1),
        "p": ("Panel", 4),
    }
