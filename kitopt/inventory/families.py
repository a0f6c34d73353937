"""Families of connectors: what volts live on them, what they carry, and what goes on what.

A family is known by its first word: ``barrel-5.5x2.1`` is a barrel. All of it is common practice without a
source unless noted; the owner's rows of connectors.csv go first. A family that is not here mates with itself,
or plug with socket, and carries what its leads carry.
"""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache
from typing import Literal

USB_V = (4.75, 5.25)
"""USB 2.0 specification, at the supply's own socket. [V]"""
USB_C_RAISED_V = (8.5, 21.0)
"""9 to 20 V, within 5 %, where both ends agree on it. [V]"""

UNKNOWN_CONTACT_OHM = 0.010
"""A mated pair of which nothing is known. [Ω]"""


@dataclass(frozen=True)
class Family:
    """What is usual of one family.

    Attributes
    ----------
    lives_on : str
        In words, what volts are found on it.
    volts : tuple of (lowest, highest)
        The only volts that it may carry; empty for any. [V]
    contact_ohm : float
        Resistance of a mated pair, both poles. [Ω]
    max_a : float or None
        Most current; None for what its leads carry. [A]
    is_alike : bool
        Whether two ends without a side mate with each other.
    goes_on : tuple of str
        Other families that it clips, screws or bolts on.
    names : tuple of str
        Everyday words that mean it.
    """

    name: str
    lives_on: str
    contact_ohm: float
    max_a: float | None = None
    volts: tuple[tuple[float, float], ...] = ()
    is_alike: bool = True
    goes_on: tuple[str, ...] = ()
    names: tuple[str, ...] = ()

    @property
    def mates(self) -> str:
        """How it is joined, in words."""
        own = "with itself, or plug in socket" if self.is_alike else "plug in socket"
        if self.goes_on:
            return ("with itself, " if self.is_alike else "") + "on " + ", ".join(self.goes_on)
        return own


FAMILIES: dict[str, Family] = {
    one.name: one
    for one in (
        Family("genderless", "12 V bus", 0.002, 30.0),
        Family("barrel", "12 V bus, small panels", 0.015, 5.0, names=("round", "coax", "dc")),
        Family("cigar", "12 V bus", 0.020, 10.0, names=("car", "lighter", "cigarette")),
        Family("usb-c", "5 V; 9 to 20 V where the row says so", 0.030, 5.0, (USB_V, USB_C_RAISED_V), names=("usbc",)),
        Family("usb", "5 V", 0.030, 5.0, (USB_V,)),
        Family("pv", "panel", 0.002, names=("solar",)),
        Family("faston", "12 V bus", 0.003, names=("tab", "blade")),
        Family("stud", "battery, 12 V bus", 0.001, names=("bolt", "post", "terminal")),
        Family("screw", "12 V bus", 0.003),
        Family("ring", "battery, 12 V bus", 0.001, goes_on=("stud", "screw"), names=("eyelet", "lug")),
        Family("spade", "12 V bus", 0.003, goes_on=("stud", "screw"), names=("fork",)),
        Family(
            *("clip", "12 V bus", 0.010, 20.0, ()),
            is_alike=False,
            goes_on=("stud", "ring", "faston"),
            names=("croc", "crocodile", "clamp", "alligator"),
        ),
        Family("bare", "any", 0.005, is_alike=False, goes_on=("screw",), names=("stripped", "wire", "ferrule")),
    )
}
"""By first word; ``usb-c`` before ``usb``."""


@lru_cache(maxsize=1024)
def family_of(text: str) -> Family | None:
    """What is known of a connector's family; None where nothing is."""
    if text == "usb-c" or text.startswith("usb-c-"):
        return FAMILIES["usb-c"]
    word = text.split("-")[0]
    if word in FAMILIES:
        return FAMILIES[word]
    return next((one for one in FAMILIES.values() if text in one.names or word in one.names), None)


@lru_cache(maxsize=1024)
def canonical(text: str) -> str:
    """A family with its everyday word replaced by the one of the table."""
    word, _, size = text.partition("-")
    if text == "usb":
        return "usb-a"  # the large flat end, as which a panel's own socket is taken
    if word in FAMILIES or text.startswith("usb-c"):
        return text
    name = next((one.name for one in FAMILIES.values() if word in one.names), word)
    return f"{name}-{size}" if size else name


def first_words() -> list[str]:
    """Every word by which a family is known, everyday ones too."""
    return [word for one in FAMILIES.values() for word in (one.name, *one.names)]


def admits(text: str, volts: float) -> bool:
    """Whether a family may carry a voltage."""
    known = family_of(text)
    return known is None or not known.volts or any(low <= volts <= high for low, high in known.volts)


def is_off_bus(text: str) -> bool:
    """Whether a family never meets the bus of 12 V: what has it is fed through a converter."""
    known = family_of(text)
    return known is not None and USB_V in known.volts


Side = Literal["", "plug", "socket"]


@lru_cache(maxsize=4096)
def mate(family: str, side: Side, other_family: str, other_side: Side) -> bool:
    """Whether two ends can be pushed, bolted, screwed or clipped together.

    A bolt has a size: where both ends name one, as ``ring-m5`` and ``stud-m6`` do, it must be the same. Everyday
    words stand for their family: ``usbc`` is ``usb-c``.
    """
    family, other_family = canonical(family), canonical(other_family)
    if family == other_family:
        if {side, other_side} == {""}:
            known = family_of(family)
            return known is None or known.is_alike
        return {side, other_side} == {"plug", "socket"}
    one, other = family_of(family), family_of(other_family)
    if one is None or other is None or (side, other_side) != ("", ""):
        return False
    if other.name not in one.goes_on and one.name not in other.goes_on:
        return False
    size, other_size = family.partition("-")[2], other_family.partition("-")[2]
    is_bolted = {one.name, other.name} == {"ring", "stud"}
    return not is_bolted or not size or not other_size or size == other_size
