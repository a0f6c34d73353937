"""Clouds, overs and the battery, against sums done by hand."""

from __future__ import annotations

from dataclasses import replace
from datetime import date

import numpy as np
import pytest
from oracle.instances import GENDERLESS, battery, controller, load, operation, panel, sky

from kitopt.inventory.items import Converter
from kitopt.operation.terms import LoadUse, Operation, Span
from kitopt.second_opinion import Circuit, Fed, Feed, PlainKit, second_opinion
from kitopt.second_opinion.cells import CELLS, CHARGES, bank_of
from kitopt.second_opinion.clouds import dim_and_bright, passed_wm2
from kitopt.second_opinion.loads import by_minute, drawn_by
from kitopt.second_opinion.spells import on_share, ranks


def test_spells_keep_their_share() -> None:
    rank = ranks(7, 30, np.random.default_rng(1))
    for share in (0.0, 0.013, 0.25, 0.5, 0.999, 1.0):
        on = on_share(np.full((7, 1), share), rank, 30)
        assert on.mean(axis=1) == pytest.approx(np.full(7, share), abs=1e-12)
        # whole minutes but one: a spell is on or off
        assert np.count_nonzero((on > 0) & (on < 1)) <= 7


def test_clouds_keep_the_light() -> None:
    rng = np.random.default_rng(2)
    windows = sky((1000.0 * rng.random((25, 12))).tolist(), step_h=0.5)
    lit, share = dim_and_bright(windows, np.arange(25))
    dim, bright = lit["aimed"]
    passed = passed_wm2(windows.useful_wm2["aimed"])
    assert dim * (1 - share) + bright * share == pytest.approx(passed, abs=1e-9)
    assert (bright <= passed.max(axis=0) + 1e-9).all()


def test_weak_light_is_not_counted_as_weak_twice() -> None:
    """Huld's terms for crystalline silicon, by hand: at 200 Wm⁻² 1 - 0.017237·ln 0.2 - 0.040465·ln² 0.2 = 0.92293."""
    assert passed_wm2(np.array([200.0 * 0.92293])) == pytest.approx([200.0], rel=1e-3)
    assert passed_wm2(np.array([0.0, 1000.0])) == pytest.approx([0.0, 1000.0], rel=1e-3)


def test_overs_come_to_the_share_promised() -> None:
    """14 h at 20 % and 0.4 of 4.6 A, else 0.48 A: 14·(0.2·0.4·4.6 + 0.8·0.48) = 10.528 Ah, by hand."""
    use = LoadUse("radio", full_share=0.4, transmit_share=0.2, spans=(Span(540, 1380),), quiet="off")
    outing = operation((use,), 24.0)
    fed = Fed(use, load("radio", idle_a=0.48, full_a=4.6), 1, 0.0)
    drawn = drawn_by(fed, by_minute(outing), np.random.default_rng(3))
    assert drawn.mean_a.sum() / 60.0 == pytest.approx(10.528, abs=1e-9)
    assert drawn.peak_a.max() == 4.6
    assert drawn.mean_a[14 * 60 :].sum() == 0.0


def test_energy_a_day_is_spread_over_its_hours() -> None:
    use = LoadUse("laptop", wh_per_day=40.0, spans=(Span(600, 840),))
    outing = operation((use,), 48.0)
    drawn = drawn_by(Fed(use, load("laptop", full_w=45.0), 1, 0.0), by_minute(outing), np.random.default_rng(3))
    assert drawn.mean_w.sum() / 60.0 == pytest.approx(80.0, abs=1e-9)
    assert drawn.mean_w.max() == pytest.approx(10.0)


def test_energy_a_day_over_midnight_is_spread_over_the_night() -> None:
    """40 Wh from 22:00 to 6:00 are 5 W; from nine o'clock on one night is 40 Wh."""
    use = LoadUse("heater", wh_per_day=40.0, spans=(Span(1320, 360),))
    outing = operation((use,), 24.0)
    drawn = drawn_by(Fed(use, load("heater", full_w=45.0), 1, 0.0), by_minute(outing), np.random.default_rng(3))
    assert drawn.mean_w.sum() / 60.0 == pytest.approx(40.0, abs=1e-9)
    assert set(drawn.mean_w.round(9)) == {0.0, 5.0}


