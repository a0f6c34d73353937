"""How far places are from each other."""

from __future__ import annotations

from typing import TYPE_CHECKING

if TYPE_CHECKING:
    import numpy as np
    from numpy.typing import NDArray

    Degrees = float | NDArray[np.float64]

EARTH_KM = 6371.0
"""Mean radius. [km]"""


def distance_km(
    latitude_deg: float, longitude_deg: float, latitudes_deg: Degrees, longitudes_deg: Degrees
) -> NDArray[np.float64]:
    """Distance along the great circle from one point to others, by the haversine formula. [km]"""
    import numpy as np

    phi, phis = np.radians(latitude_deg), np.radians(latitudes_deg)
    turn = np.radians(np.asarray(longitudes_deg) - longitude_deg)
    half = np.sin((phis - phi) / 2) ** 2 + np.cos(phi) * np.cos(phis) * np.sin(turn / 2) ** 2
    return np.asarray(2 * EARTH_KM * np.arcsin(np.sqrt(np.clip(half, 0.0, 1.0))))
