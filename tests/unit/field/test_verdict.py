"""What is said of a reading keeps its rules, whatever is read."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from oracle.diagnosed import ASKED, declared
from oracle.faulty_panels import Meter, a_fault, a_set_up

from kitopt.field.amperes import expected_a, interval_a, waterfall
from kitopt.field.belief import HIGHEST, Belief, believe
from kitopt.field.causes import ALIKE, CAUSES, prior_of
from kitopt.field.measures import BY_ID, MEASURES
from kitopt.field.set_up import SetUp
from kitopt.field.suppose import suppositions
from kitopt.field.verdict import _parting, judge, sure_share


def a_set(seed: int = 5, **changes: object) -> SetUp:
    return declared(replace(a_set_up(np.random.default_rng(seed), "lead"), **changes))


MPPT, PWM = a_set(kind="mppt", is_facing=True), a_set(kind="pwm", is_facing=True)
SOME = {"mppt": suppositions(MPPT), "pwm": suppositions(PWM)}


def usual(set_up: SetUp, kind: str) -> dict[str, float]:
    """Readings of a healthy set-up, at the middle of what is supposed."""
    some = SOME[kind]
    healthy = some.is_cause("normal")
    seen = some.seen
    return {
        "amps": float(np.median(seen.amps[healthy])),
        "volts": float(np.median(seen.volts[healthy])),
        "isc": float(np.median(seen.isc_a[healthy])),
        "voc": float(np.median(seen.voc_v[healthy])),
        "panel-volts": float(np.median(seen.panel_v[healthy])),
        **{"cover": 0.0, "look": 0.0, "pen": 2.0},
    }


def of(kind: str, **readings: float) -> Belief:
    named = {name.replace("_", "-"): value for name, value in readings.items()}
    return believe(MPPT if kind == "mppt" else PWM, named, SOME[kind])


def test_without_a_short_circuit_nothing_is_called_normal() -> None:
    for kind, set_up in (("mppt", MPPT), ("pwm", PWM)):
        told = usual(set_up, kind)
        assert judge(believe(set_up, told, SOME[kind])).called == "normal"
        told.pop("isc")
        assert judge(believe(set_up, told, SOME[kind])).called == "as-expected"


@pytest.mark.parametrize("amps", [-2.0, -0.3, 40.0])
def test_amperes_that_no_cause_gives_are_not_explained(amps: float) -> None:
    verdict = judge(of("pwm", amps=amps))
    assert verdict.called == "unexplained"
    assert not verdict.suspects


def test_a_reading_that_no_cause_gives_is_doubted() -> None:
    told = usual(PWM, "pwm")
    assert believe(PWM, told, SOME["pwm"]).doubtful == ()
    for name, value in (("volts", 2.0 * told["volts"]), ("voc", 0.1 * told["voc"]), ("panel-volts", 3.0)):
        assert believe(PWM, {**told, name: value}, SOME["pwm"]).doubtful == (name,)


def test_a_yes_speaks_for_a_cause_that_gives_it() -> None:
    """A shadow that is found speaks for a fold in the shade, however unlikely that was, and never for nothing wrong."""
    gives = {"look": {"shade"}, "wiggle": {"connector"}, "wait": {"haze"}, "load": {"full", "cold"}}
    for amps in (0.5, 0.7, 0.9, 1.0):
        told = usual(PWM, "pwm")
        belief = of("pwm", amps=amps * told["amps"], cover=-0.4)
        for name, causes in gives.items():
            yes, no = _parting(belief, BY_ID[name], 1.0).between
            assert yes in causes
            assert no == next(one for one in belief.share if one not in causes)


def test_a_threshold_lies_midway_where_nothing_lies_between() -> None:
    """An open panel shows some 20 V, or -20 V with plus and minus swapped: 0 V parts the two, not -19 V."""
    test = _parting(of("pwm", amps=0.0, panel_volts=0.0), BY_ID["voc"], 1.0)
    assert set(test.between) == {"nothing", "polarity"}
    assert test.at == pytest.approx(0.0, abs=2.0)


def test_no_reading_in_ten_is_expected_above_what_the_controller_passes() -> None:
    small = replace(PWM, controller=replace(PWM.controller, max_charge_a=1.0))
    assert judge(believe(small, {"amps": 1.0})).high_a < 1.06


@settings(max_examples=40)
@given(
    amps=st.floats(-1.0, 12.0),
    volts=st.floats(10.0, 16.0),
    isc=st.floats(-1.0, 12.0),
    voc=st.floats(-30.0, 30.0),
    pen=st.floats(0.0, 90.0),
    look=st.sampled_from([0.0, 1.0]),
)
def test_nothing_is_surer_than_95_percent_and_shares_sum_to_one(**readings: float) -> None:
    belief = believe(PWM, readings, SOME["pwm"])
    assert sum(belief.share.values()) == pytest.approx(1.0)
    assert all(belief.told(name) <= HIGHEST for name in belief.share)
    verdict = judge(belief)
    assert all(one.share <= HIGHEST for one in verdict.suspects)
    assert all(test.bits >= 0.0 and test.between[0] != test.between[1] for test in verdict.tests)
    assert not {test.measure.id for test in verdict.tests} & set(readings)


def test_nothing_flowing_is_a_branch_of_its_own() -> None:
    """14.4 V and no amperes is a full battery, or a cold one in the cold; a negative Voc is polarity.

    Nothing alone is neither haze nor aim, and asks for nothing that only current shows.
    """
    verdict = judge(of("pwm", amps=0.0, volts=13.1))
    assert verdict.called == "nothing-flows"
    assert {one.cause for one in verdict.suspects} <= {"nothing", "polarity", "full", "shade", "open-section"}
    assert not any(test.measure.needs_current for test in verdict.tests)
    assert next(iter(of("pwm", amps=0.0, volts=13.1, voc=-19.0).share)) == "polarity"
    assert next(iter(of("pwm", amps=0.0, volts=14.4).share)) == "full"
    cold = replace(PWM, air_degc=1.0)
    order = list(believe(cold, {"amps": 0.0, "volts": 14.4}).share)
    assert order[0] == "cold"


def test_what_no_reading_tells_apart_is_told_as_two() -> None:
    """A drop between the lead's ends speaks for the lead or a plug within them; only wiggling parts these."""
    told = usual(MPPT, "mppt")
    told |= {"amps": 0.6 * told["amps"], "panel-volts": MPPT.charging_v + 1.2}
    belief = believe(MPPT, {**told, "lead-ends": 3.0}, SOME["mppt"])
    verdict = judge(belief)
    assert {verdict.suspects[0].cause, verdict.suspects[0].alike} == {"lead", "connector"}
    # the plug jumps: now it is one
    jumped = judge(belief.with_reading("wiggle", 1.0))
    assert jumped.suspects[0].cause == "connector"
    assert jumped.suspects[0].alike == ""


