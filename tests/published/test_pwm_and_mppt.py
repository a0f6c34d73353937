"""What a panel delivers through either kind of controller.

Sources: B. Marion and others, "Performance parameters for grid-connected PV systems", and the
power model of A. P. Dobos, "PVWatts version 5 manual", NREL/TP-6A20-62641, equation
P = G/1000 · P0 · (1 + γ·(T - 25)); the rest is arithmetic written out beside each case, and
midday currents of folding panels from common practice, no source.
"""

from __future__ import annotations

from pathlib import Path

import pytest
from oracle.instances import battery, controller, load, operation, panel, sky

from kitopt.choice import pack
from kitopt.inventory import read_inventory
from kitopt.inventory.items import Battery, Controller, Inventory, Panel
from kitopt.model.harvest import ShapeBook, charging_v
from kitopt.operation.terms import LoadUse

LIFEPO4_V = 12.8


def watts(what: Panel, through: Controller, sun_wm2: float, cell_degc: float, nominal_v: float = LIFEPO4_V) -> float:
    """Power that reaches the battery from one panel, its controller's limit aside. [W]"""
    weather = sky([[sun_wm2]], panel_degc=cell_degc)
    book = ShapeBook(weather, nominal_v)
    gain = book.gain(what, through)
    return float(gain.size_w * book.shapes[gain.shape][0, 0])


def amps(what: Panel, through: Controller, sun_wm2: float, cell_degc: float = 25.0) -> float:
    """The same as a current at the voltage of charging, 13.3 V for LiFePO4. [A]"""
    return watts(what, through, sun_wm2, cell_degc) / charging_v(LIFEPO4_V)


PWM = controller("pwm", "pwm", 20.0)
PERFECT = controller("mppt", "mppt", 20.0, efficiency=1.0)


def test_charging_voltage() -> None:
    # the trade counts 13.3 V for a LiFePO4 battery being charged; common practice, no source
    assert charging_v(LIFEPO4_V) == pytest.approx(13.3, abs=0.05)


def test_power_of_a_hot_panel() -> None:
    # NREL/TP-6A20-62641: 100 W at 1000 W/m², cell 50 °C, -0.4 %/K: 100 · (1 - 0.004 · 25) = 90.0 W
    hot = panel("p", 100.0, output_factor=1.0)
    assert watts(hot, PERFECT, 1000.0, 50.0) == pytest.approx(90.0, abs=0.01)
    # and half of it under half the sun
    assert watts(hot, PERFECT, 500.0, 50.0) == pytest.approx(45.0, abs=0.01)
    # a cold one gives more than its label: 100 · (1 + 0.004 · 25)
    assert watts(hot, PERFECT, 1000.0, 0.0) == pytest.approx(110.0, abs=0.01)


def test_ninety_watts_thirty_degrees_above() -> None:
    # 90 · (1 - 0.004 · 30) = 79.2 W, arithmetic
    assert watts(panel("p", 90.0, output_factor=1.0), PERFECT, 1000.0, 55.0) == pytest.approx(79.2, abs=0.01)


def test_pwm_passes_current_not_power() -> None:
    # Imp 5.2 A into a 13 V battery: 5.2 · 13 = 67.6 W, arithmetic
    ninety = panel("p", 90.0, vmp_v=17.3, imp_a=5.2, output_factor=1.0)
    # the nominal voltage whose charging voltage is 13 V
    assert watts(ninety, PWM, 1000.0, 25.0, nominal_v=12.5) == pytest.approx(67.6, abs=0.01)
    # heat costs it next to nothing while the panel's voltage is above the battery's
    assert watts(ninety, PWM, 1000.0, 55.0, nominal_v=12.5) == pytest.approx(67.6, abs=0.01)


def test_sixty_watts_at_eighteen_volts() -> None:
    # 60 / 18 = 3.33 A is all that PWM can pass; MPPT turns the surplus volts into amperes:
    # 60 · 0.93…0.98 / 13.3 = 4.2…4.42 A, within the 4.1–4.5 A of common practice, no source
    sixty = panel("p", 60.0, vmp_v=18.0, output_factor=1.0)
    assert 3.3 <= amps(sixty, PWM, 1000.0) <= 3.4
    for efficiency in (0.93, 0.95, 0.98):
        assert 4.1 <= amps(sixty, controller("m", "mppt", 20.0, efficiency=efficiency), 1000.0) <= 4.5


