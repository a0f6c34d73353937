"""Cells: what is a number, and what only looks like one."""

from __future__ import annotations

import math
from datetime import date

import pytest
from hypothesis import given
from hypothesis import strategies as st

from kitopt.files import units
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
        "1,5",
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


def test_a_decimal_comma_counts_only_where_the_file_allows_it() -> None:
    assert cells.number("7,4", None, decimal_comma=True) == 7.4
    assert cells.number("7.4", None, decimal_comma=True) == 7.4
    assert cells.number("1,5 kg", "g", decimal_comma=True) == 1500
    for text in ("1,2,3", "1.234,5", ",5"):
        with pytest.raises(ValueError):  # noqa: PT011
            cells.number(text, None, decimal_comma=True)


# The international yard and pound agreement of 1959 defines lb = 0.45359237 kg and yd = 0.9144 m,
# hence oz = lb/16, ft = 0.3048 m and in = 25.4 mm, all exact; 0 °C = 32 °F.
@pytest.mark.parametrize(
    ("text", "unit", "value"),
    [
        ("3 lb 2 oz", "g", 3 * 453.59237 + 2 * 28.349523125),
        ("3lb2oz", "g", 3 * 453.59237 + 2 * 28.349523125),
        ("1.6 lbs", "g", 1.6 * 453.59237),
        ("2 LB", "g", 2 * 453.59237),
        ("1.5 KG", "g", 1500),
        ("25 ft", "m", 25 * 0.3048),
        ("6' 2\"", "m", 6 * 0.3048 + 2 * 0.0254),
        ("500 mA", "A", 0.5),
        ("2 amps", "A", 2),
        ("4500 mAh", "Ah", 4.5),
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
     ("kg", "g"), ("5 °C 3 °C", "degC"), ("1e400 kg", "g"), ("3 __import__", "g")],
)  # fmt: skip
def test_a_unit_of_something_else_is_refused(text: str, unit: str) -> None:
    with pytest.raises(ValueError):  # noqa: PT011
        cells.number(text, unit)


@pytest.mark.parametrize(("unit", "target"), units._WITHOUT_PINT)
def test_conversions_made_without_pint_are_pints(unit: str, target: str) -> None:
    import pint

    expected = pint.UnitRegistry().Quantity(1.0, unit).to(target).magnitude
    assert units.to_unit([(1.0, unit)], target) == pytest.approx(expected, rel=1e-12)


def test_common_units_do_not_load_pint() -> None:
    import subprocess
    import sys

    code = (
        "import sys; from kitopt.inventory.cells import number; number('1.5 kg', 'g'); sys.exit('pint' in sys.modules)"
    )
    assert subprocess.run([sys.executable, "-c", code], check=False).returncode == 0


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


@given(st.text(max_size=40), st.sampled_from([None, "g", "m", "degC", "mm**2"]), st.booleans())
def test_any_text_gives_a_finite_number_or_value_error(text: str, unit: str | None, decimal_comma: bool) -> None:
    try:
        value = cells.number(text, unit, decimal_comma)
    except ValueError:
        return
    assert math.isfinite(value)
    assert any(char in "0123456789" for char in text)
