"""Who can hand over to whom. Distances by hand: a degree of latitude is 6,371 km x pi / 180 = 111.19 km."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from zoneinfo import ZoneInfo

import pytest

from kitopt.inventory.items import Extra, Inventory
from kitopt.operation.extras import shared_out
from kitopt.operation.plans import Outing, Programme, at_once
from kitopt.operation.terms import Operation, Site
from kitopt.operation.ways import Ways, km_between

ZONE = ZoneInfo("Europe/Vienna")


def site(latitude_deg: float, longitude_deg: float = 13.0) -> Site:
    return Site(latitude_deg, longitude_deg, 0.0, ZONE, 20.0, 20.0)


def outing(hour: float, hours: float, latitude_deg: float = 47.0, operator: str = "") -> Outing:
    start = datetime(2027, 6, 4, 8, tzinfo=ZONE) + timedelta(hours=hour)
    return Outing(Operation("o.toml", "o", start, hours, site(latitude_deg), ()), operator)


def ways(*outings: Outing, hours_between: float | None = None) -> Ways:
    return Ways(Programme("p.toml", "p", outings, hours_between=hours_between))


@pytest.mark.parametrize(
    ("one", "other", "km"),
    [
        (site(47.0), site(48.0), 111.19),
        # along the equator too
        (site(0.0, 10.0), site(0.0, 12.0), 222.39),
        # half way round
        (site(90.0), site(-90.0), math.pi * 6371),
        (site(47.0), site(47.0), 0.0),
    ],
)
def test_distances(one: Site, other: Site, km: float) -> None:
    assert km_between(one, other) == pytest.approx(km, abs=0.01)


def test_a_handover_takes_an_hour_and_the_road() -> None:
    # 0.9 degrees are 100.1 km: 2 h and the hour, 3.0 h after the end at 4 h
    for hour, is_in_time in ((6.9, False), (7.1, True)):
        assert ways(outing(0, 4), outing(hour, 1, 47.9)).follows(0, 1) is is_in_time
    # in one place still the hour
    for hour, is_in_time in ((4.9, False), (5.0, True)):
        assert ways(outing(0, 4), outing(hour, 1)).follows(0, 1) is is_in_time


def test_nobody_drives_across_a_continent_for_a_lead() -> None:
    week = 7 * 24.0
    assert not ways(outing(0, 4), outing(week, 1, 60.0)).follows(0, 1)
    # but the owner may know of a way
    assert ways(outing(0, 4), outing(week, 1, 60.0), hours_between=48.0).follows(0, 1)
    assert not ways(outing(0, 4), outing(40, 1, 47.0), hours_between=48.0).follows(0, 1)


def test_ones_own_things_travel_along() -> None:
    there = ways(outing(0, 4, operator="team"), outing(4, 1, 60.0, operator="team"))
    assert there.follows(0, 1)
    assert there.at_once() == [(0,), (1,)]


def test_a_third_may_pass_it_on() -> None:
    # 400 km are too far, twice 200 km are not: 1 h and 4 h each
    there = ways(outing(0, 4, 47.0), outing(10, 4, 48.8), outing(20, 4, 50.6))
    assert not there.is_in_time(0, 2)
    assert there.follows(0, 2)
    assert there.stops(0, 2) == [0, 1, 2]


def test_what_overlaps_is_at_once_as_before() -> None:
    some = (outing(0, 10), outing(5, 10), outing(12, 10), outing(30, 1))
    assert at_once(some) == [(0, 1), (1, 2), (3,)]
    # too far from each other to share, though one after another
    assert ways(outing(0, 4, 47.0), outing(100, 4, 60.0), outing(200, 4, 47.0)).at_once() == [(0, 1), (1, 2)]
    assert ways(outing(0, 4), outing(100, 4, 60.0), outing(200, 4)).hang_together() == [[0, 1, 2]]


def test_extras_are_shared_out_one_each_first() -> None:
    meter = Extra(id="meter", name="", mass_g=90, count=1)
    pens = Extra(id="pen", name="", mass_g=10, count=3)
    stock = Inventory(folder="", extras=(meter, pens))
    some = [one.operation for one in (outing(1, 4), outing(0, 4), outing(30, 4))]
    # the second begins first and has the only meter; of three pens it gets the odd one
    assert shared_out(some, stock, [(0, 1), (2,)]) == [
        (("pen", 1),),
        (("meter", 1), ("pen", 2)),
        (("meter", 1), ("pen", 3)),
    ]
