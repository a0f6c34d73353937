"""Extras that hang on something, by hand-worked kits; masses and lengths in the owner's units."""

from __future__ import annotations

from collections.abc import Iterator
from typing import Any

import pytest
from small_choices import Make, battery, controller, panel

from kitopt.explain import not_packed
from kitopt.inventory.items import Extra
from kitopt.operation.terms import LoadUse
from kitopt.report.words import mass, tell_in, wrapped


def extra(item_id: str, mass_g: int, *hangs_on: str, **more: Any) -> Extra:
    return Extra(id=item_id, name=item_id, mass_g=mass_g, hangs_on=hangs_on, price_cents=None, **more)


def counts(choice: Any) -> dict[str, int]:
    return {one.id: one.count for one in choice.packed}


PEGS = extra("pegs", 150, "panel", count=2)
MAST = extra("mast", 90, "other-panel", "cw")
TRIPOD = extra("tripod", 70, "lamp")
KEY = extra("key", 60, "cw")
BOOK = extra("book", 95)


def test_what_hangs_on_panels_goes_along_only_with_them(choose_for: Make) -> None:
    """10 W for 8 h are 80 Wh, of which a box holds 128: no panel. For 16 h it takes two boxes, 2,400 g, or one with a
    panel, its controller and the pegs, 1,200 + 300 + 100 + 2 x 150 = 1,900 g."""
    things = (battery(count=2), panel(), controller(), PEGS, MAST, TRIPOD, KEY, BOOK)
    short = choose_for(*things, sun_wm2=(500.0,))
    assert counts(short) == {"box-10": 1, "lamp": 1, "tripod": 1, "book": 1}
    assert short.mass_g == 1200 + 300 + 70 + 95
    assert {i: r.rule for i, r in not_packed(short).items() if i in ("pegs", "key", "mast")} == dict.fromkeys(
        ("pegs", "key", "mast"), "not-named"
    )
    long = choose_for(*things, sun_wm2=(500.0,), hours=16.0)
    assert counts(long) == {"box-10": 1, "fold-100": 1, "mppt-5": 1, "lamp": 1, "pegs": 2, "tripod": 1, "book": 1}
    assert long.mass_g == 1900 + 300 + 70 + 95


def test_what_hangs_on_panels_can_tip_the_balance(choose_for: Make) -> None:
    """With pegs of 450 g each the panel's way weighs 1,200 + 300 + 100 + 900 = 2,500 g, and two boxes 2,400 g."""
    things = (battery(count=2), panel(), controller(), extra("pegs", 450, "panel", count=2))
    choice = choose_for(*things, sun_wm2=(500.0,), hours=16.0)
    assert counts(choice) == {"box-10": 2, "lamp": 1}
    assert choice.proof.bound == pytest.approx(2400 + 300)


def test_an_unpriced_extra_keeps_no_panel_out_where_price_counts(choose_for: Make) -> None:
    """Two boxes cost 160; one with panel and controller 80 + 90 + 40 = 210, and at a panel of 20 it is 140."""
    things = (battery(count=2), controller(), PEGS)
    dear = choose_for(*things, panel(), sun_wm2=(500.0,), hours=16.0, least="price")
    cheap = choose_for(*things, panel(price_cents=2000), sun_wm2=(500.0,), hours=16.0, least="price")
    assert "fold-100" not in counts(dear)
    assert counts(cheap) == {"box-10": 1, "fold-100": 1, "mppt-5": 1, "lamp": 1, "pegs": 2}


def test_what_hangs_on_a_mode_goes_along_with_it(choose_for: Make) -> None:
    choice = choose_for(battery(), KEY, loads=(LoadUse("lamp", mode="cw"),))
    assert counts(choice) == {"box-10": 1, "lamp": 1, "key": 1}


@pytest.fixture
def pounds() -> Iterator[None]:
    tell_in(("lb", "ft"))
    yield
    tell_in(())


@pytest.mark.usefixtures("pounds")
def test_masses_in_pounds_and_ounces() -> None:
    """International yard and pound agreement of 1959: 453.59237 g, 0.3048 m; 8,360 / 453.592 = 18.43."""
    assert (mass(8360), mass(453), mass(28.349523125)) == ("18.43 lb", "16 oz", "1 oz")
    assert wrapped("nothing below 8,358 g works; over 5 m, 1,335 g or 0.9 kg; 5 A, 12 m/s, 3 mm², 4 g each") == [
        "nothing below 18.43 lb works; over 16.4 ft, 2.94 lb or 1.98 lb; 5 A, 12 m/s, 3",
        "mm², 0.141 oz each",
    ]


def test_masses_are_metric_without() -> None:
    assert (mass(8360), mass(453)) == ("8.36 kg", "453 g")
    assert wrapped("over 5 m, 1,335 g") == ["over 5 m, 1,335 g"]
