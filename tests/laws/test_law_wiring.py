"""Laws of leads, on tiny inventories under constant light."""

from __future__ import annotations

import pytest
from hypothesis import given, settings
from hypothesis import strategies as st
from unit.model.wiring.wired_kits import battery, controller, ids, in_the_sun, lead, load, packed, panel

from kitopt.choice import Choice
from kitopt.inventory.items import Connector, Lead
from kitopt.model.wiring import Contacts, chains

AREAS = st.sampled_from([0.326, 0.518, 0.823, 1.309, 2.081, 3.309, 5.261])
LENGTHS = st.floats(1.0, 20.0).map(lambda x: round(x, 1))


def over(area_mm2: float, length_m: float, kind: str = "mppt", rated_w: float = 21.0, **more: object) -> Choice:
    """A lamp of 10 W for 80 h in half the sun, between one panel that hardly does and a heavy one that does."""
    pv = lead("pv-lead", "pv:socket > pv:plug", area_mm2=area_mm2, length_m=length_m, count=2)
    small = panel("small", rated_w=rated_w, imp_a=rated_w / 18, isc_a=rated_w / 16.5)
    large = panel("large", mass_g=2000, rated_w=60.0, imp_a=60 / 18, isc_a=60 / 16.5)
    items = (battery(), small, large, controller(kind=kind, **more), pv, load())
    return in_the_sun(*items, panel_distance_m=length_m)


def mass_or_inf(choice: Choice) -> float:
    return float(choice.mass_g) if choice.status == "found" else float("inf")


@given(st.tuples(AREAS, AREAS).map(sorted), LENGTHS, st.floats(16.0, 24.0), st.sampled_from(["mppt", "pwm"]))
@settings(max_examples=40)
def test_a_thinner_lead_never_makes_a_lighter_kit(
    areas: list[float], length_m: float, rated_w: float, kind: str
) -> None:
    thin, thick = (over(area, length_m, kind, rated_w) for area in areas)
    assert mass_or_inf(thin) >= mass_or_inf(thick)


@given(st.lists(AREAS, min_size=2, max_size=2, unique=True).map(sorted), LENGTHS)
@settings(max_examples=40)
def test_a_thinner_lead_changes_the_kit_or_the_loss(areas: list[float], length_m: float) -> None:
    thin, thick = (over(area, length_m) for area in areas)
    assert thick.status == "found"
    if thin.status != "found" or ids(thin) != ids(thick):
        return
    loss = [next(w.loss_share for w in choice.wiring if w.kind == "panel") for choice in (thin, thick)]
    assert loss[0] is not None
    assert loss[1] is not None
    # twice as thin, twice the loss, but for contacts and the class 5 areas
    assert loss[0] > loss[1]


def test_a_thinner_lead_changes_the_kit() -> None:
    # 672 Wh in 80 h are 8.4 W of amperes at 12.8 V. 18 W in half the sun are 9 W, charging at 13.4 V: 12.8 / 13.4 of
    # it counts, 8.60 W. Through 20 m of 2.5 mm² (0.35 ohm with its contacts) 1 A loses 1.9 % at full sun, a quarter of
    # that watt for watt in half: 8.51 W are left; through 0.823 mm² (0.93 ohm) 5.2 %, and 8.37 W are left
    assert "small" in ids(over(2.5, 20.0, rated_w=18.0))
    assert "large" in ids(over(0.823, 20.0, rated_w=18.0))


def test_a_thinner_lead_costs_pwm_nothing_while_there_are_volts_to_spare() -> None:
    # 24 W: 1.33 A x 13.3 V in half the sun are 8.87 W, and the drop of 1.2 V leaves 16.8 V of 18 V
    for area_mm2 in (2.5, 0.823):
        choice = over(area_mm2, 20.0, "pwm", 24.0)
        assert "small" in ids(choice)
        assert [w.loss_share for w in choice.wiring if w.kind == "panel"] == [0.0]


@given(st.integers(2, 4), AREAS, LENGTHS)
@settings(max_examples=25)
def test_joined_panels_lose_a_share_that_grows_with_their_number(n: int, area_mm2: float, length_m: float) -> None:
    def share(joined: int) -> float:
        pv = lead("pv-lead", "pv:socket > pv:plug", area_mm2=area_mm2, length_m=length_m)
        sheet = panel(count=joined, rated_w=3.0, imp_a=0.16, isc_a=0.17, second_connector="pv:socket")
        need_w = 1.6 + 1.4 * joined * 0.9  # all of them, and what the battery has
        choice = in_the_sun(battery(), sheet, controller(), pv, load(full_w=need_w), panel_distance_m=length_m)
        wires = [wire for wire in choice.wiring if wire.kind == "panel"]
        if not wires:
            return -1.0
        assert [wire.joined for wire in wires] == [joined]
        assert wires[0].loss_share is not None
        return wires[0].loss_share

    one, several = share(1), share(n)
    if one >= 0.0 and several >= 0.0:
        assert several == pytest.approx(n * one, rel=1e-9)


ENDS = st.sampled_from(["g", "pin", "x:plug", "x:socket", "flat"])


@st.composite
def drawers(draw: st.DrawFn) -> list[Lead]:
    """Up to six leads between a few connectors."""
    return [
        lead(
            f"w{n}",
            f"{draw(ENDS)} > {draw(ENDS)}",
            length_m=draw(LENGTHS),
            max_a=draw(st.sampled_from([3.0, 5.0, 10.0])),
            mass_g=draw(st.integers(10, 200)),
            count=draw(st.integers(1, 2)),
        )
        for n in range(draw(st.integers(0, 6)))
    ]


@given(drawers(), drawers())
@settings(max_examples=60)
def test_one_more_lead_never_makes_a_heavier_kit(some: list[Lead], others: list[Lead]) -> None:
    radio = load(connector="pin", full_a=4.0)
    more = [lead(f"more-{one.id}", f"{one.from_connector} > {one.to_connector}", mass_g=one.mass_g) for one in others]
    before = packed(battery(), *some, radio, hours=0.5)
    after = packed(battery(), *some, *more, radio, hours=0.5)
    assert mass_or_inf(after) <= mass_or_inf(before)


@given(drawers(), st.sampled_from(["g", "pin"]), st.sampled_from(["pin", "flat", "x:socket"]))
@settings(max_examples=100)
def test_a_chain_fits_and_stays_within_the_stock(stock: list[Lead], start: str, end: str) -> None:
    source, sink = (Connector(*text.split(":")) for text in (start, end))  # type: ignore[arg-type]
    for chain in chains(stock, source, sink):
        here = source
        for piece in chain.pieces:
            assert here.mates_with(piece.near)
            here = piece.far
        assert here.mates_with(sink)
        assert len(chain.pieces) <= 3
        assert all(n <= next(one.count for one in stock if one.id == i) for i, n in chain.uses.items())
        # as strong as its weakest lead; each piece makes it longer, heavier and more resistive
        assert (
            chain.rated_a(Contacts()) <= min([30.0, *(p.lead.max_a or 0.0 for p in chain.pieces)]) or not chain.pieces
        )
        assert chain.mass_g == sum(p.lead.mass_g for p in chain.pieces)
