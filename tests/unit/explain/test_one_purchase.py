"""The one purchase that saves most: against buying each piece of a catalogue in turn and choosing from scratch."""

from __future__ import annotations

import random
from dataclasses import replace

import pytest
from oracle.instances import battery, load, numbered, operation, panel, sky

from kitopt.ask import Change
from kitopt.choice import Choice, pack
from kitopt.explain.one_purchase import OnePurchase, one_purchase
from kitopt.explain.repairs import THOROUGH, repairs
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import LoadUse
from kitopt.report.repairs import repairs_section
from kitopt.report.why import purchase_section


def lamp(hours: float = 8.0) -> Choice:
    """A lamp of 10 W, no sun; the battery holds 115.2 Wh and weighs 1,600 g."""
    outing = operation((LoadUse("lamp"),), hours, step_h=1.0, reserve_share=0.0)
    owned = Inventory(
        "invented", batteries=(battery("b", 10.0, mass_g=1600),), loads=(load("lamp", full_w=10.0),), currency="EUR"
    )
    return pack(outing, owned, sky([[0.0] * outing.n_steps]))


def test_a_lighter_battery_by_hand() -> None:
    # 80 Wh are needed: 8 Ah hold 92.16 Wh, and the lightest of them, of two as light the cheaper, saves 1,600 - 700 g
    shop = Inventory(
        "shop",
        batteries=(
            battery("dear", 8.0, mass_g=700, price_cents=9900),
            battery("fair", 8.0, mass_g=700, price_cents=5900),
            battery("small", 4.0, mass_g=300, price_cents=900),
        ),
    )
    choice = lamp()
    found = one_purchase(choice, shop)
    assert found.status == "found"
    assert found.item is not None
    assert (found.item.id, found.less, found.mass_g) == ("fair", 900, 1200)
    assert (found.instead, found.gone) == ((("fair", 1),), (("b", 1),))
    assert purchase_section(choice, found)[1:] == ["- fair, EUR 59.00: 900 g lighter (in: fair; out: b)."]
    none = one_purchase(choice, replace(shop, batteries=shop.batteries[2:]))
    assert none == OnePurchase("none")
    assert purchase_section(choice, none)[1:] == ["- nothing in the catalogue makes it lighter by itself."]


def test_without_a_kit_two_pieces_are_bought_where_one_is_not_enough() -> None:
    # 24 h need 240 Wh and 115.2 are there: 124.8 Wh are wanting, and the pieces hold 69.12, 57.6 and 92.16 Wh. Two of
    # them do: the two cheapest are 126.72 Wh for 10.00
    shop = Inventory(
        "shop",
        batteries=(
            battery("x", 6.0, price_cents=600),
            battery("y", 5.0, price_cents=400),
            battery("z", 8.0, price_cents=2000),
        ),
    )
    choice = lamp(24.0)
    assert choice.status == "no-kit"
    found = repairs(choice, catalogue=shop, effort=THOROUGH)
    (bought,) = [one for one in found.work if len(one.ways) == 2]
    assert sorted(change.id for change in bought.changes) == ["x", "y"]
    assert "to buy x for EUR 6.00, and to buy y for EUR 4.00" in "\n".join(repairs_section(choice, found))


@pytest.mark.parametrize("first", [0, 12])
def test_the_best_of_all_that_can_be_bought(first: int) -> None:
    n_found = n_none = 0
    for number in range(first, first + 12):
        instance, rng = numbered(number), random.Random(number)
        operation_by_mass = replace(instance.operation, least="mass")
        choice = pack(operation_by_mass, instance.inventory, instance.sky)
        if choice.status != "found":
            continue
        volts = {"lifepo4": 12.8, "agm": 12.0, "li-ion": 14.4}
        some = [
            battery(
                f"n{i}",
                rng.choice([2.0, 4.0, 8.0]),
                mass_g=rng.randrange(200, 900, 50),
                chemistry=(chemistry := rng.choice(["lifepo4", "lifepo4", "agm"])),
                nominal_v=volts[chemistry],
            )
            for i in range(3)
        ]
        shop = Inventory("shop", batteries=tuple(some), panels=(panel("np", 40.0, mass_g=300),))
        best = choice.proof.objective
        assert best is not None
        for item in (*shop.batteries, *shop.panels):
            owned = Change("one more", item.id, thing=item).inventory(choice.inventory)
            after = pack(operation_by_mass, owned, instance.sky)
            assert after.proof.objective is not None
            best = min(best, after.proof.objective)
        found = one_purchase(choice, shop)
        assert choice.proof.objective - found.less == best, number
        assert found.status == ("none" if best == choice.proof.objective else "found")
        n_found += found.status == "found"
        n_none += found.status == "none"
    assert n_found >= 5
    assert n_none >= 1
