"""M. Collares-Pereira and A. Rabl, "The average distribution of solar radiation," Solar Energy 22, 1979.

31 N, February (sunset angle 81.7°): of a day's global radiation the hours at 7.5°, 22.5° and 37.5° from noon get
.152, .136 and .106. The correlation is of average days; a cloudless one may differ by some hundredths of its value.
"""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.clear_sky import Place, clear_sky
from kitopt.sky.sun import sun_at


@pytest.mark.parametrize(("hour_angle_deg", "share"), [(7.5, 0.152), (22.5, 0.136), (37.5, 0.106)])
def test_hours_of_a_clear_day(hour_angle_deg: float, share: float) -> None:
    place = Place(31.0, -90.0, 100.0)
    minutes = np.datetime64("2026-02-16T06:00", "s").astype(np.int64) + np.arange(1440) * 60.0 + 30.0
    sun = sun_at(minutes, place.latitude_deg, place.longitude_deg)
    ghi = clear_sky(minutes, place, sun).ghi_wm2
    noon = minutes[np.argmin(sun.zenith_deg)]
    for side in (-1, 1):
        middle = noon + side * hour_angle_deg * 240.0
        within = np.abs(minutes - middle) < 1800
        assert ghi[within].sum() / ghi.sum() == pytest.approx(share, rel=0.06)
