"""A place that is typed, or written in a file: a locator, or latitude and longitude."""

from __future__ import annotations

import re

from kitopt.operation.maidenhead import place_of

NEED = 'a locator such as JN76fa, latitude and longitude such as "46.1,14.5", or an operation\'s file'
_PAIR = re.compile(r"\s*([+-]?[0-9]{1,2}(?:\.[0-9]{1,8})?)\s*[,;]\s*([+-]?[0-9]{1,3}(?:\.[0-9]{1,8})?)\s*", re.ASCII)


def place_named(text: str) -> tuple[float, float]:
    """Return latitude and longitude, north and east positive. [°]

    Raises
    ------
    ValueError
        If it is neither, or not on the globe.
    """
    pair = _PAIR.fullmatch(text.replace("−", "-"))
    if pair is None:
        return place_of(text.strip())
    latitude, longitude = float(pair[1]), float(pair[2])
    if abs(latitude) > 90.0 or abs(longitude) > 180.0:
        raise ValueError(f"{text!r} is not on the globe")
    return latitude, longitude


class Unplaced(ValueError):
    """What is written names no place, or two; carries the key that is at fault, if one is, and what is needed."""

    def __init__(self, key: str, text: str) -> None:
        self.key, self.text = key, text
        super().__init__(text)


def place_given(
    latitude: float | None, longitude: float | None, locator: tuple[float, float] | None
) -> tuple[float, float]:
    """Return latitude and longitude, of which one or both or a locator's are given. [°]

    Raises
    ------
    Unplaced
        If neither is whole, or both are given.
    """
    is_pair = latitude is not None or longitude is not None
    if locator is not None:
        if not is_pair:
            return locator
        raise Unplaced("locator", "found a locator beside latitude and longitude; need one of them.")
    if latitude is not None and longitude is not None:
        return latitude, longitude
    missing = "longitude" if latitude is not None else "latitude" if is_pair else "latitude and longitude"
    raise Unplaced("", f"{missing} missing; need latitude and longitude, or a locator.")
