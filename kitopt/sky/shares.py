"""Days that the user describes: each a share of the clear sky."""

from __future__ import annotations

from datetime import timedelta

import numpy as np

from kitopt.operation.terms import Operation, Shares
from kitopt.sky.assemble import Words, assemble, usual_air
from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.light import Light
from kitopt.sky.moments import moments_of
from kitopt.sky.split import split
from kitopt.sky.sun import sun_at
from kitopt.sky.windows import Sky

TOLD_SPELL = "The days given are one spell, in which panels are worth their mean."


def share_sky(operation: Operation, weather: Shares) -> Sky:
    """One window whose days give the stated shares of a clear day's light on the flat.

    The first share is for the operation's first day on the local calendar; the last repeats.

    Raises
    ------
    BadInput
        If the operation gives no temperatures.
    """
    air = usual_air(operation)
    text = ", ".join(f"{each:g}" for each in weather.shares)
    words = Words(("the days given",), f"daily shares of clear sky: {text}", (TOLD_SPELL,))
    return assemble(operation, _light(operation, weather), air, words, lambda other, _: _light(other, weather))


def _light(operation: Operation, weather: Shares) -> Light:
    """Light of the days given, before anything stands in its way."""
    site = operation.site
    moments = moments_of(operation)
    # the day of the first moment, which at a start just before midnight is not that of the first step's middle
    first = operation.start.astimezone(site.timezone).date()
    numbers = [(day - first) // timedelta(days=1) for day in moments.local_days]
    share = np.array([weather.shares[min(number, len(weather.shares) - 1)] for number in numbers])
    place = Place(site.latitude_deg, site.longitude_deg, site.altitude_m)
    at_s = moments.middle_s[None, :]
    sun = sun_at(at_s, place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(at_s, place, sun)
    dni, dhi = split(clear.ghi_wm2 * share, sun, clear)
    return Light(place, at_s, sun, clear, dni, dhi)
