"""The curve of a panel against its own label, and what controllers make of it."""

from __future__ import annotations

from pathlib import Path
from typing import Any

import numpy as np
import pytest
from oracle.instances import controller, panel

from kitopt.inventory import read_inventory
from kitopt.inventory.items import Panel
from kitopt.second_opinion.kit import Circuit, Feed
from kitopt.second_opinion.panels import Curves, curve_a, delivered_a

INVENTORY = Path(__file__).parents[3] / "inventory"
PANELS = read_inventory(INVENTORY).panels
STC = np.array(1000.0), np.array(25.0)


@pytest.mark.parametrize("one", PANELS, ids=lambda one: one.id)
def test_the_curve_goes_through_the_labels_points(one: Panel) -> None:
    """Short circuit, open circuit and the knee are what a label says of 1000 Wm⁻² and 25 °C (IEC 60904-3)."""
    short_a, knee_a, open_a = curve_a(one, np.array([0.0, one.vmp_v, one.voc_v]), *STC)
    assert short_a == pytest.approx(one.isc_a, rel=1e-3)
    assert knee_a == pytest.approx(one.imp_a, rel=1e-2)
    assert open_a == pytest.approx(0.0, abs=1e-3 * one.isc_a)


@pytest.mark.parametrize("one", PANELS, ids=lambda one: one.id)
def test_the_knee_gives_the_most(one: Panel) -> None:
    volts = np.linspace(0.0, one.voc_v, 500)
    watts = volts * curve_a(one, volts, *STC)
    assert watts.max() == pytest.approx(one.vmp_v * one.imp_a, rel=1e-2)
    assert volts[watts.argmax()] == pytest.approx(one.vmp_v, rel=0.02)


@pytest.mark.parametrize("one", PANELS, ids=lambda one: one.id)
def test_dull_light_is_used_less_well(one: Panel) -> None:
    """At 200 Wm⁻² crystalline silicon keeps some 90 to 102 % of its efficiency (EN 50380 asks for it; from memory)."""
    volts = np.linspace(0.0, one.voc_v, 500)
    bright = (volts * curve_a(one, volts, *STC)).max()
    dull = (volts * curve_a(one, volts, np.array(200.0), STC[1])).max()
    assert 0.90 < dull / bright * 5.0 < 1.02


def test_heat_takes_what_the_coefficients_of_common_panels_say() -> None:
    """Median of the CEC's list is -0.45 % a kelvin, its 5th to 95th percentile -0.53 to -0.38: a sanity band."""
    volts = np.linspace(0.0, 22.0, 500)
    one = panel("p", 100.0, voc_per_degc=-0.0033)
    cold, hot = ((volts * curve_a(one, volts, STC[0], np.array(degc))).max() for degc in (25.0, 50.0))
    assert -0.0053 < (hot / cold - 1.0) / 25.0 < -0.0034


def test_reading_the_table_is_as_good_as_working_it_out() -> None:
    one = panel("p", 100.0, output_factor=1.0)
    curves = Curves([Feed(one, 2, 1, 0.1)], -5.0, 62.0)
    for light, degc in ((37.0, 3.0), (260.0, 41.0), (940.0, 61.0)):
        found = curves.amps(curves.kinds[0], np.array([light]), np.array([degc]))[0]
        # both panels' current goes through the one lead
        exact = 2.0 * curve_a(one, curves.volts, np.array(light), np.array(degc), 2.0 * 0.1)
        # beyond the knee the curve is too steep for this, and nothing works there
        below = curves.volts <= curves.volts[(curves.volts * exact).argmax()]
        assert np.abs(found - exact)[below].max() < 0.02 * exact.max()
        assert (curves.volts * found).max() == pytest.approx((curves.volts * exact).max(), rel=0.01)


def passed_a(
    one: Panel,
    kind: str,
    station_v: float,
    *,
    degc: float = 25.0,
    ohm: float = 0.0,
    most_a: float = 99.0,
    **more: Any,
) -> float:
    """Current into a station, in full sun."""
    curves = Curves([Feed(one, 1, 1, 0.0)], degc, degc)
    circuit = Circuit(controller("c", kind, most_a, efficiency=1.0, **more), (), ohm)
    amps = curves.amps(curves.kinds[0], np.array([1000.0]), np.array([degc]))
    return float(delivered_a(circuit, curves.volts, amps, np.array([station_v]))[0, 0])


def test_without_tracking_the_battery_sets_the_volts() -> None:
    """A panel of 5.2 A on a battery of 13 V gives its current, 67.6 W by hand; a curve has a little more there."""
    one = panel("p", 5.2 * 18.0, output_factor=1.0)
    assert 67.6 <= 13.0 * passed_a(one, "pwm", 13.0) <= 1.07 * 67.6


def test_tracking_gives_the_label_at_any_battery() -> None:
    one = panel("p", 100.0, output_factor=1.0)
    for station_v in (11.0, 13.0, 14.4):
        assert station_v * passed_a(one, "mppt", station_v) == pytest.approx(100.0, rel=0.01)


@pytest.mark.parametrize(("vmp_v", "station_v"), [(18.0, 26.0), (6.0, 12.8)])
def test_tracking_steps_down_only(vmp_v: float, station_v: float) -> None:
    assert passed_a(panel("p", 100.0, vmp_v=vmp_v), "mppt", station_v) == 0.0


def test_what_steps_up_or_starts_late_is_told_so() -> None:
    one = panel("p", 100.0, output_factor=1.0)
    assert 26.0 * passed_a(one, "mppt", 26.0, boost=True) == pytest.approx(100.0, rel=0.01)
    assert passed_a(one, "mppt", 13.0, start_above_v=25.0) == 0.0
    assert passed_a(one, "mppt", 13.0, start_above_v=20.0) == passed_a(one, "mppt", 13.0)


def test_hot_panels_close_to_the_battery_fall_off() -> None:
    """At 14.4 V + 1 V a panel whose hot knee is at 13 V works on the steep part of its curve."""
    one = panel("p", 100.0, vmp_v=15.0, output_factor=1.0)
    hot_v = 15.0 * (1 - 0.0045 * 40)
    assert hot_v < 13.0
    assert passed_a(one, "mppt", 14.4, degc=65.0) < 0.5 * passed_a(one, "mppt", 11.0, degc=65.0)


def test_a_controller_never_passes_more_than_it_may() -> None:
    assert passed_a(panel("p", 200.0), "mppt", 13.0, most_a=5.0) == 5.0


def test_the_lead_to_the_station_costs_its_drop() -> None:
    """I·(V + I·R) = P: 100 W through 0.2 Ω into 13 V is 7 A (root of 0.2·I² + 13·I - 100), by hand 6.95 A."""
    one = panel("p", 100.0, output_factor=1.0)
    assert passed_a(one, "mppt", 13.0, ohm=0.2) == pytest.approx(6.95, rel=0.01)