def steady(amps: float, hours: float, **changes: object) -> tuple[Operation, Fed]:
    use = LoadUse("lamp")
    values = {"id": "lamp", "full_a": amps, "idle_a": amps, **changes}
    lamp = load(str(values.pop("id")), **values)
    return operation((use,), hours, reserve_share=0.0), Fed(use, lamp, 1, 0.0)


DARK = sky([[0.0] * 48], step_h=0.5)


def test_an_ampere_for_an_hour_is_an_ampere_hour() -> None:
    outing, lamp = steady(1.0, 5.0)
    opinion = second_opinion(outing, DARK, PlainKit(((battery("b", 10.0), 1, 0.0),), (), (lamp,)), np.array([0]))
    assert opinion.charge_ah[0, -1] == pytest.approx(5.0, abs=1e-9)
    # 9 Ah may be used, 5 are: 4 Ah of 12.8 V are left
    assert opinion.margin_wh[0] == pytest.approx(4.0 * 12.8, abs=1e-6)


def test_slow_and_fast_drain_of_a_lead_battery() -> None:
    """Rated-hour form of Peukert's law: the 20-hour current empties it in 20 h, four times that in 20/4^1.1 h."""
    agm = battery("b", 20.0, chemistry="agm", nominal_v=12.0, depth_share=1.0, efficiency=0.9)
    for amps in (1.0, 4.0):
        outing, lamp = steady(amps, 2.0)
        opinion = second_opinion(outing, DARK, PlainKit(((agm, 1, 0.0),), (), (lamp,)), np.array([0]))
        assert 20.0 - opinion.charge_ah[0, -1] == pytest.approx(2.0 * amps**1.1, rel=1e-9)


def test_the_load_goes_off_at_the_end_of_its_own_chain() -> None:
    """Half empty, 13.13 V at rest; 10 A through 0.5/20 + 0.01 + 0.02 + 0.03 Ω drop 0.85 V: 12.28 V at the plug."""
    outing, lamp = steady(10.0, 0.5, lowest_v=12.27)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.5 / 0.9 + 1e-3))
    cell = battery("b", 20.0)
    kit = PlainKit(((cell, 1, 0.01),), (), (replace(lamp, ohm=0.03),), strip_ohm=0.02)
    # 20 Ah, 0.45 of 18 used up at the start: just above half
    at_start = second_opinion(replace(outing, hours=1.0 / 60.0), DARK, kit, np.array([0]))
    assert bank_of(kit.batteries, outing).start_ah == pytest.approx(12.018, abs=1e-6)
    rest_v = 13.13 + (12.018 / 20.0 - 0.5) / 0.2 * (13.2 - 13.13)
    assert at_start.cut_offs == (None,)
    tight = replace(lamp, ohm=0.03, load=replace(lamp.load, lowest_v=rest_v - 0.85 + 0.001))
    cut_off = second_opinion(
        replace(outing, hours=1.0 / 60.0), DARK, replace(kit, loads=(tight,)), np.array([0])
    ).cut_offs[0]
    assert cut_off is not None
    assert cut_off.load_id == "lamp"
    assert cut_off.volts == pytest.approx(rest_v - 0.85, abs=1e-9)


def test_what_a_load_needs_behind_a_converter_is_power() -> None:
    up = Converter(
        id="up",
        name="up",
        mass_g=1,
        from_connector=GENDERLESS,
        to_connector=GENDERLESS,
        out_v=20.0,
        max_w=65.0,
        efficiency=0.9,
        idle_ma=15.0,
    )
    outing, lamp = steady(2.0, 1.0, supply_v=20.0, lowest_v=18.0)
    drawn = drawn_by(replace(lamp, converter=up), by_minute(outing), np.random.default_rng(1))
    assert drawn.mean_w[0] == pytest.approx(2.0 * 20.0 / 0.9)
    assert drawn.mean_a[0] == pytest.approx(0.015)
    assert drawn.lowest_v == 0.0


