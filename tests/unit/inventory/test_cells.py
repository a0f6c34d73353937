"""Cells: what is a number, and what only looks like one."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitopt.files.marks import Ambiguous, decimal_mark
from kitopt.files.units import UNITS, to_unit
from kitopt.inventory import cells
from kitopt.inventory.items import Connector


@pytest.mark.parametrize(
    ("text", "value"),
    [("740", 740), (" 7.4 ", 7.4), (".5", 0.5), ("5.", 5), ("-20", -20), ("+3", 3), ("1e3", 1000), ("−4", -4)],
)
def test_a_plain_number_is_read(text: str, value: float) -> None:
    assert cells.number(text, None) == value


@pytest.mark.parametrize(
    "text",
    [
        "1_000",
        "nan",
        "inf",
        "-Infinity",
        "1e400",
        "７４",
        "٣",
        "0x10",
        ",5",
        "1,2,3",
        "7.4.1",
        "",
        " ",
        "--1",
        "1e",
        "½",
        "1" * 61,
    ],
)
@pytest.mark.parametrize("unit", [None, "g"])
def test_what_only_looks_like_a_number_is_refused(text: str, unit: str | None) -> None:
    with pytest.raises(ValueError):  # noqa: PT011 - the caller words the complaint
        cells.number(text, unit)


@pytest.mark.parametrize(
    ("text", "value"),
    [
        ("7,4", 7.4),
        ("0.500", 0.5),
        ("1.234,5", 1234.5),
        ("1,234,567", 1234567),
        ("1234.567", 1234.567),
        ("1.234e3", 1234),
        ("-0,35", -0.35),
    ],
)
def test_a_number_that_can_be_read_one_way_only_needs_no_file(text: str, value: float) -> None:
    for decimal in (None, ".", ","):
        assert cells.number(text, None, decimal) == value


@pytest.mark.parametrize(
    ("text", "thousands", "decimals"),
    [("1,500", "1500", "1.5"), ("1.234", "1234", "1.2340"), ("1,500 g", "1500 g", "1.5 g"), ("-2.000", "-2000", "-2")],
)
def test_a_number_that_can_be_read_two_ways_is_settled_by_the_file_or_refused(
    text: str, thousands: str, decimals: str
) -> None:
    with pytest.raises(Ambiguous) as caught:
        cells.number(text, "g")
    assert (caught.value.thousands, caught.value.decimals) == (thousands, decimals)
    # each reading as it is shown can be read one way only, and is what the file's mark makes of the cell
    read = {cells.number(text, "g", mark) for mark in (".", ",")}
    assert read == {cells.number(thousands, "g"), cells.number(decimals, "g")}


@pytest.mark.parametrize(
    ("texts", "mark"),
    [
        (["12,5"], ","),
        (["1.45 kg", "1,500"], "."),
        (["1,5", "1.5"], None),
        (["1.500", "2,250"], None),
        (["3 lb 2.5 oz"], "."),
        (["-0,35 %/K"], ","),
        (["model 1.5", "1.5.toml", "12"], None),
    ],
)
def test_one_amount_that_can_be_read_one_way_settles_the_file(texts: list[str], mark: str | None) -> None:
    assert decimal_mark(texts) == mark


# The international yard and pound agreement of 1959 defines lb = 0.45359237 kg and yd = 0.9144 m,
# hence oz = lb/16, ft = 0.3048 m and in = 25.4 mm, all exact; 0 °C = 32 °F.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("3 lb 2 oz", "g", 3 * 453.59237 + 2 * 28.349523125),
        ("3lb2oz", "g", 3 * 453.59237 + 2 * 28.349523125),
        ("120 gr", "g", 120),
        ("120 gram", "g", 120),
        ("1.6 lbs", "g", 1.6 * 453.59237),
        ("2 LB", "g", 2 * 453.59237),
        ("1.5 KG", "g", 1500),
        ("25 ft", "m", 25 * 0.3048),
        ("6' 2\"", "m", 6 * 0.3048 + 2 * 0.0254),
        ("500 mA", "A", 0.5),
        ("2 amps", "A", 2),
        ("4500 mAh", "Ah", 4.5),
        ("4500 MAH", "Ah", 4.5),
        ("0.03 kWh", "Wh", 30),
        ("2.5 mm²", "mm**2", 2.5),
        ("2.5 mm2", "mm**2", 2.5),
        ("14 °F", "degC", -10),
        ("-4 F", "degC", -20),
        ("5 °C", "degC", 5),
    ],
)
def test_a_unit_in_the_cell_is_converted(text: str, unit: str, value: float) -> None:
    assert cells.number(text, unit) == pytest.approx(value, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "unit"),
    [("3 lb", "m"), ("100 Wh", "Ah"), ("7,4x", "g"), ("3 parsnips", "g"), ("5 kg x", "g"), ("1 lb -2 oz", "g"),
     ("kg", "g"), ("5 °C 3 °C", "degC"), ("1e400 kg", "g"), ("3 __import__", "g"),
     ("120 grains", "g"), ("5 MW", "W")],
)  # fmt: skip
def test_a_unit_of_something_else_is_refused(text: str, unit: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        cells.number(text, unit)


# pint's own names where it spells a unit otherwise, or reads something else (attometre per second, gravity, grain)
PINTS = {
    **dict.fromkeys(("amp", "amps"), "ampere"), **dict.fromkeys(("g", "gr", "gm", "gramme", "grammes"), "gram"),
    **dict.fromkeys(("kgs", "kilo", "kilos"), "kilogram"), "lbs": "lb", "'": "foot", "′": "foot", '"': "inch",
    "″": "inch", "mm2": "mm**2", "mm²": "mm**2", "sqmm": "mm**2", "cm²": "cm**2", "ohms": "ohm",
}  # fmt: skip


@pytest.mark.parametrize(("unit", "target"), [(unit, target) for target, of in UNITS.items() for unit in of])
def test_every_unit_is_pints(unit: str, target: str) -> None:
    """Checked against the reference library pint."""
    import pint

    quantity = pint.UnitRegistry(cache_folder=None).Quantity(1.0, PINTS.get(unit, unit))
    assert to_unit([(1.0, unit)], target) == pytest.approx(quantity.to(target).magnitude, rel=1e-12)


@pytest.mark.parametrize(
    ("text", "value"),
    [("-0.3 %/K", -0.003), ("-0.35%/°C", -0.0035), ("95 %", 0.95), ("0.95", 0.95), ("-0.004", -0.004), ("55 %", 0.55)],
)
def test_a_share_may_be_a_percentage(text: str, value: float) -> None:
    assert cells.share(text) == value


@pytest.mark.parametrize("text", ["95 percent", "%", "1 %%", "95 % x", "nan %", "1e400 %"])
def test_what_is_no_share_is_refused(text: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        cells.share(text)


def test_connectors() -> None:
    assert cells.connector("genderless-30") == Connector("genderless-30")
    assert cells.connector("barrel-5.5x2.1:plug") == Connector("barrel-5.5x2.1", "plug")
    assert str(cells.connector("pv-latch:socket")) == "pv-latch:socket"
    assert cells.connector("PV-Latch:Socket") == cells.connector("pv-latch:socket")
    for text in ("a:b", "a:plug:socket", ":plug", "a b", "", "-a"):
        with pytest.raises(ValueError):  # noqa: PT011
            cells.connector(text)


def test_dates_and_answers() -> None:
    assert cells.iso_date("2026-10-09") == date(2026, 10, 9)
    for text in ("09/10/2026", "20261009", "2026-13-01", "2026-W41-5", "２０２６-10-09"):
        with pytest.raises(ValueError):  # noqa: PT011
            cells.iso_date(text)
    assert cells.yes_no("Yes") is True
    assert cells.yes_no("no") is False
    with pytest.raises(ValueError):  # noqa: PT011
        cells.yes_no("1")


@given(st.text(max_size=40), st.sampled_from([None, "g", "m", "degC", "mm**2"]), st.sampled_from([None, ".", ","]))
def test_any_text_gives_a_finite_number_or_value_error(text: str, unit: str | None, decimal: str | None) -> None:
    try:
        value = cells.number(text, unit, decimal)
    except ValueError:
        return
    assert math.isfinite(value)
    assert any(char in "0123456789" for char in text)