def test_a_pen_tells_aim_and_a_dim_second_panel_tells_the_sky() -> None:
    told = usual(PWM, "pwm")
    low = {**told, "amps": 0.6 * told["amps"], "isc": 0.6 * told["isc"]}
    assert next(iter(believe(PWM, {**low, "pen": 52.0}, SOME["pwm"]).share)) == "aim"
    assert next(iter(believe(PWM, {**low, "second": 0.58}, SOME["pwm"]).share)) == "haze"
    assert next(iter(believe(PWM, {**low, "second": 1.0, "clean": 1.0}, SOME["pwm"]).share)) in ("weak", "open-section")


def test_a_full_battery_and_a_meter_that_is_off_are_known_by_one_reading() -> None:
    told = usual(PWM, "pwm")
    assert next(iter(believe(PWM, {**told, "amps": 0.3 * told["amps"], "volts": 14.4}, SOME["pwm"]).share)) == "full"
    off = {**told, "amps": told["amps"] - 0.5, "isc": told["isc"] - 0.5, "cover": -0.5}
    assert next(iter(believe(PWM, off, SOME["pwm"]).share)) == "meter-zero"


def test_what_cannot_be_is_not_supposed() -> None:
    names = {cause.id for cause in CAUSES if prior_of(cause, PWM) > 0.0}
    assert {"not-tracking", "cold"} & names == set()
    assert prior_of(next(c for c in CAUSES if c.id == "cold"), replace(PWM, air_degc=2.0)) > 0.0
    flat = replace(PWM, lies=True)
    aim = next(c for c in CAUSES if c.id == "aim")
    assert prior_of(aim, flat) == prior_of(aim, PWM) / 2
    full = next(c for c in CAUSES if c.id == "full")
    assert prior_of(full, replace(PWM, charge_share=0.5)) < prior_of(full, PWM)


def test_the_pairs_that_look_alike_are_causes() -> None:
    assert {name for pair in ALIKE for name in pair} <= {cause.id for cause in CAUSES}
    # as the table of priors adds up: 1.21 before what cannot be is left out, of which 0.25 for nothing wrong
    assert sum(cause.prior for cause in CAUSES) == pytest.approx(1.27)


def test_whatever_needs_the_plug_pulled_is_marked() -> None:
    assert {one.id for one in MEASURES if one.is_unplugged} == {"voc", "isc", "replug"}