def sunny(hours: int, **kit: object) -> tuple[Operation, PlainKit]:
    outing, lamp = steady(0.4, float(hours))
    circuit = Circuit(controller("c", "mppt", 10.0), (Feed(panel("p", 100.0), 1, 1, 0.1),), 0.02)
    return outing, PlainKit(((battery("b", 20.0), 1, 0.01),), (circuit,), (lamp,))


def test_no_ampere_is_lost_or_made() -> None:
    """Charge at the end is that at the start plus 0.95 of what went in, less what came out."""
    rng = np.random.default_rng(4)
    windows = sky((900.0 * rng.random((30, 48))).tolist(), step_h=0.5)
    outing, kit = sunny(24)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.2))
    opinion = second_opinion(outing, windows, kit, np.arange(30))
    start_ah = 20.0 - 0.8 * 18.0
    put_ah = opinion.filled_a.sum(axis=1) / 60.0
    out_ah = opinion.drained_a.sum(axis=1) / 60.0
    assert opinion.charge_ah[:, -1] == pytest.approx(start_ah + 0.95 * put_ah - out_ah, abs=1e-6)
    refused_a = opinion.harvest_a - opinion.load_a - opinion.filled_a + opinion.drained_a
    assert refused_a.min() > -1e-9
    assert opinion.filled_a.max() <= 20.0
    assert opinion.charge_ah.max() <= 20.0 + 1e-9


def test_a_windows_answer_does_not_depend_on_its_company() -> None:
    rng = np.random.default_rng(5)
    windows = sky((900.0 * rng.random((30, 48))).tolist(), step_h=0.5)
    outing, kit = sunny(24)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.2))
    every = second_opinion(outing, windows, kit, np.arange(30))
    few = second_opinion(outing, windows, kit, np.array([3, 17]))
    assert few.margin_wh == pytest.approx(every.margin_wh[[3, 17]], abs=1e-9)


def test_cells_too_cold_take_nothing() -> None:
    outing, kit = sunny(24)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.5))
    cold = sky([[800.0] * 48], step_h=0.5, battery_degc=-3.0)
    assert second_opinion(outing, cold, kit, np.array([0])).filled_a.max() == 0.0


def test_the_last_part_of_a_lead_battery_goes_in_slowly() -> None:
    """Held at its constant voltage it takes about 0.2 C at 85 % of full (common practice, no source), less above."""
    agm = battery("b", 20.0, chemistry="agm", nominal_v=12.0, depth_share=0.5, efficiency=0.9, max_charge_a=20.0)
    bank = bank_of(((agm, 1, 0.0),), operation((), 1.0))
    shares = np.array([0.85, 0.95, 1.0])
    most_a = (bank.constant_v - bank.fed_v(shares)) / bank.fill_ohm
    assert most_a == pytest.approx([4.0, 1.345, 0.0], abs=0.05)


@pytest.mark.parametrize("chemistry", CELLS)
def test_volts_rise_with_charge(chemistry: str) -> None:
    """Published charts differ too much for more than this; full and empty are those of common data sheets."""
    cells = CELLS[chemistry]
    for volts in (cells.rest_v, cells.fed_v):
        assert (np.diff(volts) > 0).all()
    # some tenths of a volt more while it is filled, until it is nearly full (common practice, no source)
    raised_v = np.array(cells.fed_v) - np.array(cells.rest_v)
    assert (raised_v >= 0.0).all()
    assert (raised_v[np.array(CHARGES) <= 0.85] < 0.8).all()
    assert cells.fed_v[-1] == cells.constant_v
    assert cells.rest_v[0] < cells.nominal_v < cells.rest_v[-1]


@pytest.mark.parametrize(("chemistry", "nominal_v", "mean_v"), [("lifepo4", 12.8, 13.4), ("agm", 12.0, 13.8)])
def test_charging_is_done_at_about_the_usual_volts(chemistry: str, nominal_v: float, mean_v: float) -> None:
    """Mean charging voltage 13.4 V and 13.8 V at a fifth of the capacity an hour (from memory)."""
    bank = bank_of(((battery("b", 10.0, chemistry=chemistry, nominal_v=nominal_v), 1, 0.0),), operation((), 1.0))
    shares = np.linspace(0.5, 0.9, 50)
    assert (bank.fed_v(shares) + 2.0 * bank.fill_ohm).mean() == pytest.approx(mean_v, abs=0.3)


