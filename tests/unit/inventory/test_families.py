"""What goes on what, and which volts live where. Common practice, no source, but for USB."""

from __future__ import annotations

import pytest

from kitopt.inventory.families import FAMILIES, admits, family_of, is_off_bus
from kitopt.inventory.items import Connector


def end(text: str) -> Connector:
    family, _, side = text.partition(":")
    return Connector(family, side)  # type: ignore[arg-type]


@pytest.mark.parametrize(
    ("one", "other", "fits"),
    [
        *[("genderless-30", "genderless-30", True), ("barrel-5.5x2.1:plug", "barrel-5.5x2.1:socket", True)],
        *[("barrel-5.5x2.1:plug", "barrel-5.5x2.5:socket", False), ("pv:plug", "pv:plug", False)],
        # a ring is bolted to a stud of its size, or to one of which no size is known
        *[("ring-m5", "stud-m5", True), ("ring-m5", "stud-m6", False), ("ring-m5", "bolt", True)],
        *[("ring", "screw-4", True), ("spade", "stud-m5", True), ("clip", "stud-m6", True), ("croc", "ring-m5", True)],
        # bare ends join only through a terminal
        *[("bare", "bare", False), ("bare", "screw", True), ("bare", "stud-m5", False), ("clip", "clip", False)],
        # an everyday word stands for its family
        *[("usbc:plug", "usb-c:socket", True), ("usb-a:plug", "usb-c:socket", False)],
        *[("lighter:plug", "cigar:socket", True), ("g", "h", False), ("mystery", "mystery", True)],
    ],
)
def test_what_mates(one: str, other: str, fits: bool) -> None:
    assert end(one).mates_with(end(other)) is fits
    assert end(other).mates_with(end(one)) is fits


def test_usb_carries_5_v_and_usb_c_more_where_the_row_says_so() -> None:
    # USB 2.0: 4.75 to 5.25 V at the supply
    assert admits("usb-a", 5.0)
    assert not admits("usb-a", 9.0)
    assert not admits("usb-a", 12.8)
    assert admits("usb-c", 20.0)
    assert not admits("usb-c", 6.0)
    assert admits("genderless-30", 12.8)
    assert is_off_bus("usb-c")
    assert is_off_bus("usb-micro")
    assert not is_off_bus("barrel-5.5x2.1")


def test_words_lead_to_one_family_each() -> None:
    words = [word for one in FAMILIES.values() for word in one.names]
    assert len(words) == len(set(words))
    assert not set(words) & set(FAMILIES)
    for one in FAMILIES.values():
        assert family_of(one.name) is one
        assert set(one.goes_on) <= set(FAMILIES)
    assert family_of("charge-cup") is None


@pytest.mark.parametrize("name", FAMILIES)
def test_what_is_said_of_a_family_is_how_it_mates(name: str) -> None:
    """An end beside one of its own sort, and beside those that it goes on or that go on it, and beside no other."""
    said = FAMILIES[name].mates
    assert end(name).mates_with(end(name)) is ("with itself" in said)
    if "plug in socket" in said:
        assert end(f"{name}:plug").mates_with(end(f"{name}:socket"))
        assert not end(f"{name}:plug").mates_with(end(f"{name}:plug"))
    told = {one.name: set(one.mates.partition("on ")[2].split(", ")) for one in FAMILIES.values()}
    meets = {other for other in FAMILIES if other != name and end(name).mates_with(end(other))}
    assert meets == {other for other in FAMILIES if other in told[name] or name in told[other]}
