"""Panels: cold voltage, what an unknown coefficient costs, and defaults against a public list.

Sources: NFPA 70 (NEC) table 690.7(A), from memory; the module list of the California Energy
Commission, 2019, that pvlib carries; the rest is arithmetic written out beside each case.
"""

from __future__ import annotations

import csv
import statistics
from pathlib import Path
from typing import Any

import pytest
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.choice import Choice, pack
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Inventory, Panel
from kitopt.model.rules import cold_voc_v
from kitopt.operation.terms import LoadUse


@pytest.fixture(scope="module")
def crystalline() -> list[dict[str, float]]:
    """Crystalline modules of the CEC list, read with nothing but the csv module."""
    import pvlib

    path = Path(pvlib.__file__).parent / "data" / "sam-library-cec-modules-2019-03-05.csv"
    with path.open(newline="", encoding="utf-8") as file:
        rows = list(csv.DictReader(file))[2:]  # two rows of units and types follow the header
    names = ("gamma_r", "beta_oc", "V_oc_ref", "V_mp_ref", "I_sc_ref", "I_mp_ref", "N_s")
    return [
        {name: float(row[name]) for name in names} for row in rows if row["Technology"] in ("Mono-c-Si", "Multi-c-Si")
    ]


def filled(tmp_path: Path, cells: str = "p,1400,50") -> Panel:
    """A panel of which nothing is known but watts, mass and connector."""
    (tmp_path / "batteries.csv").write_text("id,mass_g,chemistry,capacity_ah,connector\nb,1400,lifepo4,12,round\n")
    (tmp_path / "loads.csv").write_text("id,mass_g,full_a,connector\nr,1100,4.5,round\n")
    (tmp_path / "panels.csv").write_text(f"id,mass_g,rated_w,connector\n{cells},round\n")
    return read_inventory(tmp_path).panels[0]


def test_the_default_power_coefficient(tmp_path: Path, crystalline: list[dict[str, float]]) -> None:
    # CEC list: median -0.450 %/K
    median = statistics.median(row["gamma_r"] for row in crystalline) / 100
    assert median == pytest.approx(-0.00450, abs=0.00001)
    assert filled(tmp_path).power_per_degc == pytest.approx(median, abs=0.00001)


def test_limits_of_an_unknown_panel_are_against_the_owner(tmp_path: Path, crystalline: list[dict[str, float]]) -> None:
    made = filled(tmp_path)
    # CEC list: Vmp/Voc .810, Imp/Isc .939 in the median; a limit must assume more than that
    voc_over_vmp = 1 / statistics.median(row["V_mp_ref"] / row["V_oc_ref"] for row in crystalline)
    isc_over_imp = 1 / statistics.median(row["I_mp_ref"] / row["I_sc_ref"] for row in crystalline)
    assert voc_over_vmp == pytest.approx(1 / 0.810, abs=0.002)
    assert isc_over_imp == pytest.approx(1 / 0.939, abs=0.002)
    assert voc_over_vmp <= made.voc_v / made.vmp_v <= 1.1 * voc_over_vmp
    assert isc_over_imp <= made.isc_a / made.imp_a <= 1.1 * isc_over_imp


def test_a_panel_for_twelve_volts(tmp_path: Path, crystalline: list[dict[str, float]]) -> None:
    # CEC list, 36 cells: median Vmp 17.7 V, Voc 22.2 V
    small = [row for row in crystalline if row["N_s"] == 36]
    assert statistics.median(row["V_mp_ref"] for row in small) == pytest.approx(17.7, abs=0.1)
    assert statistics.median(row["V_oc_ref"] for row in small) == pytest.approx(22.2, abs=0.1)
    made = filled(tmp_path)
    assert made.vmp_v == pytest.approx(17.7, rel=0.05)
    assert made.voc_v == pytest.approx(22.2, rel=0.05)


def test_cold_voltage_with_a_known_coefficient() -> None:
    # arithmetic: 48 V at 25 °C, -0.3 %/K, at -20 °C: 48 · (1 + 0.003 · 45) = 54.48 V
    big = panel("p", 300.0, vmp_v=40.0, voc_v=48.0, voc_per_degc=-0.003)
    assert cold_voc_v(big, -20.0) == pytest.approx(54.48, abs=0.005)
    assert cold_voc_v(big, 25.0) == pytest.approx(48.0, abs=1e-9)