def test_side_by_side_the_cells_share_the_current() -> None:
    two = ((battery("b", 10.0), 2, 0.02),)
    outing = operation((), 1.0, batteries="parallel")
    assert bank_of(two, outing).drain_ohm == pytest.approx(0.5 / 20.0)
    assert bank_of(two, outing).lead_ohm == pytest.approx(0.01)
    assert bank_of(two, replace(outing, batteries="in turn")).drain_ohm == pytest.approx(0.5 / 10.0)
    assert bank_of(two, outing).fill_ohm == pytest.approx(0.5 / 20.0)
    assert bank_of(two, replace(outing, batteries="in turn")).fill_ohm == pytest.approx(0.5 / 10.0)


def test_a_load_of_watts_takes_more_amperes_as_the_volts_sag() -> None:
    """Full, 13.5 V at rest: 135 W are 10 A, and 10 A through 0.5/20 Ω of cells and 0.1 Ω of lead leave 12.25 V."""
    outing, lamp = steady(0.0, 0.5)
    lamp = replace(lamp, load=load("lamp", full_w=135.0, idle_w=135.0))
    kit = PlainKit(((battery("b", 20.0), 1, 0.1),), (), (lamp,))
    opinion = second_opinion(outing, sky([[0.0]], step_h=0.5), kit, np.array([0]))
    assert opinion.load_a[0, :2] == pytest.approx([10.0, 135.0 / 12.25], rel=1e-6)


@pytest.mark.parametrize(("lowest_v", "volts"), [(12.08, None), (12.12, 12.1)])
def test_a_load_of_watts_goes_off_by_what_its_power_makes_of_the_volts(lowest_v: float, volts: float | None) -> None:
    """8 A through 0.025 + 0.1 Ω leave 12.5 of 13.5 V, and 8 · 12.5 are the 100 W; 0.05 Ω to the plug leave 12.1 V."""
    outing, lamp = steady(0.0, 1.0 / 60.0)
    lamp = replace(lamp, load=load("lamp", full_w=100.0, idle_w=100.0, lowest_v=lowest_v), ohm=0.05)
    kit = PlainKit(((battery("b", 20.0), 1, 0.1),), (), (lamp,))
    cut_off = second_opinion(outing, DARK, kit, np.array([0])).cut_offs[0]
    assert (cut_off is None) == (volts is None)
    if cut_off is not None:
        assert cut_off.volts == pytest.approx(volts, abs=0.01)


@pytest.mark.parametrize(
    ("held", "degc", "held_ah"),
    [({"reserve_wh": 12.8}, 20.0, 1.0), ({"reserve_share": 1 / 3}, 20.0, 3.0), ({}, -20.0, 2.7)],
)
def test_what_is_held_back_is_no_longer_there(held: dict[str, float], degc: float, held_ah: float) -> None:
    # of 9 Ah 5 are drawn; 12.8 Wh at 12.8 V are 1 Ah, a third is 3, and of LiFePO4 at -20 °C 30 % is locked away
    outing, lamp = steady(1.0, 5.0)
    outing = replace(outing, need=replace(outing.need, **held))
    weather = sky([[0.0] * 10], step_h=0.5, battery_degc=degc)
    opinion = second_opinion(outing, weather, PlainKit(((battery("b", 10.0), 1, 0.0),), (), (lamp,)), np.array([0]))
    assert opinion.margin_wh[0] == pytest.approx((4.0 - held_ah) * 12.8, abs=1e-6)


def in_full_sun(n_circuits: int) -> PlainKit:
    """Panels of 100 W that controllers of 2 A hold to that."""
    circuit = Circuit(controller("c", "mppt", 2.0), (Feed(panel("p", 100.0), 1, 1, 0.1),), 0.02)
    return PlainKit(((battery("b", 20.0), 1, 0.01),), (circuit,) * n_circuits, (steady(0.4, 2.0)[1],))


