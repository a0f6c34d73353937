"""D. Faiman, Progress in Photovoltaics 16(4), 2008 (open rack, u0 = 25, u1 = 6.84); D. L. King et al.,
SAND2004-3535, table of empirical coefficients (insulated back: a = -2.81, b = -0.0455, dT = 0)."""

from __future__ import annotations

import math

import numpy as np
import pytest

from kitopt.sky.temperature import grounded_panel_degc, open_panel_degc


@pytest.mark.parametrize(
    ("poa_wm2", "air_degc", "wind_ms"), [(1000.0, 20.0, 1.0), (800.0, 20.0, 1.0), (500.0, -5.0, 4.0)]
)
def test_open_rack(poa_wm2: float, air_degc: float, wind_ms: float) -> None:
    expected = air_degc + poa_wm2 / (25 + 6.84 * wind_ms)
    ours = open_panel_degc(np.array([[poa_wm2]]), np.array([[air_degc]]), wind_ms)
    assert ours[0, 0] == pytest.approx(expected, abs=1e-9)


def test_open_rack_values() -> None:
    ours = open_panel_degc(np.array([1000.0, 800.0]), np.array([20.0, 20.0]), 1.0)
    np.testing.assert_allclose(ours, [51.407, 45.126], atol=0.001)


def test_lying_on_the_ground_runs_hotter() -> None:
    ours = grounded_panel_degc(np.array([800.0]), np.array([20.0]), 1.0)
    assert ours[0] == pytest.approx(20 + 800 * math.exp(-2.81 - 0.0455), abs=0.01)
    assert ours[0] > open_panel_degc(np.array([800.0]), np.array([20.0]), 1.0)[0] + 15
