"""The monthly climate of a place: how clear its days are, month by month."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kitopt.operation.distance import distance_km
from kitopt.sky.calendar import MONTH_MIDDLES, N_DAYS
from kitopt.sky.sun import outside_day_whm2

Array = NDArray[np.float64]

FARTHEST_KM = 600.0
"""Farther than this a cell says nothing of the place. [km]"""

_DARK_WHM2 = 240.0
"""Months with less than this a day outside the atmosphere are polar night: their clearness means nothing."""


@dataclass(frozen=True)
class Cell:
    """Distribution of daily clearness in one cell.

    Attributes
    ----------
    latitude_deg, longitude_deg : float
        Its middle.
    middles : ndarray, shape (n_months,)
        Middle days of those months that have data, in a year of 366.
    clearness, cumulative : ndarray, shape (n_months, n_bins + 1)
        Clearness (global over extraterrestrial energy of the day), and the share of days below it.
    """

    latitude_deg: float
    longitude_deg: float
    middles: Array
    clearness: Array
    cumulative: Array

    def quantile(self, ranks: Array, days: NDArray[np.int64]) -> Array:
        """Clearness of days by their rank, blended between the middles of the months.

        Parameters
        ----------
        ranks : ndarray, shape (n_windows, n_days)
            0 for the darkest of its like, 1 for the brightest.
        days : ndarray, shape (n_days,)
            Days of the year, 0 to 365.

        Returns
        -------
        ndarray, shape (n_windows, n_days)
        """
        clear = np.empty_like(ranks)
        for column, day in enumerate(days):
            after = int(np.searchsorted(self.middles, day, side="right")) % len(self.middles)
            before = after - 1
            gap = (self.middles[after] - self.middles[before]) % N_DAYS or N_DAYS
            weight = ((day - self.middles[before]) % N_DAYS) / gap
            low, high = (
                np.interp(ranks[:, column], self.cumulative[month], self.clearness[month]) for month in (before, after)
            )
            clear[:, column] = (1.0 - weight) * low + weight * high
        return clear


@dataclass(frozen=True)
class Cells:
    """The climate of a place, between the middles of the cells around it.

    Attributes
    ----------
    parts : tuple of (float, Cell)
        Weights, which add up to 1, and cells.
    distance_km : float
        To the middle of the nearest of them.
    is_own : bool
        Whether the cell in which the place lies is one of them.
    """

    parts: tuple[tuple[float, Cell], ...]
    distance_km: float
    is_own: bool

    def quantile(self, ranks: Array, days: NDArray[np.int64]) -> Array:
        """Clearness of days by their rank; a day that is the darkest of its like is so in every cell."""
        return np.asarray(sum(weight * cell.quantile(ranks, days) for weight, cell in self.parts))


class NoClimate(Exception):
    """The data do not reach the place; carries the distance of the nearest cell."""

    def __init__(self, distance_km: float) -> None:
        self.distance_km = distance_km
        super().__init__(f"nearest climate cell is {distance_km:.0f} km away")


@dataclass(frozen=True)
class _Map:
    """Which cells have data: middles of rows and columns, months that are lit or have data, and cells of use."""

    latitudes: Array
    longitudes: Array
    outside_whm2: Array
    lit: NDArray[np.bool_]
    has_data: NDArray[np.bool_]
    usable: NDArray[np.bool_]


@lru_cache(maxsize=1)
def _unpacked() -> tuple[Array, Array, Array, Array]:
    """Middles of rows and columns, and of each cell and month the shares of days and their light. [Wm⁻²]"""
    import gsee_climate_data

    with gsee_climate_data.load() as file:
        return file["lat"], file["lon"], file["pk"], file["xk"]


@lru_cache(maxsize=1)
def _map() -> _Map:
    """The map of the data, which is small beside them."""
    latitudes, longitudes, probability, _ = _unpacked()
    outside = np.array([_outside_by_month(latitude) for latitude in latitudes])
    lit = outside >= _DARK_WHM2
    weight = probability.sum(axis=-1)
    has_data = np.isfinite(weight) & (weight > 0)
    return _Map(latitudes, longitudes, outside, lit, has_data, np.all(has_data | ~lit[:, None, :], axis=-1))


@lru_cache(maxsize=256)
def _cell(row: int, column: int) -> Cell:
    """One cell; the places of a region share a few."""
    known = _map()
    _, _, probability, daily_wm2 = _unpacked()
    months = np.flatnonzero(known.lit[row] & known.has_data[row, column])
    values_whm2 = daily_wm2[row, column, months].astype(np.float64) * 24.0
    share = probability[row, column, months].astype(np.float64)
    half_bin = (values_whm2[:, 1:2] - values_whm2[:, :1]) / 2
    edges = np.concatenate([values_whm2 - half_bin, values_whm2[:, -1:] + half_bin], axis=1)
    cumulative = np.concatenate([np.zeros((len(months), 1)), np.cumsum(share, axis=1)], axis=1)
    return Cell(
        float(known.latitudes[row]),
        float(known.longitudes[column]),
        MONTH_MIDDLES[months],
        # bins reach below zero, where no light is
        np.maximum(edges, 0.0) / known.outside_whm2[row, months][:, None],
        cumulative / cumulative[:, -1:],
    )


@lru_cache(maxsize=32)
def cells_of(latitude_deg: float, longitude_deg: float) -> Cells:
    """Climate between the cells around a place, or of the nearest one with data within 600 km.

    Of the four cells whose middles surround the place those with data are taken, each with its share of a bilinear
    interpolation. The file takes a third of a second to unpack; only these cells are kept.

    Raises
    ------
    NoClimate
        If no cell within 600 km has data.

    References
    ----------
    .. [1] R. Gelaro et al., "The Modern-Era Retrospective Analysis for Research and Applications, version 2,"
       J. Climate, vol. 30, no. 14, 2017; monthly distributions 2011–2015 from package gsee-climate-data.
    """
    known = _map()
    latitudes, longitudes = known.latitudes, known.longitudes
    around = {
        (row, column): share
        for (row, column), share in _around(latitude_deg, longitude_deg, latitudes, longitudes).items()
        if known.usable[row, column]
    }
    away_km = distance_km(latitude_deg, longitude_deg, latitudes[:, None], longitudes[None, :])
    if not around:
        row, column = divmod(int(np.argmin(np.where(known.usable, away_km, np.inf))), len(longitudes))
        around = {(row, column): 1.0}
    nearest_km = min(float(away_km[at]) for at in around)
    if nearest_km > FARTHEST_KM:
        raise NoClimate(nearest_km)

    total = sum(around.values())
    parts = tuple((share / total, _cell(*at)) for at, share in sorted(around.items(), key=lambda one: -one[1]))
    # much larger than the cells that are kept
    _unpacked.cache_clear()
    half_cell = float(latitudes[1] - latitudes[0]) / 2
    is_own = any(
        abs(one.latitude_deg - latitude_deg) <= half_cell
        and abs((one.longitude_deg - longitude_deg + 180.0) % 360.0 - 180.0) <= half_cell
        for _, one in parts
    )
    return Cells(parts, nearest_km, is_own)


def _around(
    latitude_deg: float, longitude_deg: float, latitudes: Array, longitudes: Array
) -> dict[tuple[int, int], float]:
    """Rows and columns of the cells whose middles surround a place, with their bilinear weights."""
    step = float(latitudes[1] - latitudes[0])
    up = float(np.clip((latitude_deg - latitudes[0]) / step, 0.0, len(latitudes) - 1.0))
    along = float(((longitude_deg - longitudes[0]) % 360.0) / step)
    rows: dict[int, float] = {}
    columns: dict[int, float] = {}
    for found, at, n in ((rows, up, len(latitudes)), (columns, along, len(longitudes))):
        low = int(at)
        found[low] = 1.0 - (at - low)
        found[(low + 1) % n] = at - low
    return {
        (row, column): of_row * of_column
        for row, of_row in rows.items()
        for column, of_column in columns.items()
        if of_row * of_column > 0
    }


def _outside_by_month(latitude_deg: float) -> Array:
    """Mean daily energy outside the atmosphere in each month. [Wh m⁻²]"""
    day = outside_day_whm2(latitude_deg, np.arange(1, 366))
    months = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    return np.bincount(months, weights=day) / np.bincount(months)