@pytest.mark.parametrize("n_circuits", [1, 2])
def test_each_controller_gives_what_it_may(n_circuits: int) -> None:
    """2 A from each, 0.4 A drawn: by hand 0.95 of the rest is in the battery after an hour."""
    outing, _ = steady(0.4, 1.0)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.5))
    opinion = second_opinion(outing, sky([[1000.0]]), in_full_sun(n_circuits), np.array([0]))
    assert opinion.harvest_a == pytest.approx(np.full((1, 60), 2.0 * n_circuits), abs=1e-9)
    # 20 Ah of which half of 18 are gone
    assert opinion.charge_ah[0, -1] == pytest.approx(11.0 + 0.95 * (2.0 * n_circuits - 0.4), abs=1e-6)


@pytest.mark.parametrize(("bank", "change_ah"), [(0, -0.4 + 0.95 * 2.0), (1, 0.95 * 2.0 - 0.4)])
def test_of_two_banks_one_has_the_loads_and_the_other_the_sun(bank: int, change_ah: float) -> None:
    # an hour each, by hand: 0.4 A out, or 2 A in of which 0.95 stay
    outing, _ = steady(0.4, 2.0)
    outing = replace(outing, swap=(600,), charge="apart", bank=bank, need=replace(outing.need, start_charge_share=0.5))
    opinion = second_opinion(outing, sky([[1000.0] * 2]), in_full_sun(1), np.array([0]))
    first, second = opinion.load_a[0, :60], opinion.load_a[0, 60:]
    on, off = (first, second) if bank == 0 else (second, first)
    assert (on.tolist(), off.tolist()) == ([0.4] * 60, [0.0] * 60)
    assert opinion.charge_ah[0, -1] == pytest.approx(11.0 + change_ah, abs=1e-6)


@pytest.mark.parametrize("chemistry", CELLS)
def test_cold_takes_capacity_and_adds_resistance(chemistry: str) -> None:
    at_minus_20, at_0, at_20 = CELLS[chemistry].cold_capacity
    assert 0.0 < at_minus_20 < at_0 < at_20 == 1.0
    at_minus_20, at_0, at_20 = CELLS[chemistry].cold_ohm
    assert at_minus_20 > at_0 > at_20 == 1.0


def test_of_two_loads_that_go_off_the_earlier_is_told() -> None:
    """Both need more volts than a full battery has, 13.5 V at rest; one is on at once, one half an hour later."""
    at_once, later = LoadUse("at-once"), LoadUse("later", spans=(Span(570, 600),), quiet="off")
    weak = [Fed(use, load(use.id, idle_a=1.0, full_a=1.0, lowest_v=14.0), 1, 0.0) for use in (at_once, later)]
    outing = operation((at_once, later), 1.0, reserve_share=0.0)
    for loads in (weak, weak[::-1]):
        kit = PlainKit(((battery("b", 20.0), 1, 0.0),), (), tuple(loads))
        (cut_off,) = second_opinion(outing, DARK, kit, np.array([0])).cut_offs
        assert cut_off is not None
        assert (cut_off.load_id, cut_off.minute) == ("at-once", 0)


def test_a_controller_without_panels_brings_nothing() -> None:
    outing, _ = steady(0.4, 1.0)
    outing = replace(outing, need=replace(outing.need, start_charge_share=0.5))
    kit = in_full_sun(1)
    idle = replace(kit, circuits=(Circuit(controller("spare", "mppt", 2.0), (), 0.02), *kit.circuits))
    plain, more = (second_opinion(outing, sky([[1000.0]]), one, np.array([0])) for one in (kit, idle))
    assert more.harvest_a == pytest.approx(plain.harvest_a)
    assert more.charge_ah == pytest.approx(plain.charge_ah)


def test_a_battery_loses_what_it_loses_since_it_was_charged() -> None:
    """3 % a month (from memory) of 10 Ah; 30 days before 10 October is 10 September. After it nothing is lost."""
    outing = operation((), 1.0)
    for day, ah in ((date(2026, 9, 10), 9.7), (date(2026, 10, 10), 10.0), (date(2026, 11, 1), 10.0)):
        assert bank_of(((battery("b", 10.0, charged_on=day), 1, 0.0),), outing).start_ah == pytest.approx(ah)
    # what the operation says of all batteries goes before it
    told = replace(outing, stored_days=60.0)
    assert bank_of(((battery("b", 10.0, charged_on=date(2026, 9, 10)), 1, 0.0),), told).start_ah == pytest.approx(9.4)