@pytest.mark.parametrize("kind", ["pwm", "mppt"])
@pytest.mark.parametrize("seed", range(6))
def test_steps_lead_from_the_label_to_what_is_expected(kind: str, seed: int) -> None:
    """Label: imp_a through switching, watts over the battery's volts through tracking. Worth is a plain factor."""
    set_up = a_set(seed, kind=kind)
    steps = {step.name: step.after_a for step in waterfall(set_up)}
    label_a = set_up.panel.imp_a if kind == "pwm" else set_up.panel.rated_w / set_up.charging_v
    assert steps["label"] == pytest.approx(label_a)
    assert steps["worth"] == pytest.approx(0.8 * label_a)
    assert steps["battery"] == pytest.approx(expected_a(set_up))
    # no aim gives more than facing the sun; only a lead of no ohms costs nothing
    assert steps["aim"] <= steps["sun"] + 1e-9
    assert steps["lead"] < steps["heat"] + 1e-9
    if set_up.facing_sun().tilt_deg == set_up.tilt_deg:
        assert steps["aim"] == pytest.approx(steps["sun"])
    low_a, high_a = interval_a(set_up, steps["battery"])
    assert low_a < steps["battery"] < high_a


def test_a_full_battery_that_was_declared_is_expected() -> None:
    half, full = replace(PWM, charge_share=0.5), replace(PWM, charge_share=1.0)
    assert expected_a(full) == pytest.approx(0.0)
    assert expected_a(half) == pytest.approx(expected_a(PWM))


def test_more_readings_tell_more() -> None:
    """On average: the entropy of the causes falls from reading to reading, over thirty faults."""
    draw = np.random.default_rng(8)
    bits = {n: [] for n in (1, 3, 7)}
    for cause in ("aim", "haze", "shade", "lead", "full", "weak") * 2:
        own, truth = a_fault(draw, cause)
        meter = Meter(own, truth, draw)
        set_up = declared(own)
        some = suppositions(set_up, 1000)
        readings = {name: meter.see(name) for name in ASKED}
        for n in bits:
            share = np.array(list(believe(set_up, dict(list(readings.items())[:n]), some).share.values()))
            bits[n].append(float(-(share[share > 0] * np.log2(share[share > 0])).sum()))
    means = [float(np.mean(bits[n])) for n in (1, 3, 7)]
    assert means[0] > means[1] > means[2] + 0.5


def test_every_measure_can_be_weighed() -> None:
    for measure in MEASURES:
        for value in (0.0, 1.0):
            fits = BY_ID[measure.id].likelihood(SOME["pwm"], value)
            assert fits.shape == SOME["pwm"].weight.shape
            assert np.all(np.isfinite(fits))
            assert np.all(fits > 0.0)


def test_what_tells_most_in_its_time_is_asked_first() -> None:
    low = of("pwm", amps=0.5 * usual(PWM, "pwm")["amps"])
    rates = [bits / measure.seconds for measure, bits in low.next_measures()]
    assert rates == sorted(rates, reverse=True)
    assert rates[0] > 2.0 * rates[-1]


def test_before_any_reading_causes_weigh_as_the_table_has_them() -> None:
    """Whatever share of a cause's suppositions loses enough; aim, which the sun's height can make rarer, apart."""
    for kind, set_up in (("pwm", PWM), ("mppt", MPPT)):
        some = SOME[kind]
        weights = np.bincount(some.cause, some.weight, len(some.causes))
        over = [
            weight / prior_of(cause, set_up)
            for cause, weight in zip(some.causes, weights, strict=True)
            if weight > 0.0 and cause.id != "aim"
        ]
        assert len(over) > 8
        assert over == pytest.approx([over[0]] * len(over))


def test_hotter_cells_have_fewer_volts() -> None:
    some = SOME["mppt"]
    hot, usual_v = some.seen.voc_v[some.is_cause("heat")], some.seen.voc_v[some.is_cause("normal")]
    assert len(hot)
    assert np.median(hot) < np.median(usual_v)


def test_turning_to_the_sun_brings_what_the_cosine_says() -> None:
    """Of the beam the cosine of what is left after 20°, over that now; of the sky's light nine tenths either way."""
    beam, sky = float(PWM.light.dni_wm2[0, 0]), 0.9 * float(PWM.light.dhi_wm2[0, 0])
    is_off = SOME["pwm"].is_cause("aim")
    off = np.radians(SOME["pwm"].off_deg[is_off])
    by_hand = (beam * np.cos(np.maximum(off - np.radians(20.0), 0.0)) + sky) / (beam * np.cos(off) + sky)
    assert np.median(SOME["pwm"].turned_share[is_off] / by_hand) == pytest.approx(1.0, abs=3e-3)


def test_of_what_no_cause_explains_nothing_is_sure() -> None:
    assert sure_share(judge(of("pwm", amps=40.0))) == 0.0
    healthy = sure_share(judge(of("pwm", **usual(PWM, "pwm"))))
    assert 0.5 < healthy <= HIGHEST
