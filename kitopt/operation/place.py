"""A place that is typed: a locator, or latitude and longitude."""

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
