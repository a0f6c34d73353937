"""Copper conductors against published tables.

- ASTM B258-02: diameters of American wire gauges.
- NFPA 70 (NEC) chapter 9 table 8: dc resistance, stranded, uncoated copper at 75 °C; 240.4(D), from memory.
- IEC 60228: class 5, maximum resistance at 20 °C, and its temperature factors.
- A worked voltage drop on a public electrician's course page, which uses table 8.
- ABYC E-11, second-hand: CM = 10.75 · I · 2L / E.
"""

from __future__ import annotations

import math

import pytest

from kitopt.inventory.fill import awg_to_mm2
from kitopt.inventory.items import Connector, Lead
from kitopt.model.wiring.conductors import ampacity_a, loop_ohm, ohm_per_m

FEET_PER_KM = 3280.84
MM2_PER_CIRCULAR_MIL = math.pi / 4 * 0.0254**2


def lead(area_mm2: float, length_m: float = 1.0, max_a: float | None = None) -> Lead:
    end = Connector("ring-m5")
    return Lead(
        id="w",
        name="",
        mass_g=1,
        from_connector=end,
        to_connector=end,
        length_m=length_m,
        area_mm2=area_mm2,
        max_a=max_a,
    )


@pytest.mark.parametrize(
    ("awg", "ohm_per_kft"),
    [(18, 7.95), (16, 4.99), (14, 3.14), (12, 1.98), (10, 1.24), (8, 0.778), (6, 0.491), (4, 0.308)],
)
def test_nec_table_8_from_first_principles(awg: int, ohm_per_kft: float) -> None:
    assert ohm_per_m(awg_to_mm2(awg), 75.0) * 1000 == pytest.approx(ohm_per_kft * FEET_PER_KM / 1000, rel=0.006)


def test_gauges_are_those_of_astm_b258() -> None:
    assert math.sqrt(4 / math.pi * awg_to_mm2(10)) == pytest.approx(2.588, rel=0.001)
    assert awg_to_mm2(10) == pytest.approx(5.261, rel=0.001)
    # one gauge down is 1.1229322 times as thick, to the square in area
    assert awg_to_mm2(17) / awg_to_mm2(18) == pytest.approx(1.1229322**2, rel=1e-6)


@pytest.mark.parametrize(
    ("area_mm2", "ohm_per_km"),
    [(0.75, 26.0), (1.0, 19.5), (1.5, 13.3), (2.5, 7.98), (4.0, 4.95), (6.0, 3.30), (10.0, 1.91)],
)
def test_nominal_areas_are_those_of_iec_60228_class_5(area_mm2: float, ohm_per_km: float) -> None:
    assert ohm_per_m(area_mm2, 20.0) * 1000 == pytest.approx(ohm_per_km, rel=1e-12)


@pytest.mark.parametrize(("degc", "factor"), [(5.0, 1.064), (40.0, 0.926), (75.0, 0.820)])
def test_temperature_factors_of_iec_60228(degc: float, factor: float) -> None:
    # R20 = Rt · Kt. The standard's factors use 0.004/K, the handbooks 0.00393/K: 0.003 apart at 75 °C.
    assert ohm_per_m(2.5, 20.0) / ohm_per_m(2.5, degc) == pytest.approx(factor, abs=0.003)


def test_temperature_coefficient_of_copper() -> None:
    # 3.14 ohm/kft at 75 °C is 2.582 at 20 °C (table 8, 0.00393/K at 20 °C)
    assert ohm_per_m(awg_to_mm2(14), 20.0) / ohm_per_m(awg_to_mm2(14), 75.0) == pytest.approx(2.582 / 3.14, rel=0.002)


def test_drop_of_a_hundred_feet_of_16_awg() -> None:
    # 100 ft one way, 4 A, 4.99 ohm/kft: 3.99 V, 16.7 % of 24 V
    drop_v = 4.0 * loop_ohm(lead(awg_to_mm2(16), 30.48), 75.0)
    assert drop_v == pytest.approx(3.99, rel=0.006)
    assert drop_v / 24 == pytest.approx(0.167, abs=0.001)


@pytest.mark.parametrize(
    ("share", "circular_mils", "awg"),
    # 20 A over 25 ft one way at 12 V
    [(0.03, 29_861, 4), (0.10, 8_958, 10)],
)
def test_abyc_sizes(share: float, circular_mils: int, awg: int) -> None:
    assert 10.75 * 20 * 50 / (share * 12) == pytest.approx(circular_mils, abs=1)
    # the formula's 10.75 ohm per mil-foot is copper with its lay at about 25 °C
    area_mm2 = circular_mils * MM2_PER_CIRCULAR_MIL
    assert 20 * loop_ohm(lead(area_mm2, 25 * 0.3048), 25.0) == pytest.approx(share * 12, rel=0.01)
    # and the gauge is the first of the usual even ones that is thick enough
    assert max(n for n in range(0, 20, 2) if awg_to_mm2(n) >= area_mm2) == awg


@pytest.mark.parametrize(("awg", "free_a"), [(18, 20), (16, 25), (14, 35), (12, 45), (10, 60), (8, 80)])
def test_unrated_leads_follow_the_marine_table_in_a_bundle(awg: int, free_a: float) -> None:
    # 105 °C insulation, free: ABYC E-11 style, second-hand; two or three side by side 0.7 of it, from memory
    amps = 0.7 * free_a
    assert ampacity_a(lead(awg_to_mm2(awg))) == pytest.approx(amps)
    # anything thinner counts as the next smaller gauge; the owner's own rating goes before
    assert ampacity_a(lead(0.99 * awg_to_mm2(awg))) < amps
    assert ampacity_a(lead(awg_to_mm2(awg), max_a=amps + 5)) == amps + 5


@pytest.mark.parametrize(("amps", "one_way_m", "volts"), [(5.0, 5.0, 1.05), (20.0, 2.0, 1.68)])
def test_the_operators_own_examples(amps: float, one_way_m: float, volts: float) -> None:
    # common practice, no source: 18 AWG has 21 milliohms a metre at 20 °C
    assert amps * loop_ohm(lead(awg_to_mm2(18), one_way_m), 20.0) == pytest.approx(volts, rel=0.02)
