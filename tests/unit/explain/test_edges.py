"""Edges, forced items and what binds: by hand under no sun, and against choosing from scratch."""

from __future__ import annotations

import math
from dataclasses import replace
from fractions import Fraction
from typing import Any

import pytest
from oracle.instances import battery, controller, load, numbered, operation, panel, sky

from kitopt.ask import at_least
from kitopt.budget import Budget
from kitopt.choice import Choice, pack
from kitopt.engine import choose
from kitopt.explain.binding import binding
from kitopt.explain.edges import COLDER_DEGC, FAMILIES, edges
from kitopt.explain.reasons import not_packed
from kitopt.explain.within import within
from kitopt.inventory.items import Battery, Extra, Inventory, Item, Load
from kitopt.operation.terms import LoadUse, Operation
from kitopt.report.why import (
    bindings_section,
    edge_text,
    edges_section,
    item_value,
    kit_value,
    within_text,
)
from kitopt.sky.windows import Sky


def dark(outing: Operation) -> Sky:
    return sky([[0.0] * outing.n_steps], step_h=outing.need.step_h)


def lamp(*items: Item, hours: float = 8.0, **changes: Any) -> Choice:
    """A lamp of 10 W from nine, no sun, no reserve."""
    outing = operation((LoadUse("lamp"),), hours, **{"step_h": 0.5, "reserve_share": 0.0, **changes})
    loads = tuple(item for item in items if isinstance(item, Load))
    batteries = tuple(item for item in items if isinstance(item, Battery))
    owned = Inventory("invented", batteries=batteries, loads=(*loads, load("lamp", full_w=10.0)))
    return pack(outing, owned, dark(outing))


def test_edges_by_hand() -> None:
    # a holds 5 Ah x 12.8 V x 0.9 = 57.6 Wh: not enough for 8 h; b holds 115.2 Wh: 11.52 h, or 1.44 times the lamp
    choice = lamp(battery("a", 5.0, mass_g=600), battery("b", 10.0, mass_g=1000))
    assert [(p.id, p.count) for p in choice.packed] == [("b", 1), ("lamp", 1)]
    found = {(e.quantity, e.direction): e for e in edges(choice, sky_of=dark).edges}
    up, down, more = found["hours", 1], found["hours", -1], found["load", 1]
    assert (up.holds, up.changes, up.mass_g, up.instead) == (11.5, 12.0, 2100, (("a", 1),))
    # a alone lasts 5.76 h
    assert (down.holds, down.changes, down.mass_g) == (6.0, 5.5, 1100)
    assert (down.instead, down.gone) == ((("a", 1),), (("b", 1),))
    assert (more.holds, more.changes) == (pytest.approx(1.44), pytest.approx(1.45))
    assert ("panel hours", 1) not in found
    text = edges_section(choice, edges(choice, sky_of=dark))
    assert text[1] == "- hours: the same kit is best up to 11.5 h; at 12 h 2.10 kg (a in)."
    held = binding(choice)
    assert held is not None
    value = kit_value(choice, [("", held)], edges(choice, sky_of=dark))
    assert [e["holds"] for e in value["edges"]][:2] == [11.5, 6.0]


