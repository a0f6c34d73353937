"""Maidenhead locators: latitude and longitude in pairs of letters and digits.

References
----------
.. [1] E. Tyson, "Conversion between geodetic and grid locator systems," QST, January 1989.
.. [2] IARU Region 1, "VHF managers handbook": the definition of the locator and its extension.
"""

from __future__ import annotations

import re
from fractions import Fraction

_LOCATOR = re.compile(r"[A-R]{2}[0-9]{2}(?:[A-X]{2}(?:[0-9]{2}(?:[A-X]{2})?)?)?", re.ASCII | re.IGNORECASE)
_BASES = (18, 10, 24, 10, 24)
"""Steps of each pair: field, square, subsquare, extended square, extended subsquare."""


def _size(n_pairs: int) -> Fraction:
    """Return the height of a square of so many pairs; it is twice as wide. [°]"""
    size = Fraction(180)
    for base in _BASES[:n_pairs]:
        size /= base
    return size


def corner_of(locator: str) -> tuple[float, float]:
    """Return latitude and longitude of a locator's south-west corner. [°]

    Raises
    ------
    ValueError
        If it is not a locator of 4, 6, 8 or 10 characters.
    """
    south, west = _corner(locator)
    return float(south), float(west)


def place_of(locator: str) -> tuple[float, float]:
    """Return latitude and longitude of the centre of a locator's square. [°]

    Raises
    ------
    ValueError
        If it is not a locator of 4, 6, 8 or 10 characters.
    """
    south, west = _corner(locator)
    size = _size(len(locator) // 2)
    return float(south + size / 2), float(west + size)


def _corner(locator: str) -> tuple[Fraction, Fraction]:
    if not _LOCATOR.fullmatch(locator):
        raise ValueError(f"{locator!r} is not a locator")
    south, west = Fraction(-90), Fraction(-180)
    for i in range(len(locator) // 2):
        east_step, north_step = (
            int(char) if char.isdigit() else ord(char.upper()) - ord("A") for char in locator[2 * i : 2 * i + 2]
        )
        size = _size(i + 1)
        south += north_step * size
        west += east_step * 2 * size
    return south, west


def locator_of(latitude_deg: float, longitude_deg: float, n: int = 6) -> str:
    """Return the locator of the square that holds a place.

    The north pole and 180° east count to the last square before them.

    Parameters
    ----------
    latitude_deg, longitude_deg : float
        North and east positive. [°]
    n : {4, 6, 8, 10}
        Number of characters.

    Raises
    ------
    ValueError
        If the place is not on the globe, or n is something else.
    """
    if n not in (4, 6, 8, 10) or not -90 <= latitude_deg <= 90 or not -180 <= longitude_deg <= 180:
        raise ValueError(f"no locator of {n} characters for latitude {latitude_deg}, longitude {longitude_deg}")
    size = _size(n // 2)
    # exact, so that a place on an edge falls into the square that starts there; the decimal that was written counts
    last = int(180 / size) - 1
    north = min(last, int((Fraction(repr(float(latitude_deg))) + 90) / size))
    east = min(last, int((Fraction(repr(float(longitude_deg))) + 180) / (2 * size)))
    pairs: list[str] = []
    for i in reversed(range(n // 2)):
        north, north_step = divmod(north, _BASES[i])
        east, east_step = divmod(east, _BASES[i])
        if _BASES[i] == 10:
            pairs.append(f"{east_step}{north_step}")
        else:
            # fields in capitals, later letters small
            first = ord("A" if i == 0 else "a")
            pairs.append(chr(first + east_step) + chr(first + north_step))
    return "".join(reversed(pairs))
