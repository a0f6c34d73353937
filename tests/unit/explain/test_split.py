"""A load in a circuit of its own, where its peak rules most batteries out: worked out by hand.

A lamp draws 5 W for 8 h, 40 Wh; a heater 120 W in the first hour, 120 Wh. Together they peak at 125 W / 12.8 V = 9.8 A,
the lamp alone at 0.4 A. A strong battery holds 12.8 V x 10 Ah x 0.9 = 115.2 Wh at 20 A, a weak one 57.6 Wh or 23.04 Wh
at 8 A. Discharge gives all that is stored, and nothing is held back.
"""

from __future__ import annotations

from dataclasses import replace

from oracle.instances import battery, load, operation, sky

from kitopt.choice import Choice, pack
from kitopt.explain.split import split
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse, Span
from kitopt.report.split import split_section


def warmed(*, strong: int = 2, limit_a: float = 8.0) -> Choice:
    """Lamp and heater on one circuit."""
    uses = (LoadUse("lamp"), LoadUse("heater", spans=(Span(540, 600),), quiet="off"))
    outing = operation(uses, 8.0, step_h=1.0, reserve_share=0.0)
    owned = Inventory(
        "invented",
        batteries=(
            battery("strong", 10.0, count=strong, mass_g=1800),
            battery("weak", 5.0, count=1, mass_g=400, max_discharge_a=limit_a),
            battery("tiny", 2.0, count=1, mass_g=200, max_discharge_a=limit_a),
        ),
        loads=(load("lamp", full_w=5.0), load("heater", full_w=120.0)),
    )
    return pack(outing, owned, sky([[0.0] * outing.n_steps]))


def test_the_lamp_takes_the_small_battery_when_the_heater_has_its_own() -> None:
    # 160 Wh want two strong ones together. Apart the heater's 120 Wh want two strong ones too, so nothing is saved;
    # with 100 W it wants 100 Wh, one strong battery, and the lamp's 40 Wh a weak one: 1,800 + 400 g, 1,400 g less
    choice = warmed()
    found = split(choice)
    assert found is not None
    assert (found.status, found.id, found.kept_out) == ("found", "heater", ("tiny", "weak"))
    assert found.less == -400
    assert "400 g heavier, so it saves nothing" in " ".join(split_section(choice, found))
    heater = replace(choice.inventory.loads[1], full_w=100.0)
    cooler = replace(choice.inventory, loads=(choice.inventory.loads[0], heater))
    choice = pack(choice.operation, cooler, choice.sky)
    found = split(choice)
    assert found is not None
    assert (found.less, found.mass_g) == (1400, 1800 + 400 + 1000)
    assert (found.instead, found.gone) == ((("weak", 1),), (("strong", 1),))
    assert split_section(choice, found) == [
        "One load's peak",
        "- with heater all draw 8.2 A, which tiny, weak cannot give; in a circuit of its",
        '  own (circuit = "heater"): 1.40 kg lighter (in: weak; out: strong).',
    ]


def test_nothing_is_tried_where_most_batteries_carry_the_peak_or_there_is_one_load() -> None:
    choice = warmed(limit_a=15.0)
    assert split(choice) is None
    alone = pack(replace(choice.operation, loads=choice.operation.loads[1:]), choice.inventory, choice.sky)
    assert split(alone) is None


def test_two_circuits_do_what_one_cannot() -> None:
    # one strong battery alone holds 115.2 Wh of the 140 Wh; with the lamp on the weak one it has 100 Wh to give
    choice = warmed(strong=1)
    heater = replace(choice.inventory.loads[1], full_w=100.0)
    cooler = replace(choice.inventory, loads=(choice.inventory.loads[0], heater))
    choice = pack(choice.operation, cooler, choice.sky)
    assert choice.status == "no-kit"
    found = split(choice)
    assert found is not None
    assert (found.status, found.less, found.mass_g) == ("found", None, 1800 + 400 + 1000)
