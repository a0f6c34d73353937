"""Windows drawn from the monthly climate of a place."""

from __future__ import annotations

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Operation, Site
from kitopt.sky.assemble import Words, assemble, usual_air
from kitopt.sky.calendar import day_numbers, days_of_year
from kitopt.sky.clear_sky import Place, clear_day_whm2, clear_sky
from kitopt.sky.climate_data import FARTHEST_KM, Cell, NoClimate, cell_of
from kitopt.sky.draws import day_ranks
from kitopt.sky.light import Light
from kitopt.sky.moments import moments_of, solar_days
from kitopt.sky.split import split
from kitopt.sky.sun import outside_day_whm2, sun_at
from kitopt.sky.windows import Sky

LOWEST_CLEARNESS = 0.05
"""No day is darker than this share of the light outside the atmosphere (Bendt et al. 1981)."""


def climate_sky(operation: Operation, n: int, first: int = 0) -> Sky:
    """Windows number `first` to ``first + n - 1`` of the place's climate.

    Raises
    ------
    BadInput
        If the data do not reach the place, or the operation gives no temperatures.
    """
    air = usual_air(operation)
    site = operation.site
    cell = _cell(operation)
    numbers = np.arange(first, first + n, dtype=np.int64)
    light = climate_light(operation, cell, numbers)
    north, east = ("N" if cell.latitude_deg >= 0 else "S"), ("E" if cell.longitude_deg >= 0 else "W")
    where = f"{abs(cell.latitude_deg):g}° {north}, {abs(cell.longitude_deg):g}° {east}"
    notes = ["The climate's days are lowered by 13 %: its data are too sunny by about as much."]
    if not cell.is_own:
        notes.append(
            f"No climate data at {site.latitude_deg:g}, {site.longitude_deg:g}: those of the cell at {where}, "
            f"{cell.distance_km:.0f} km away, stand in."
        )
    words = Words(
        tuple(f"window {number}" for number in numbers),
        f"climate 2011–2015, 3° cell at {where}",
        tuple(notes),
        can_refresh=True,
    )

    def sample(other: Operation, n_sample: int) -> Light:
        return climate_light(other, cell, np.arange(n_sample, dtype=np.int64))

    return assemble(operation, light, air, words, sample)


def _cell(operation: Operation) -> Cell:
    """Cell of the operation's place, or a question to the user."""
    site: Site = operation.site
    try:
        return cell_of(site.latitude_deg, site.longitude_deg)
    except NoClimate as away:
        text = (
            f'"climate" does not reach {site.latitude_deg:g}, {site.longitude_deg:g}: its nearest data are '
            f"{away.distance_km:.0f} km away, at most {FARTHEST_KM:.0f} km are bridged. Is the place right? If so, "
            'name a weather file, such as weather = "my-place.epw", or give daily shares of clear sky, such as '
            "weather = [0.3, 0.2]."
        )
        raise BadInput([Fault(operation.file, None, "need.weather", text)]) from away


def climate_light(operation: Operation, cell: Cell, numbers: NDArray[np.int64]) -> Light:
    """Light of windows by number, before anything stands in its way.

    A day's energy is its clearness, drawn from the cell, times what the place would get outside the atmosphere; it
    is never under 0.05 of that, and never over a cloudless day. It follows the clear sky's course through the day.
    """
    site = operation.site
    place = Place(site.latitude_deg, site.longitude_deg, site.altitude_m)
    at_s = moments_of(operation).middle_s
    days, which = np.unique(solar_days(at_s, place.longitude_deg), return_inverse=True)
    clearness = np.maximum(
        cell.quantile(day_ranks(operation.need.seed, numbers, day_numbers(days)), day_numbers(days)), LOWEST_CLEARNESS
    )
    midnight_s = np.asarray(days * 86400.0 - place.longitude_deg * 240.0, dtype=np.float64)
    cloudless_whm2 = clear_day_whm2(midnight_s, np.full(len(days), 86400.0), place)
    day_whm2 = np.minimum(clearness * outside_day_whm2(place.latitude_deg, days_of_year(days)), cloudless_whm2)
    of_clear = np.divide(day_whm2, cloudless_whm2, out=np.zeros_like(day_whm2), where=cloudless_whm2 > 0)
    sun = sun_at(at_s[None, :], place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(at_s[None, :], place, sun)
    dni, dhi = split(clear.ghi_wm2 * of_clear[:, which], sun, clear)
    return Light(place, at_s[None, :], sun, clear, dni, dhi)
