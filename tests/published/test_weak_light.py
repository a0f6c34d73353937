"""What glass reflects and what weak light is worth.

Sources: B. Marion, "Numerical method for angle-of-incidence correction factors for diffuse radiation incident
photovoltaic modules," Solar Energy 147, 2017, added up by pvlib; W. De Soto, S. A. Klein and W. A. Beckman, Solar
Energy 80, 2006, figure 5: transmittance over that at normal incidence; T. Huld and others, Solar Energy Materials
and Solar Cells 95, 2011, table 3 (crystalline silicon): k1 = -0.017237, k2 = -0.040465.
"""

from __future__ import annotations

import math

import numpy as np
import pytest

from kitopt.sky.clear_sky import ClearSky, Place
from kitopt.sky.light import Light
from kitopt.sky.plane import _DIFFUSE_GROUND, _DIFFUSE_SKY, OnPlane, light_on, useful_wm2
from kitopt.sky.sun import Sun


@pytest.mark.parametrize(("i", "tilt_deg"), list(enumerate((0.0, 15.0, 30.0, 45.0, 60.0, 75.0, 90.0))))
def test_the_table_of_diffuse_light_is_marions_integral(i: int, tilt_deg: float) -> None:
    from pvlib.iam import marion_diffuse

    found = marion_diffuse("physical", tilt_deg)
    assert _DIFFUSE_SKY[i] == pytest.approx(found["sky"], abs=1e-4)
    assert _DIFFUSE_GROUND[i] == pytest.approx(found["ground"], abs=1e-4)


def light(zenith_deg: float, dni_wm2: float, dhi_wm2: float) -> Light:
    """One step of sun from the south."""

    def one(value: float) -> np.ndarray:
        return np.array([[value]])

    sun = Sun(one(zenith_deg), one(180.0), one(1361.0))
    clear = ClearSky(one(1000.0), one(950.0), one(100.0))
    return Light(Place(45.0, 0.0, 0.0), one(0.0), sun, clear, one(dni_wm2), one(dhi_wm2))


def useful(on: OnPlane) -> float:
    return float(useful_wm2(light(0.0, 0.0, 0.0), on)[0, 0])


def huld(level: float) -> float:
    # the two terms in irradiance alone, worked out here
    return 1.0 - 0.017237 * math.log(level) - 0.040465 * math.log(level) ** 2


@pytest.mark.parametrize("level_wm2", [1000.0, 500.0, 200.0, 100.0, 50.0])
def test_weak_light_is_worth_less(level_wm2: float) -> None:
    # upright to the sun nothing more is reflected than in the laboratory
    zero = np.zeros((1, 1))
    on = OnPlane(0.0, zero + 1.0, zero + level_wm2, zero, zero, zero + level_wm2)
    assert useful(on) == pytest.approx(level_wm2 * huld(level_wm2 / 1000.0), rel=1e-6)


@pytest.mark.parametrize(("angle_deg", "share"), [(0.0, 1.0), (30.0, 0.999), (60.0, 0.95), (75.0, 0.78), (90.0, 0.0)])
def test_slanting_light_is_reflected(angle_deg: float, share: float) -> None:
    # shares read off De Soto's figure 5, to the width of its line
    zero = np.zeros((1, 1))
    level = 1000.0
    on = OnPlane(0.0, zero + math.cos(math.radians(angle_deg)), zero + level, zero, zero, zero + level)
    passed = share * level
    assert useful(on) == pytest.approx(passed * huld(max(share, 1e-9)) if share > 0 else 0.0, abs=20.0)


def test_a_dull_winter_day_loses_between_a_tenth_and_a_third() -> None:
    # 60 W/m² from an even sky on the flat: 0.944 through the glass, and 56.7 W/m² are worth 0.717
    dull = light(75.0, 0.0, 60.0)
    on = light_on(dull, 0.0, 180.0)
    assert float(on.total_wm2[0, 0]) == pytest.approx(60.0, abs=0.01)
    assert float(useful_wm2(dull, on)[0, 0]) == pytest.approx(60.0 * 0.9444 * huld(0.0600 * 0.9444), rel=1e-4)
