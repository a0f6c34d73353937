"""Windows drawn from the monthly climate of a place."""

from __future__ import annotations

from dataclasses import replace
from datetime import UTC, datetime, timedelta

import numpy as np
from numpy.typing import NDArray

from kitopt.errors import BadInput, Fault
from kitopt.operation.terms import Climate, Operation, Site
from kitopt.sky.assemble import Air, Words, assemble, usual_air
from kitopt.sky.calendar import day_numbers, days_of_year
from kitopt.sky.clear_sky import Place, clear_day_whm2, clear_sky
from kitopt.sky.climate_data import FARTHEST_KM, Cells, NoClimate, cells_of
from kitopt.sky.draws import air_shifts_degc, day_ranks, forecast_factors, place_factors
from kitopt.sky.light import Light
from kitopt.sky.moments import moments_of, solar_days
from kitopt.sky.split import split
from kitopt.sky.sun import outside_day_whm2, sun_at
from kitopt.sky.windows import DayFrom, Sky
from kitopt.sky.worth import Numbered

LOWEST_CLEARNESS = 0.05
"""No day is darker than this share of the light outside the atmosphere (Bendt et al. 1981)."""

TOO_SUNNY_SHARE = 0.88
"""What the data are lowered by; they are too sunny, as Boilley and Wald 2015 say of their predecessor.

Fitted together with the spread of places, on three-day sums of ten measured places (``benchmarks/places.py``).
"""

PLACE_SPREAD = 0.28
"""Standard deviation of the logarithm of what a place gets over what its cells say.

Its mean is one, but no day is over a cloudless one: at 45° N that takes 6 to 8 % off a month's mean.
"""

AIR_SPREAD_DEGC = 3.0
"""Standard deviation of three days' mean air around the month's, 2.4 to 4.1 at eight measured places. [°C]"""

FORECAST_SPREAD, FORECAST_SPREAD_A_DAY = 0.2, 0.05
"""Standard deviation of the logarithm of what comes of a forecast's first day, and its growth by day.

Common practice, no source.
"""


def climate_sky(operation: Operation, weather: Climate, n: int, first: int = 0) -> Sky:
    """Windows number `first` to ``first + n - 1`` of the place's climate, after the days of a forecast if there is one.

    Raises
    ------
    BadInput
        If the data do not reach the place, or the operation gives no temperatures.
    """
    usual = usual_air(operation)
    cells = _cells(operation)
    numbers = np.arange(first, first + n, dtype=np.int64)
    light = climate_light(operation, weather, cells, numbers)
    shift = air_shifts_degc(operation.need.seed, numbers, AIR_SPREAD_DEGC)
    air = Air(usual.air_degc + shift, usual.battery_degc + shift, usual.wind_ms, usual.coldest_degc)
    words = Words(
        tuple(f"window {number}" for number in numbers),
        _source(cells),
        tuple(_notes(operation, weather, cells)),
        can_refresh=True,
    )

    def sample(other: Operation, n_sample: int) -> Light:
        return climate_light(other, weather, cells, np.arange(n_sample, dtype=np.int64))

    sky = assemble(operation, light, air, words, sample)
    return replace(sky, days=_days_from(operation, weather), numbered=Numbered(operation.need.seed, numbers))


def _source(cells: Cells) -> str:
    """Where the climate comes from."""
    if len(cells.parts) > 1:
        return f"climate 2011–2015, between the middles of {len(cells.parts)} cells of 3°"
    return f"climate 2011–2015, 3° cell at {_where(cells)}"


def _where(cells: Cells) -> str:
    """Middle of the cell that weighs most."""
    cell = cells.parts[0][1]
    north, east = ("N" if cell.latitude_deg >= 0 else "S"), ("E" if cell.longitude_deg >= 0 else "W")
    return f"{abs(cell.latitude_deg):g}° {north}, {abs(cell.longitude_deg):g}° {east}"


def _notes(operation: Operation, weather: Climate, cells: Cells) -> list[str]:
    """What the user must know of the windows."""
    site = operation.site
    less = f"{100 * (1 - TOO_SUNNY_SHARE):.0f} %"
    lowered = f"The climate's days are lowered by {less}: its data are too sunny by about as much."
    unsure = f"its light is good to {100 * PLACE_SPREAD:.0f} % at any one place, its air to {AIR_SPREAD_DEGC:g} °C"
    notes = [f"{lowered} Spells differ as places do: {unsure}."]
    if weather.forecast:
        days = len(weather.forecast)
        notes.append(
            f"The forecast gives the first {'day' if days == 1 else f'{days} days'}, with an error that grows by day; "
            "the climate gives the rest."
        )
    if not cells.is_own:
        notes.append(
            f"No climate data at {site.latitude_deg:g}, {site.longitude_deg:g}: those of the cell at {_where(cells)}, "
            f"{cells.distance_km:.0f} km away, stand in."
        )
    return notes


