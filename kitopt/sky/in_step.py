"""Whether a weather file's light comes when the sun does."""

from __future__ import annotations

from collections.abc import Callable

import numpy as np
from numpy.typing import NDArray

Array = NDArray[np.float64]

NOTED_S, NOTED_BY_LIGHT_S = 600.0, 1200.0
"""Least shift that a file's own extraterrestrial column is believed in, and that its light alone is. [s]

At 28 files that were in step the light alone was off by at most 5 min.
"""

MOST_S = 5400.0
"""A file that is further out has another place or another day, rather than another clock. [s]"""

_SEARCH_S, _COARSE_S, _FINE_S = 12 * 3600, 1800, 300
_ROWS = 9000
_PARTS = 4
_LIT_WM2 = 5.0
_LIT_COS = 0.02
_CLEARLY = 0.01


def seconds_late(
    start_s: Array, interval_s: float, latitude_deg: float, longitude_deg: float, lit_wm2: Array, outside_wm2: Array
) -> float:
    """How much later a file's rows must be read to be in step with the sun; 0 where it is not by enough to matter. [s]

    The file's own extraterrestrial irradiance tells to the minute. Without it the hours in which there is light are
    held against those in which the sun is up: over a year sunrise sweeps through the hours.

    Parameters
    ----------
    start_s : ndarray, shape (n_rows,)
        Starts of the intervals as read, seconds of universal time since 1970.
    lit_wm2, outside_wm2 : ndarray, shape (n_rows,)
        Beam and diffuse light together, and irradiance on the flat outside the atmosphere; NaN where not known. [Wm⁻²]
    """
    by_column = np.isfinite(outside_wm2).mean() > 0.9 and float(np.nanmean(outside_wm2)) > 10.0
    seen = np.flatnonzero(np.isfinite(outside_wm2 if by_column else lit_wm2))
    if len(seen) < 1000:
        return 0.0
    # an odd stride visits every hour of the day
    seen = seen[:: max(1, len(seen) // _ROWS) | 1]
    cos_of = _cos_by_delay(start_s[seen], interval_s, latitude_deg, longitude_deg)
    outside, is_lit = outside_wm2[seen] / 1366.0, lit_wm2[seen] > _LIT_WM2

    def mismatch(later_s: float) -> float:
        level = cos_of(later_s)
        return float(np.abs(outside - level).mean() if by_column else (is_lit != (level > _LIT_COS)).mean())

    best_s = 0.0
    for step_s, reach_s in ((_COARSE_S, _SEARCH_S), (_FINE_S, _COARSE_S), (60, _FINE_S if by_column else 0)):
        around = best_s + np.arange(-reach_s, reach_s + 1, step_s, dtype=np.float64)
        best_s = float(min(around, key=lambda one: (mismatch(one), abs(one))))
    least_s = NOTED_S if by_column else NOTED_BY_LIGHT_S
    is_out = abs(best_s) >= least_s and mismatch(0.0) - mismatch(best_s) > _CLEARLY
    return best_s if is_out else 0.0


def _cos_by_delay(
    start_s: Array, interval_s: float, latitude_deg: float, longitude_deg: float
) -> Callable[[float], Array]:
    """Cosine of the zenith angle, zero when the sun is down, meant over intervals read so many seconds later.

    References
    ----------
    .. [1] J. W. Spencer, "Fourier series representation of the position of the sun," Search, vol. 2, 1971.
    """
    import pvlib

    at_s = start_s[:, None] + (np.arange(_PARTS) + 0.5) * interval_s / _PARTS
    days = at_s.astype(np.int64).astype("datetime64[s]")
    of_year = (days - days.astype("datetime64[Y]")).astype(np.float64) / 86400.0 + 1.0
    declination = np.asarray(pvlib.solarposition.declination_spencer71(of_year))
    ahead_min = np.asarray(pvlib.solarposition.equation_of_time_spencer71(of_year))
    hour = 2 * np.pi * (at_s / 86400.0 % 1.0 + longitude_deg / 360.0 + ahead_min / 1440.0 - 0.5)
    phi = np.radians(latitude_deg)
    steady, turning = np.sin(phi) * np.sin(declination), np.cos(phi) * np.cos(declination)

    def cos_of(later_s: float) -> Array:
        cos = steady + turning * np.cos(hour + 2 * np.pi * later_s / 86400.0)
        return np.asarray(np.maximum(cos, 0.0).mean(axis=1), dtype=np.float64)

    return cos_of