def test_whether_a_panel_is_packed_is_told_only_where_it_was_solved() -> None:
    # full sun for four hours carries the lamp of 10 W so long; a lasts 5.76 h (57.6 Wh), b 11.52 h (115.2 Wh).
    # Lightest are up to 5 h a with 600 g, to 9 h a and the panel with 950 g, to 11 h b with 1,000 g, to 15 h b and
    # the panel with 1,350 g, to 17 h a and b with 1,600 g: a panel comes, goes, comes and goes
    outing = operation((LoadUse("lamp"),), 14.0, step_h=1.0, reserve_share=0.0)

    def light(asked: Operation) -> Sky:
        return sky([[1000.0] * 4 + [0.0] * (asked.n_steps - 4)] if asked.n_steps > 4 else [[1000.0] * asked.n_steps])

    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0, mass_g=600), battery("b", 10.0, mass_g=1000)),
        panels=(panel("p", 40.0, mass_g=300),),
        controllers=(controller("c", "mppt", 5.0, mass_g=50),),
        loads=(load("lamp", full_w=10.0),),
    )
    choice = pack(outing, owned, light(outing))
    found = edges(choice, sky_of=light)
    each = [edges(choice, sky_of=light, families=[one]) for one in FAMILIES]
    assert tuple(edge for one in each for edge in one.edges) == found.edges
    (told,) = [e for e in found.edges if e.quantity == "panel hours"]
    assert {one.value: one.has_panel for one in told.solved} == {
        **dict.fromkeys((6.0, 8.0, 12.0, 13.0, 14.0, 15.0), True),
        **dict.fromkeys((4.0, 10.0, 11.0, 16.0), False),
        # the sun outlasts the operation: one battery is enough, or none would be with a bus of its own
        2.0: False,
    }
    assert (told.holds, told.changes) == (None, None)
    text = " ".join(" ".join(edges_section(choice, found)).split())
    panels = "it is packed at 6, 8, 12, 13, 14 and 15 h, and not at 2, 4, 10, 11 and 16 h."
    assert f"panel: of the hours that were solved {panels}" in text
    assert "pays" not in text


def test_the_cold_is_walked_and_only_what_was_solved_is_told() -> None:
    # the windows are given and stay as warm as they are: the same kit at each of five temperatures
    choice = lamp(battery("b", 10.0))
    outing = replace(choice.operation, site=replace(choice.operation.site, coldest_degc=5.0))
    choice = pack(outing, choice.inventory, choice.sky)
    (cold,) = [e for e in edges(choice, sky_of=dark).edges if e.quantity == "coldest"]
    assert [(one.value, one.is_same) for one in cold.solved] == [(5.0 - d, True) for d in reversed(COLDER_DEGC)]
    assert (cold.holds, cold.changes) == (-15.0, None)
    assert edge_text(choice, cold) == (
        "coldest air: the same kit is best at 4, 3, 0, -5 and -15 °C, as far as was looked"
    )


def test_an_edge_beyond_which_no_kit_works() -> None:
    choice = lamp(battery("b", 10.0))
    (up,) = [e for e in edges(choice, sky_of=dark).edges if (e.quantity, e.direction) == ("hours", 1)]
    assert (up.holds, up.changes, up.mass_g) == (11.5, 12.0, None)
    assert "at 12 h no kit works" in "\n".join(edges_section(choice, edges(choice, sky_of=dark)))


def test_confidence_is_at_its_edge_where_windows_say_so() -> None:
    # ten windows, as many watts of sun as their number; the answer is asked anew at every percent
    outing = operation(
        (LoadUse("lamp"),), 8.0, step_h=1.0, reserve_share=0.0, confidence=Fraction(1, 2), start_charge_share=0.5
    )

    def light(asked: Operation) -> Sky:
        return sky([[60.0 * k] * asked.n_steps for k in range(10)])

    owned = Inventory(
        "invented",
        batteries=(battery("a", 5.0, mass_g=600), battery("b", 13.0, mass_g=1300)),
        panels=(panel("p", 20.0, mass_g=200),),
        controllers=(controller("c", "mppt", 5.0, mass_g=50),),
        loads=(load("lamp", full_w=10.0),),
    )
    choice = pack(outing, owned, light(outing))
    assert choice.status == "found"
    for edge in edges(choice, sky_of=light).edges:
        if edge.quantity != "confidence" or edge.changes is None:
            continue
        for share, is_same in ((edge.holds, True), (edge.changes, False)):
            need = replace(outing.need, confidence=Fraction(str(share)))
            again = pack(replace(outing, need=need), owned, light(outing))
            assert (again.proof.objective == choice.proof.objective) is is_same, share
        break
    else:
        pytest.fail("no edge of confidence")


def test_edges_that_are_cut_short_say_so() -> None:
    choice = lamp(battery("b", 10.0))
    found = edges(choice, sky_of=dark, budget=Budget.of(0.0))
    assert found.is_cut_short
    assert "not known" in edges_section(choice, found)[-1]