# °C and factor for an unknown coefficient, NEC table 690.7(A), from memory
TABLE = [(-20, 1.18), (-25, 1.20), (-30, 1.21), (-35, 1.23), (-40, 1.25)]


@pytest.mark.parametrize(("degc", "factor"), TABLE)
def test_cold_voltage_with_an_unknown_coefficient(degc: float, factor: float) -> None:
    unknown = panel("p", 100.0, voc_v=20.0, voc_per_degc=None)
    assert cold_voc_v(unknown, degc) == pytest.approx(20.0 * factor)
    # between two rows the colder one holds
    assert cold_voc_v(unknown, degc + 0.1) <= 20.0 * factor
    assert cold_voc_v(unknown, degc - 0.1) > 20.0 * factor


def test_the_table_is_not_kinder_than_most_panels(crystalline: list[dict[str, float]]) -> None:
    # the 36-cell median of the CEC list is -0.074 V/K on 22.2 V, -0.33 %/K: 1.15 at -20 °C
    small = [row for row in crystalline if row["N_s"] == 36]
    median = statistics.median(row["beta_oc"] / row["V_oc_ref"] for row in small)
    assert median == pytest.approx(-0.0033, abs=0.0001)
    known = panel("p", 100.0, voc_v=20.0, voc_per_degc=median)
    unknown = panel("p", 100.0, voc_v=20.0, voc_per_degc=None)
    for degc, _ in TABLE:
        assert cold_voc_v(unknown, degc) >= cold_voc_v(known, degc)


def sunny(panels: tuple[Panel, ...], coldest_degc: float = 5.0, battery_ah: float = 6.0, **limits: Any) -> Choice:
    """An outing that only sun can power."""
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, start_charge_share=0.6)
    inventory = Inventory(
        "invented",
        panels,
        (battery("b", battery_ah, max_charge_a=40.0),),
        (controller("c", "mppt", 40.0, **limits),),
        loads=(load("lamp", full_w=20.0),),
    )
    return pack(outing, inventory, sky([[800.0] * 8], coldest_degc=coldest_degc))


def test_a_panel_too_high_in_the_cold_is_never_joined() -> None:
    # 54.5 V on a controller for 50 V; at +5 °C it is 48 · (1 + 0.003 · 20) = 50.9 V, and at 12 °C 49.9 V
    big = panel("p", 300.0, vmp_v=40.0, voc_v=48.0, voc_per_degc=-0.003)
    assert sunny((big,), -20.0, max_pv_v=50.0).status == "no-kit"
    assert sunny((big,), 5.0, max_pv_v=50.0).status == "no-kit"
    assert sunny((big,), 12.0, max_pv_v=50.0).status == "found"
    assert sunny((big,), -20.0, max_pv_v=54.4).status == "no-kit"
    assert sunny((big,), -20.0, max_pv_v=54.5).status == "found"


def test_limits_of_current_and_power_count_all_panels() -> None:
    # two panels of 20 W with Isc 1.2 A are wanted: 2.4 A and 40 W
    two = (panel("p", 20.0, isc_a=1.2, output_factor=1.0, count=2),)
    assert sunny(two).status == "found"
    assert sum(p.count for p in sunny(two).packed if p.id == "p") == 2
    assert sunny(two, max_pv_a=2.4, max_pv_w=40.0).status == "found"
    assert sunny(two, max_pv_a=2.3).status == "no-kit"
    assert sunny(two, max_pv_w=39.0).status == "no-kit"


def test_panels_on_one_controller_match_within_a_tenth() -> None:
    # common practice, no source: in parallel the lower voltage rules; 18.0 and 19.8 V are a tenth apart
    def pair(high_v: float) -> str:
        return sunny(
            (panel("p", 20.0, output_factor=1.0), panel("q", 20.0, vmp_v=high_v, output_factor=1.0)),
        ).status

    assert pair(18.0) == "found"
    assert pair(19.8) == "found"
    assert pair(19.9) == "no-kit"
