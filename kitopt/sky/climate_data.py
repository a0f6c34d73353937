"""The monthly climate of a place: how clear its days are, month by month."""

from __future__ import annotations

from dataclasses import dataclass
from functools import lru_cache

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.calendar import MONTH_MIDDLES, N_DAYS
from kitopt.sky.sun import outside_day_whm2

Array = NDArray[np.float64]

FARTHEST_KM = 600.0
"""Farther than this a cell says nothing of the place. [km]"""

TOO_SUNNY_SHARE = 0.87
"""The data are about 14 % too sunny against twelve stations; for the direction see Boilley and Wald 2015."""

_DARK_WHM2 = 240.0
"""Months with less than this a day outside the atmosphere are polar night: their clearness means nothing."""

_EARTH_KM = 6371.0


@dataclass(frozen=True)
class Cell:
    """Distribution of daily clearness in one cell.

    Attributes
    ----------
    latitude_deg, longitude_deg, distance_km : float
        Its middle, and how far that is from the place asked for.
    is_own : bool
        Whether the place lies in the cell.
    middles : ndarray, shape (n_months,)
        Middle days of those months that have data, in a year of 366.
    clearness, cumulative : ndarray, shape (n_months, n_bins + 1)
        Clearness (global over extraterrestrial energy of the day), and the share of days below it.
    """

    latitude_deg: float
    longitude_deg: float
    distance_km: float
    is_own: bool
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


class NoClimate(Exception):
    """The data do not reach the place; carries the distance of the nearest cell."""

    def __init__(self, distance_km: float) -> None:
        self.distance_km = distance_km
        super().__init__(f"nearest climate cell is {distance_km:.0f} km away")


def distance_km(latitude_deg: float, longitude_deg: float, latitudes_deg: Array, longitudes_deg: Array) -> Array:
    """Distance along the great circle from one point to others. [km]"""
    phi, phis = np.radians(latitude_deg), np.radians(latitudes_deg)
    turn = np.radians(np.asarray(longitudes_deg) - longitude_deg)
    half = np.sin((phis - phi) / 2) ** 2 + np.cos(phi) * np.cos(phis) * np.sin(turn / 2) ** 2
    return np.asarray(2 * _EARTH_KM * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))


@lru_cache(maxsize=32)
def cell_of(latitude_deg: float, longitude_deg: float) -> Cell:
    """Climate cell of a place, or the nearest one with data within 600 km.

    The file takes a third of a second to unpack; only the cell is kept.

    Raises
    ------
    NoClimate
        If no cell within 600 km has data.

    References
    ----------
    .. [1] R. Gelaro et al., "The Modern-Era Retrospective Analysis for Research and Applications, version 2,"
       J. Climate, vol. 30, no. 14, 2017; monthly distributions 2011–2015 from package gsee-climate-data.
    .. [2] A. Boilley and L. Wald, "Comparison between meteorological re-analyses from ERA-Interim and MERRA and
       measurements of daily solar irradiation at surface," Renewable Energy, vol. 75, 2015.
    """
    import gsee_climate_data

    with gsee_climate_data.load() as file:
        latitudes, longitudes = file["lat"], file["lon"]
        probability, daily_wm2 = file["pk"], file["xk"]
    outside = np.array([_outside_by_month(latitude) for latitude in latitudes])
    lit = outside >= _DARK_WHM2
    weight = probability.sum(axis=-1)
    has_data = np.isfinite(weight) & (weight > 0)
    usable = np.all(has_data | ~lit[:, None, :], axis=-1)
    away_lat, away_lon = latitudes - latitude_deg, (longitudes - longitude_deg + 180.0) % 360.0 - 180.0
    half_cell = float(latitudes[1] - latitudes[0]) / 2
    row, column = int(np.argmin(np.abs(away_lat))), int(np.argmin(np.abs(away_lon)))
    is_own = bool(abs(away_lat[row]) <= half_cell and usable[row, column])
    away_km = distance_km(latitude_deg, longitude_deg, latitudes[:, None], longitudes[None, :])
    if not is_own:
        nearest = int(np.argmin(np.where(usable, away_km, np.inf)))
        row, column = divmod(nearest, len(longitudes))
        if away_km[row, column] > FARTHEST_KM:
            raise NoClimate(float(away_km[row, column]))
    months = np.flatnonzero(lit[row] & has_data[row, column])
    values_whm2 = daily_wm2[row, column, months].astype(np.float64) * 24.0 * TOO_SUNNY_SHARE
    share = probability[row, column, months].astype(np.float64)
    half_bin = (values_whm2[:, 1:2] - values_whm2[:, :1]) / 2
    edges = np.concatenate([values_whm2 - half_bin, values_whm2[:, -1:] + half_bin], axis=1)
    cumulative = np.concatenate([np.zeros((len(months), 1)), np.cumsum(share, axis=1)], axis=1)
    return Cell(
        float(latitudes[row]),
        float(longitudes[column]),
        float(away_km[row, column]),
        is_own,
        MONTH_MIDDLES[months],
        # bins reach below zero, where no light is
        np.maximum(edges, 0.0) / outside[row, months][:, None],
        cumulative / cumulative[:, -1:],
    )


def _outside_by_month(latitude_deg: float) -> Array:
    """Mean daily energy outside the atmosphere in each month. [Wh m⁻²]"""
    day = outside_day_whm2(latitude_deg, np.arange(1, 366))
    months = np.arange("2001-01-01", "2002-01-01", dtype="datetime64[D]").astype("datetime64[M]").astype(int) % 12
    return np.bincount(months, weights=day) / np.bincount(months)