def test_a_hot_low_voltage_panel_cannot_charge_through_pwm() -> None:
    # 30 cells: Vmp 14.5 V and Voc 18 V at 25 °C. At 70 °C and -0.35 %/K, Vmp is
    # 14.5 · (1 - 0.0035 · 45) = 12.2 V, below 13.3 V: less than the full current, but not nothing,
    # since Voc is still 15.2 V. Qualitative, from the shape of any current-voltage curve.
    small = panel("p", 50.0, vmp_v=14.5, voc_v=18.0, voc_per_degc=-0.0035, output_factor=1.0)
    cool, hot = amps(small, PWM, 1000.0, 25.0), amps(small, PWM, 1000.0, 70.0)
    assert cool == pytest.approx(50 / 14.5, rel=1e-6)
    assert 0.0 < hot < 0.9 * cool


# Each alone on a PWM controller into a battery with room, under a clear high sun: about 905 W/m² on
# the flat and 960 W/m² facing it. Common practice, no source.
MIDDAY = [
    (1.55, 905.0, 1.2),
    (2.2, 905.0, 1.35),
    (3.3, 905.0, 2.3),
    (5.0, 960.0, 4.1),
    (5.0, 905.0, 3.0),  # not facing the sun
]


def midday_amps(label_a: float, sun_wm2: float, output_factor: float) -> float:
    folding = panel("p", 18 * label_a, imp_a=label_a, output_factor=output_factor)
    # cells some 25 K above a mild day's air
    return amps(folding, PWM, sun_wm2, 45.0)


@pytest.mark.parametrize(("label_a", "sun_wm2", "read_a"), MIDDAY)
def test_output_factors_bracket_midday_readings(label_a: float, sun_wm2: float, read_a: float) -> None:
    assert midday_amps(label_a, sun_wm2, 0.6) < read_a < midday_amps(label_a, sun_wm2, 0.9)


def test_the_default_output_factor_lies_near_their_middle(tmp_path: Path) -> None:
    (tmp_path / "batteries.csv").write_text("id,mass_g,chemistry,capacity_ah,connector\nb,1400,lifepo4,12,round\n")
    (tmp_path / "loads.csv").write_text("id,mass_g,full_a,connector\nr,1100,4.5,round\n")
    (tmp_path / "panels.csv").write_text("id,mass_g,rated_w,folding,connector\np,1400,40,yes,round\n")
    default = read_inventory(tmp_path).panels[0].output_factor
    ratios = [read_a / midday_amps(label_a, sun_wm2, default) for label_a, sun_wm2, read_a in MIDDAY]
    # on the average the default neither flatters nor slanders, and it is within a fifth of every reading
    assert sum(ratios) / len(ratios) == pytest.approx(1.0, abs=0.05)
    assert all(0.8 < r < 1.2 for r in ratios)


def kit_for(load_w: float, through: Controller, from_panel: Panel, store: Battery) -> str:
    """Whether a panel and a nearly empty battery carry a load through a noon of eight hours."""
    outing = operation((LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0, start_charge_share=0.1)
    inventory = Inventory("invented", (from_panel,), (store,), (through,), loads=(load("lamp", full_w=load_w),))
    return pack(outing, inventory, sky([[1000.0] * 8])).status


def test_whole_kits_agree_with_the_arithmetic() -> None:
    # 10 Ah · 12.8 V · 0.9 · 0.1 = 11.5 Wh at the start, 1.44 W over eight hours, and no idle draw.
    # PWM: 60/18 · 13.312 = 44.4 W; MPPT: 60 · 0.95 = 57 W.
    sixty, store = panel("p", 60.0, vmp_v=18.0, output_factor=1.0), battery("b", 10.0)
    pwm, mppt = controller("c", "pwm", 20.0), controller("c", "mppt", 20.0, efficiency=0.95)
    assert [kit_for(w, pwm, sixty, store) for w in (45.7, 46.0)] == ["found", "no-kit"]
    assert [kit_for(w, mppt, sixty, store) for w in (58.3, 58.6)] == ["found", "no-kit"]
    # a controller of 3 A passes 3 · 13.312 = 39.9 W and no more
    small = controller("c", "mppt", 3.0, efficiency=0.95)
    assert [kit_for(w, small, sixty, store) for w in (41.2, 41.5)] == ["found", "no-kit"]