def _cells(operation: Operation) -> Cells:
    """Cells around the operation's place, or a question to the user."""
    site: Site = operation.site
    try:
        return cells_of(site.latitude_deg, site.longitude_deg)
    except NoClimate as away:
        text = (
            f'"climate" does not reach {site.latitude_deg:g}, {site.longitude_deg:g}: its nearest data are '
            f"{away.distance_km:.0f} km away, at most {FARTHEST_KM:.0f} km are bridged. Is the place right? If so, "
            'name a weather file, such as weather = "my-place.epw", or give daily shares of clear sky, such as '
            "weather = [0.3, 0.2]."
        )
        raise BadInput([Fault(operation.file, None, "need.weather", text)]) from away


def climate_days_whm2(
    cells: Cells,
    place: Place,
    seed: int,
    numbers: NDArray[np.int64],
    days: NDArray[np.int64],
    cloudless_whm2: NDArray[np.float64],
) -> NDArray[np.float64]:
    """Energy on the flat of solar days in windows by number, shape (n_windows, n_days). [Wh m⁻²]

    A day's energy is its clearness, drawn from the cells, times the window's place factor, times what the place would
    get outside the atmosphere. It is never under 0.05 of that, and never over a cloudless day.

    Parameters
    ----------
    days : ndarray, shape (n_days,)
        Mean solar days, counted from 1970-01-01.
    cloudless_whm2 : ndarray, shape (n_days,)
        Energy of those days under the clear sky. [Wh m⁻²]
    """
    of_year = day_numbers(days)
    clearness = TOO_SUNNY_SHARE * cells.quantile(day_ranks(seed, numbers, of_year), of_year)
    clearness = np.maximum(clearness * place_factors(seed, numbers, PLACE_SPREAD), LOWEST_CLEARNESS)
    return np.minimum(clearness * outside_day_whm2(place.latitude_deg, days_of_year(days)), cloudless_whm2)


def climate_light(operation: Operation, weather: Climate, cells: Cells, numbers: NDArray[np.int64]) -> Light:
    """Light of windows by number, before anything stands in its way; it follows the clear sky's course by day."""
    site, seed = operation.site, operation.need.seed
    place = Place(site.latitude_deg, site.longitude_deg, site.altitude_m)
    at_s = moments_of(operation).middle_s
    days, which = np.unique(solar_days(at_s, place.longitude_deg), return_inverse=True)
    midnight_s = np.asarray(days * 86400.0 - place.longitude_deg * 240.0, dtype=np.float64)
    cloudless_whm2 = clear_day_whm2(midnight_s, np.full(len(days), 86400.0), place)
    day_whm2 = climate_days_whm2(cells, place, seed, numbers, days, cloudless_whm2)
    of_clear = np.divide(day_whm2, cloudless_whm2, out=np.zeros_like(day_whm2), where=cloudless_whm2 > 0)
    if weather.forecast:
        said = forecast_shares(weather, seed, numbers)
        for column, number in enumerate(_since_start(operation, midnight_s + 43200.0)):
            if number < len(weather.forecast):
                of_clear[:, column] = said[:, max(number, 0)]
    sun = sun_at(at_s[None, :], place.latitude_deg, place.longitude_deg, place.altitude_m)
    clear = clear_sky(at_s[None, :], place, sun)
    dni, dhi = split(clear.ghi_wm2 * of_clear[:, which], sun, clear)
    return Light(place, at_s[None, :], sun, clear, dni, dhi)


def forecast_shares(weather: Climate, seed: int, numbers: NDArray[np.int64]) -> NDArray[np.float64]:
    """Shares of clear sky that come of a forecast's days in windows by number, shape (n_windows, n_days).

    Each is drawn around what was said, with an error that grows by day; none is over a cloudless day, and none under
    0.05 of it unless less was said.
    """
    said = np.array(weather.forecast, dtype=np.float64)
    spreads = FORECAST_SPREAD + FORECAST_SPREAD_A_DAY * np.arange(len(said), dtype=np.float64)
    shares = said * forecast_factors(seed, numbers, spreads)
    return np.asarray(np.clip(shares, np.minimum(said, LOWEST_CLEARNESS), 1.0), dtype=np.float64)


def _since_start(operation: Operation, noon_s: NDArray[np.float64]) -> list[int]:
    """Number of the local calendar's day in which each solar noon falls, the operation's first being 0."""
    first = operation.start.astimezone(operation.site.timezone).date()
    zone = operation.site.timezone
    return [(datetime.fromtimestamp(noon, UTC).astimezone(zone).date() - first) // timedelta(days=1) for noon in noon_s]


def _days_from(operation: Operation, weather: Climate) -> tuple[DayFrom, ...]:
    """Which of the operation's days are the forecast's, and which the climate's."""
    days = sorted(set(moments_of(operation).local_days))
    first = operation.start.astimezone(operation.site.timezone).date()
    numbers = [(day - first) // timedelta(days=1) for day in days]
    return tuple(
        DayFrom(day, "forecast", weather.forecast[number])
        if number < len(weather.forecast)
        else DayFrom(day, "climate", None)
        for day, number in zip(days, numbers, strict=True)
    )
