"""D. G. Erbs, S. A. Klein and J. A. Duffie, Solar Energy 28(4), 1982, equation 1, worked by hand from its
coefficients at seven clearness values."""

from __future__ import annotations

import numpy as np
import pytest

from kitopt.sky.clear_sky import ClearSky
from kitopt.sky.split import diffuse_share, split
from kitopt.sky.sun import Sun

TABLE = {0.1: 0.9910, 0.22: 0.9802, 0.3: 0.9486, 0.5: 0.65915, 0.7: 0.2440, 0.8: 0.1653, 0.9: 0.165}


@pytest.mark.parametrize(("clearness", "share"), TABLE.items())
def test_diffuse_share(clearness: float, share: float) -> None:
    assert diffuse_share(np.array([clearness]))[0] == pytest.approx(share, abs=1e-4)


@pytest.mark.parametrize("clearness", [0.1, 0.22, 0.3, 0.5])
def test_split_follows_the_table_well_below_the_clear_sky(clearness: float) -> None:
    sun = Sun(np.array([[30.0]]), np.array([[180.0]]), np.array([[1367.0]]))
    ghi = clearness * 1367.0 * sun.cos_zenith
    clear = ClearSky(np.full((1, 1), 900.0), np.full((1, 1), 900.0), np.full((1, 1), 120.0))
    dni, dhi = split(ghi, sun, clear)
    assert dhi[0, 0] / ghi[0, 0] == pytest.approx(TABLE[clearness], abs=1e-4)
    assert dni[0, 0] * sun.cos_zenith[0, 0] + dhi[0, 0] == pytest.approx(ghi[0, 0])
