"""Panel, lead, controller and battery as meters see them, against pvlib's curves of one diode."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pvlib
import pytest
from oracle.diagnosed import declared as told
from oracle.faulty_panels import a_set_up

from kitopt.field.amperes import declared
from kitopt.field.circuit import BYPASS, PARALLEL, SERIES, Seen, Supposed, most_power, seen
from kitopt.field.set_up import SetUp
from kitopt.second_opinion.diode import ISC_PER_DEGC, in_light, label_of

WM2, DEGC = np.array([120.0, 480.0, 950.0]), np.array([10.0, 35.0, 62.0])


def a_set(kind: str, seed: int = 3) -> SetUp:
    own = replace(a_set_up(np.random.default_rng(seed), "lead"), kind=kind, lead_ohm=0.15)
    return told(own)


def test_the_label_gives_pvlibs_parameters() -> None:
    """Batzelis' closed form and De Soto's equations as pvlib has them."""
    one = a_set("pwm").panel
    theirs = pvlib.ivtools.sdm.fit_desoto_batzelis(
        one.vmp_v, one.imp_a, one.voc_v, one.isc_a, ISC_PER_DEGC * one.isc_a, (one.voc_per_degc or 0.0) * one.voc_v
    )
    label = label_of(one)
    for ours, name in (
        (label.slope_v, "a_ref"),
        (label.made_a, "I_L_ref"),
        (label.saturation_a, "I_o_ref"),
        (label.shunt_ohm, "R_sh_ref"),
        (label.series_ohm, "R_s"),
    ):
        assert ours == pytest.approx(theirs[name], rel=1e-9)
    names = ("a_ref", "I_L_ref", "I_o_ref", "R_sh_ref", "R_s")
    lit = pvlib.pvsystem.calcparams_desoto(WM2, DEGC, ISC_PER_DEGC * one.isc_a, *(theirs[name] for name in names))
    for ours, its in zip(in_light(label, WM2, DEGC), lit, strict=True):
        assert ours == pytest.approx(its, rel=1e-8)


def test_a_panel_gives_what_pvlibs_curve_gives() -> None:
    one = a_set("pwm").panel
    points = pvlib.pvsystem.singlediode(*in_light(label_of(one), WM2, DEGC))
    volts, amps = most_power(one, WM2, DEGC)
    assert volts * amps == pytest.approx(np.asarray(points["p_mp"]), rel=1e-3)
    set_up = a_set("pwm")
    found = seen(set_up, declared(set_up, WM2 / one.output_factor, DEGC))
    assert found.voc_v == pytest.approx(np.asarray(points["v_oc"]), rel=1e-6)
    assert found.isc_a == pytest.approx(np.asarray(points["i_sc"]), rel=1e-6)


def test_switching_ties_the_panel_to_the_battery() -> None:
    set_up = a_set("pwm")
    found = seen(set_up, declared(set_up, WM2, DEGC))
    diode = in_light(label_of(set_up.panel), WM2 * set_up.panel.output_factor, DEGC)
    behind = diode._replace(series_ohm=diode.series_ohm + set_up.lead_ohm)
    by_hand = 0.99 * pvlib.pvsystem.i_from_v(set_up.charging_v + set_up.switch_v, *behind)
    assert found.amps == pytest.approx(by_hand, rel=1e-6)


def test_tracking_gives_the_best_points_power_less_the_leads() -> None:
    set_up = a_set("mppt")
    found = seen(set_up, declared(set_up, WM2, DEGC))
    diode = in_light(label_of(set_up.panel), WM2 * set_up.panel.output_factor, DEGC)
    behind = diode._replace(series_ohm=diode.series_ohm + set_up.lead_ohm)
    best = pvlib.pvsystem.singlediode(*behind)
    free = np.asarray(best["v_mp"]) > set_up.charging_v + 1.0
    assert free.any()
    by_hand = 0.95 * np.asarray(best["p_mp"]) / set_up.charging_v
    assert found.amps[free] == pytest.approx(by_hand[free], rel=2e-3)


def with_fold(set_up: SetUp, wiring: int, light: float, *, is_open: bool = False, folds: int = 3) -> Seen:
    some: Supposed = declared(set_up, WM2[2:], DEGC[2:])
    some.folds, some.wiring = np.array([folds]), np.array([wiring])
    some.fold_light, some.is_open = np.array([light]), np.array([is_open])
    return seen(set_up, some)


def sections(set_up: SetUp, light: float, volts: float, folds: int = 3) -> tuple[float, float, float]:
    """Current at some volts behind the lead, Voc, and most power a volt above a battery: folds' curves by pvlib."""
    label, worth = label_of(set_up.panel), set_up.panel.output_factor
    total, grid = 0.0, np.linspace(0.0, 1.02 * float(in_light(label, WM2[2:] * worth, DEGC[2:]).made_a[0]), 40001)
    for share in (light, *[1.0] * (folds - 1)):
        d = in_light(label, WM2[2:] * worth * share, DEGC[2:])
        inner = np.linspace(-5.0, 25.0 / folds, 60001)
        amps, v, _ = pvlib.singlediode.bishop88(
            *(inner, float(d.made_a[0]), float(d.saturation_a[0]), d.series_ohm / folds),
            *(float(d.shunt_ohm[0]) / folds, float(d.slope_v[0]) / folds),
        )
        total = total + np.maximum(np.interp(-grid, -amps, v), -0.5)
    behind = total - grid * set_up.lead_ohm
    most_w = float(np.where(behind >= set_up.charging_v + 1.0, behind * grid, 0.0).max())
    return float(np.interp(-volts, -behind, grid)), float(total[0]), most_w