def test_an_item_forced_in_costs_what_a_solve_from_scratch_says() -> None:
    n_compared = 0
    for number in range(20):
        instance = numbered(number)
        choice = pack(instance.operation, instance.inventory, instance.sky)
        if choice.status != "found":
            continue
        for item_id in not_packed(choice):
            if isinstance(choice.inventory.by_id[item_id], Load | Extra):
                continue
            found = within(choice, item_id)
            best = math.inf
            for solved in choice.solved:
                rows = at_least(item_id, 1).rows(solved)
                if rows is not None:
                    outcome = choose(replace(solved.plan, rows=(*solved.plan.rows, *rows)))
                    best = min(best, outcome.objective)
            if math.isinf(best):
                assert found.status in ("no-kit", "blocked"), (number, item_id)
                continue
            n_compared += 1
            assert found.status == "found"
            assert choice.proof.objective is not None
            assert found.more == best - choice.proof.objective, (number, item_id)
            assert found.choice is not None
            assert found.choice.survival is not None
            assert found.choice.survival.survived >= found.choice.survival.needed
            assert any(p.id == item_id for p in found.choice.packed)
    assert n_compared >= 15


def test_an_item_that_a_rule_blocks() -> None:
    choice = lamp(battery("b", 10.0), battery("weak", 5.0, max_discharge_a=0.5))  # the lamp draws 0.78 A
    found = within(choice, "weak")
    assert found.status == "blocked"
    text = within_text(choice, found)
    assert "weak gives 0.5 A; the loads peak at 0.8 A." in text
    assert "No kit can have it" in text
    assert item_value(choice, "weak", found)["with"]["status"] == "blocked"


def test_what_is_lent_or_not_there_says_so_before_anything_else() -> None:
    # b would be lighter, and c lighter still; of what is out none is counted where it is read
    choice = lamp(
        battery("a", 10.0, mass_g=1000),
        battery("b", 10.0, mass_g=600, out=True, count=0),
        battery("c", 10.0, mass_g=500, count=0),
    )
    assert [one.id for one in choice.packed] == ["a", "lamp"]
    assert [not_packed(choice)[one].text for one in ("b", "c")] == ["It is out: lent or broken.", "None is owned."]


def test_a_load_that_is_not_named_has_no_price() -> None:
    choice = lamp(battery("b", 10.0), load("fan", full_w=5.0))
    assert (
        within_text(choice, within(choice, "fan")) == "fan is not in the kit. The operation does not name this load.\n"
    )


def test_what_binds_under_no_sun() -> None:
    # 115.2 Wh less 80 Wh at the end; a usable Wh more is a Wh more
    held = binding(lamp(battery("b", 10.0)))
    assert held is not None
    assert held.survived.margin_wh == pytest.approx(35.2)
    assert not held.survived.was_full
    assert [(w.what, w.wh) for w in held.worth] == [("battery", pytest.approx(1.0))]
    assert held.exhausted == ("b",)
    assert held.missed is None


def test_a_controller_that_clips_makes_more_panel_useless() -> None:
    # 100 W of panel at full sun on 2 A: 2 A x 12.8 V = 25.6 W pass in every step; the lamp draws 30 W, so the
    # battery of 115.2 Wh, half full, falls by 4.4 Wh an hour and never recovers; in the last hour the sun may come late
    outing = operation((LoadUse("lamp"),), 6.0, step_h=1.0, reserve_share=0.0, start_charge_share=0.5)
    owned = Inventory(
        "invented",
        batteries=(battery("a", 10.0),),
        panels=(panel("p", 100.0, output_factor=1.0),),
        controllers=(controller("c", "mppt", 2.0, efficiency=1.0),),
        loads=(load("lamp", full_w=30.0),),
    )
    choice = pack(outing, owned, sky([[1000.0] * 6]))
    held = binding(choice)
    assert held is not None
    worth = {one.what: one for one in held.worth}
    assert worth["panel"].wh == 0
    # an ampere more is 12.8 W for the five hours before
    assert worth["controller"].wh == pytest.approx(5 * 12.8)
    assert [(a.hour, b.hour) for a, b in worth["controller"].clips] == [(9, 15)]
    assert "more panel on it is of no use then" in " ".join(" ".join(bindings_section(choice, [("", held)])).split())