@pytest.mark.parametrize("light", [0.0, 0.2, 0.5, 0.75])
def test_a_shaded_fold_makes_a_step(light: float) -> None:
    """As the sum of folds' curves by pvlib has it: what a bypass diode leaves, or what the shaded fold lets through."""
    for kind in ("pwm", "mppt"):
        set_up = a_set(kind)
        found = with_fold(set_up, BYPASS, max(light, 1e-3))
        amps, voc_v, most_w = sections(set_up, max(light, 1e-3), set_up.charging_v + set_up.switch_v)
        assert found.voc_v[0] == pytest.approx(voc_v, abs=0.4)
        if kind == "pwm":
            # the corner of the step is rounded, ours is not: a twentieth of the current
            assert found.amps[0] == pytest.approx(0.99 * amps, abs=0.05 * set_up.panel.imp_a)
        else:
            most_a = 0.95 * most_w / set_up.charging_v
            assert found.amps[0] == pytest.approx(most_a, abs=0.06 * set_up.panel.imp_a)


def test_folds_side_by_side_lose_current_and_no_volts() -> None:
    set_up = a_set("pwm")
    whole, dead = with_fold(set_up, PARALLEL, 1.0), with_fold(set_up, PARALLEL, 1.0, is_open=True)
    assert dead.isc_a[0] == pytest.approx(2 / 3 * whole.isc_a[0], rel=1e-2)
    assert dead.voc_v[0] == pytest.approx(whole.voc_v[0], rel=0.03)


def test_a_shorted_fold_loses_its_volts_and_no_current() -> None:
    set_up = a_set("pwm")
    whole, dead = with_fold(set_up, BYPASS, 1.0), with_fold(set_up, BYPASS, 1.0, is_open=True)
    assert dead.voc_v[0] == pytest.approx(2 / 3 * whole.voc_v[0], rel=1e-6)
    assert dead.isc_a[0] == pytest.approx(whole.isc_a[0], rel=0.02)
    # two thirds of some 20 V do not reach a battery
    assert dead.amps[0] < 0.05 * whole.amps[0]


def test_without_a_bypass_the_shaded_fold_holds_all_down() -> None:
    set_up = a_set("pwm")
    whole, dark = with_fold(set_up, SERIES, 1.0), with_fold(set_up, SERIES, 0.3)
    assert 0.3 * whole.amps[0] <= dark.amps[0] < 0.45 * whole.amps[0]


def test_shorted_without_a_bypass_the_shaded_fold_leaks() -> None:
    """Two folds of three drive the third backwards by two thirds of Voc, a little less: what a third of Rsh passes."""
    set_up = replace(a_set("pwm"), lead_ohm=0.0)
    lit = in_light(label_of(set_up.panel), WM2[2:] * set_up.panel.output_factor, DEGC[2:])
    leaks_a = float(with_fold(set_up, SERIES, 0.3).isc_a[0]) - 0.3 * float(lit.made_a[0])
    most_a = 2 / 3 * float(with_fold(set_up, SERIES, 1.0).voc_v[0]) / (float(lit.shunt_ohm[0]) / 3)
    assert most_a > 0.01 * set_up.panel.imp_a
    assert 0.9 * most_a < leaks_a < most_a


def test_what_the_battery_does_not_take_lets_the_panels_volts_rise() -> None:
    for kind in ("pwm", "mppt"):
        set_up = a_set(kind)
        some = declared(set_up, WM2, DEGC)
        free = seen(set_up, some)
        some.takes_share = np.full(3, 0.3)
        held = seen(set_up, some)
        assert held.amps == pytest.approx(0.3 * free.amps)
        assert np.all(held.panel_v > free.panel_v)
        assert np.all(held.panel_v < held.voc_v)


def test_a_controller_that_starts_late_gives_nothing_below_the_volts_that_it_starts_at() -> None:
    """Open-circuit volts rise with the light and fall with heat; those of the second of three moments are the bar."""
    set_up = a_set("mppt")
    plain = seen(set_up, declared(set_up, WM2, DEGC))
    bar_v = float(plain.voc_v[1])
    late = replace(set_up, controller=replace(set_up.controller, start_above_v=bar_v))
    found = seen(late, declared(late, WM2, DEGC))
    assert found.amps == pytest.approx(np.where(plain.voc_v > bar_v, plain.amps, 0.0))
    assert (found.amps > 0.0).any()
    assert found.amps[1] == 0.0
    # nothing flows, so that the panel shows all that it has
    assert found.panel_v[1] == pytest.approx(plain.voc_v[1])
