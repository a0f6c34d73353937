"""What is usual for every quantity and ratio that an owner writes down, in one table; and the judge of a row.

A decade or more outside the usual is a mistake in writing (grams for kilograms, milliampere-hours for ampere-hours):
a fault that shows the other readings. Outside the usual but nearer, it is asked about. Prices are left out.
"""

from __future__ import annotations

import math
import re
from collections.abc import Callable, Mapping
from dataclasses import dataclass, replace
from typing import Any, Literal

from kitopt.files.faults import quoted
from kitopt.files.units import to_unit
from kitopt.inventory.cells import is_percent
from kitopt.inventory.columns import Table, columns_of
from kitopt.inventory.fields import Number, Value
from kitopt.inventory.fill import awg_to_mm2
from kitopt.inventory.rows import BATTERY_USUAL

PRACTICE = "common practice, from memory"
CEC = "CEC 2019 module list as pvlib carries it: median and 5–95 %, widened for thin and new panels from memory"
ABYC = "ampacities after ABYC E-11, second-hand: 24 A/mm² at 18 AWG, 11 at 10 AWG; the low end from memory"
ASTM = "ASTM B258 areas at 17.241 Ω mm²/km: 22 AWG 53, 2 AWG 0.5 mΩ/m; which are carried, from memory"

DECADE = 10.0
NEAR = 2.0
"""A reading this many times outside the usual, at most, is one that may have been meant."""

Side = Literal["low", "high", ""]


@dataclass(frozen=True)
class Range:
    """One quantity or ratio.

    Attributes
    ----------
    kind : str
        File or table in which its columns stand.
    columns : tuple of str
        Columns whose mistake it can be; a finding is told at the first.
    what, unit : str
        Its name and unit, as they are told.
    low, high : float
        The usual, from lowest to highest.
    source : str
        Where the usual comes from.
    of : callable or None
        From a row to the value, None where a cell that it needs is blank; without it the value of the first column.
    worse : {"low", "high", ""}
        On which side of the usual the value keeps an item out of a kit.
    has_decade : bool
        Whether ten times outside is a fault; not so for temperatures, which have no true zero.
    """

    kind: str
    columns: tuple[str, ...]
    what: str
    unit: str
    low: float
    high: float
    source: str = PRACTICE
    of: Callable[[Any], float | None] | None = None
    worse: Side = ""
    has_decade: bool = True

    def value(self, row: Any) -> float | None:
        """Return its value in a row; None where it cannot be told."""
        found = getattr(row, self.columns[0], None) if self.of is None else self.of(row)
        # nothing at all is a statement, not a slip
        return None if not found else float(found)

    def holds(self, value: float, times: float = 1.0) -> bool:
        """Return whether a value lies in the usual, made wider on both sides by a factor."""
        if self.low <= value <= self.high:
            return True
        if not self.has_decade:
            return False
        low, high = sorted((abs(self.low), abs(self.high)))
        is_same_sign = value * (self.high or self.low) > 0
        # nine digits: 0.1 times 2.2 is no more than 0.22
        return is_same_sign and low / times * (1 - 1e-9) <= abs(value) <= high * times * (1 + 1e-9)

    def keeps_out(self, value: float) -> bool:
        """Return whether a value outside the usual lies on the side on which it keeps an item out."""
        is_above = value > self.high if not self.has_decade else abs(value) > max(abs(self.low), abs(self.high))
        return self.worse == ("high" if is_above else "low")


def _over(upper: str, *lower: str) -> Callable[[Any], float | None]:
    """One column over the product of others."""

    def ratio(row: Any) -> float | None:
        value = getattr(row, upper)
        for name in lower:
            below = getattr(row, name)
            if value is None or not below:
                return None
            value /= below
        return None if value is None else float(value)

    return ratio


def _only(column: str, word: object, of: Callable[[Any], float | None]) -> Callable[[Any], float | None]:
    """A ratio for rows with one word in a column."""
    return lambda row: of(row) if getattr(row, column) == word else None


def _g_per_wh(row: Any) -> float:
    return float(row.mass_g / (row.capacity_ah * (row.nominal_v or BATTERY_USUAL[row.chemistry]["nominal_v"])))


def _label(row: Any) -> float | None:
    return None if None in (row.vmp_v, row.imp_a) else float(row.vmp_v * row.imp_a / row.rated_w)


def _area_mm2(row: Any) -> float | None:
    return row.area_mm2 if row.area_mm2 is not None or row.awg is None else awg_to_mm2(row.awg)


def _mohm_per_m(row: Any) -> float | None:
    area = _area_mm2(row)
    return None if area is None else 17.241 / area


def _a_per_mm2(column: str) -> Callable[[Any], float | None]:
    def density(row: Any) -> float | None:
        amps, area = getattr(row, column), _area_mm2(row)
        return None if amps is None or area is None else float(amps / area)

    return density


def _darkest(row: Any) -> float | None:
    return None if isinstance(row.weather, str) else min((share for share in row.weather if share), default=None)


def _lead_mass(row: Any) -> float | None:
    """Mass over that of a twin lead: 12 g and 25.4 g per mm² each metre (18 AWG 30, 10 AWG 145 g/m), plugs, ways."""
    area = _area_mm2(row)
    return None if area is None else float(row.mass_g / (20 + 25 * (row.ways - 1) + row.length_m * (12 + 25.4 * area)))


_GLASS = "common practice, from memory: folding panels of 10 to 200 W weigh 22 to 50 g/W, framed glass to 80"

RANGES: tuple[Range, ...] = (
    # ---- panels
    Range("panels", ("rated_w",), "a panel's label", "W", 2, 500),
    Range("panels", ("vmp_v",), "a panel's voltage", "V", 4.5, 50),
    Range("panels", ("voc_v",), "a panel's open-circuit voltage", "V", 5, 60, worse="high"),
    Range("panels", ("imp_a",), "a panel's current", "A", 0.1, 20, worse="low"),
    Range("panels", ("isc_a",), "a panel's short-circuit current", "A", 0.1, 22, worse="high"),
    Range("panels", ("rated_w", "vmp_v", "imp_a"), "vmp_v times imp_a over rated_w", "W/W", 0.75, 1.25, of=_label),
    Range("panels", ("voc_v", "vmp_v"), "voc_v over vmp_v", "V/V", 1.05, 1.45, CEC, _over("voc_v", "vmp_v")),
    Range("panels", ("isc_a", "imp_a"), "isc_a over imp_a", "A/A", 1.0, 1.25, CEC, _over("isc_a", "imp_a")),
    Range("panels", ("mass_g", "rated_w"), "mass per watt", "g/W", 18, 90, _GLASS, _over("mass_g", "rated_w"), "high"),
    Range("panels", ("power_per_degc",), "the change of power", "per K", -0.0055, -0.0024, CEC, worse="low"),
    Range("panels", ("voc_per_degc",), "the change of open-circuit voltage", "per K", -0.0045, -0.002, CEC),
    Range("panels", ("usb_w",), "what a panel's USB socket gives", "W", 2, 30, worse="low"),
    Range("panels", ("height_cm",), "a panel's height", "cm", 15, 200),
    Range("panels", ("output_factor",), "real output over label", "W/W", 0.5, 1.05, worse="low"),
    # ---- batteries
    Range("batteries", ("capacity_ah",), "a capacity", "Ah", 1, 320),
    Range("batteries", ("nominal_v",), "a battery's voltage", "V", 3, 52),
    *(
        Range(
            "batteries",
            ("mass_g", "capacity_ah"),
            f"mass per watt-hour of {chemistry}",
            "g/Wh",
            low,
            high,
            of=_only("chemistry", chemistry, _g_per_wh),
            worse="high",
        )
        for chemistry, low, high in (("lifepo4", 7, 14), ("agm", 21, 36), ("li-ion", 4, 11))
    ),
    Range(
        "batteries",
        ("measured_ah", "capacity_ah"),
        "measured_ah over capacity_ah",
        "Ah/Ah",
        0.5,
        1.15,
        of=_over("measured_ah", "capacity_ah"),
        worse="low",
    ),
    Range("batteries", ("efficiency",), "a battery's efficiency", "0–1", 0.75, 1, worse="low"),
    Range("batteries", ("depth_share",), "a usable share", "0–1", 0.3, 1, worse="low"),
    Range(
        "batteries",
        ("max_charge_a", "capacity_ah"),
        "charging current per ampere-hour",
        "A/Ah",
        0.1,
        1.2,
        of=_over("max_charge_a", "capacity_ah"),
        worse="low",
    ),
    Range(
        "batteries",
        ("max_discharge_a", "capacity_ah"),
        "discharging current per ampere-hour",
        "A/Ah",
        0.3,
        6,
        of=_over("max_discharge_a", "capacity_ah"),
        worse="low",
    ),
    Range(
        "batteries",
        ("lowest_charging_degc",),
        "a lowest charging temperature",
        "°C",
        -30,
        10,
        worse="high",
        has_decade=False,
    ),
    # ---- controllers
    Range("controllers", ("max_charge_a",), "a controller's current", "A", 2, 60, worse="low"),
    Range("controllers", ("max_pv_v",), "a controller's panel voltage", "V", 20, 150, worse="low"),
    Range("controllers", ("max_pv_a",), "a controller's panel current", "A", 2, 60, worse="low"),
    Range(
        "controllers",
        ("max_pv_w", "max_charge_a"),
        "panel watts per ampere of charge",
        "W/A",
        8,
        65,
        of=_over("max_pv_w", "max_charge_a"),
        worse="low",
    ),
    *(
        Range(
            "controllers",
            ("mass_g", "max_charge_a"),
            f"mass per ampere of {kind}",
            "g/A",
            low,
            high,
            of=_only("kind", kind, _over("mass_g", "max_charge_a")),
            worse="high",
        )
        for kind, low, high in (("pwm", 5, 26), ("mppt", 12, 80))
    ),
    Range("controllers", ("efficiency",), "a controller's efficiency", "0–1", 0.85, 1, worse="low"),
    Range("controllers", ("idle_ma",), "a controller's own draw", "mA", 1, 60, worse="high"),
    # ---- leads
    Range("leads", ("length_m",), "a lead's length", "m", 0.05, 30),
    Range("leads", ("area_mm2", "awg"), "resistance per metre of wire", "mΩ/m", 0.5, 90, ASTM, _mohm_per_m, "high"),
    Range("leads", ("mass_g", "length_m"), "mass over that of a twin lead", "g/g", 0.35, 4, of=_lead_mass),
    Range("leads", ("max_a", "area_mm2", "awg"), "current per area", "A/mm²", 2, 27, ABYC, _a_per_mm2("max_a"), "low"),
    Range("leads", ("fuse_a", "area_mm2", "awg"), "fuse per area", "A/mm²", 0.5, 27, ABYC, _a_per_mm2("fuse_a")),
    # ---- converters
    Range("converters", ("out_v",), "a converter's voltage", "V", 3, 50),
    Range("converters", ("max_w",), "a converter's power", "W", 5, 300, worse="low"),
    Range(
        "converters", ("mass_g", "max_w"), "mass per watt", "g/W", 0.8, 15, of=_over("mass_g", "max_w"), worse="high"
    ),
    Range("converters", ("efficiency",), "a converter's efficiency", "0–1", 0.75, 0.99, worse="low"),
    Range("converters", ("idle_ma",), "a converter's own draw", "mA", 0.5, 60, worse="high"),
    # ---- loads and extras
    Range("loads", ("mass_g",), "a load's mass", "g", 30, 15_000),
    Range("loads", ("idle_a",), "a load's idle current", "A", 0.01, 3, worse="high"),
    Range("loads", ("idle_w",), "a load's idle power", "W", 0.05, 40, worse="high"),
    Range("loads", ("full_a",), "a load's full current", "A", 0.03, 30, worse="high"),
    Range("loads", ("full_w",), "a load's full power", "W", 0.2, 300, worse="high"),
    Range("loads", ("battery_wh",), "a load's own battery", "Wh", 0.5, 120, worse="low"),
    Range("loads", ("supply_v",), "a load's voltage", "V", 3, 50),
    Range("loads", ("lowest_v",), "a load's lowest voltage", "V", 2.5, 48),
    Range("loads", ("highest_v",), "a load's highest voltage", "V", 3.5, 60),
    Range("extras", ("mass_g",), "an extra's mass", "g", 5, 10_000),
    # ---- connector families
    Range("connectors", ("contact_mohm",), "a mated pair's resistance", "mΩ", 0.2, 50, worse="high"),
    Range("connectors", ("max_a",), "a connector's current", "A", 1, 120, worse="low"),
    # ---- operations and plans
    Range("operation", ("hours",), "an outing's length", "h", 0.5, 24 * 30),
    Range("operation", ("panel_distance_m",), "a distance of panels", "m", 1, 30),
    Range("site", ("coldest_degc",), "the coldest air", "°C", -45, 35, has_decade=False),
    Range("site", ("warmest_degc",), "the warmest air", "°C", -35, 50, has_decade=False),
    Range("need", ("confidence",), "a confidence", "0–1", 0.5, 1),
    Range("need", ("reserve",), "a reserve", "0–1", 0.05, 0.5, of=lambda row: row.reserve[0]),
    Range("need", ("reserve",), "a reserve of energy", "Wh", 1, 3000, of=lambda row: row.reserve[1]),
    Range("need", ("weather",), "a daily share of clear sky", "0–1", 0.03, 1.1, of=_darkest),
    Range("need", ("start_charge",), "a charge at the start", "0–1", 0.2, 1),
    Range("limits", ("mass_g",), "a kit's limit of mass", "g", 500, 200_000),
    Range("uses", ("full_share",), "a share of full draw", "0–1", 0.05, 1),
    Range("uses", ("transmit",), "a share on the air", "0–1", 0.02, 1),
    Range("uses", ("wh_per_day",), "energy a day", "Wh", 1, 3000),
    Range("bags", ("mass_g",), "a bag's mass", "g", 500, 60_000),
)

_IN_TOML = ("operation", "site", "need", "limits", "uses", "bags")
_BY_KIND = {kind: tuple(one for one in RANGES if one.kind == kind) for kind in {one.kind for one in RANGES}}

# the unit kept first, then those that it is mistaken for; each with its name
_READINGS: dict[str, dict[str, str]] = {
    "g": {"g": "grams", "kg": "kilograms"},
    "Ah": {"Ah": "ampere-hours", "mAh": "milliampere-hours"},
    "A": {"A": "amperes", "mA": "milliamperes"},
    "mA": {"mA": "milliamperes", "A": "amperes"},
    "W": {"W": "watts", "mW": "milliwatts", "kW": "kilowatts"},
    "V": {"V": "volts", "mV": "millivolts"},
    "m": {"m": "metres", "cm": "centimetres", "mm": "millimetres"},
    "Wh": {"Wh": "watt-hours", "kWh": "kilowatt-hours"},
    "mohm": {"mohm": "milliohms", "ohm": "ohms"},
    "share": {"": "a plain share", "%": "percent"},
}
_SINGLE = re.compile(r"\s*([+−-]?[0-9.,]+(?:[eE][+-]?[0-9]+)?)\s*([^0-9.,]*?)\.?\s*")


@dataclass(frozen=True)
class Usual:
    """The usual values of one column of one thing.

    Attributes
    ----------
    worse : {"low", "high", ""}
        Towards which end it keeps its thing out of a kit; empty where that depends.
    """

    low: float
    high: float
    worse: Side


def usual(kind: str, thing: Any, column: str) -> Usual | None:
    """The usual values of a column, the thing's others being what they are; None where nothing is known.

    Where several quantities and ratios speak of the column, what is usual to all of them.
    """
    found: Usual | None = None
    for one in _BY_KIND.get(kind, ()):
        here = _usual_of(one, thing, column) if column in one.columns else None
        if here is not None and found is None:
            found = here
        elif here is not None and found is not None:
            found = Usual(max(found.low, here.low), min(found.high, here.high), found.worse or here.worse)
    return found if found is not None and found.low < found.high else None


def _usual_of(one: Range, thing: Any, column: str) -> Usual | None:
    """What one quantity or ratio says of a column: itself, or that which it is proportional to."""
    if one.of is None:
        return Usual(one.low, one.high, one.worse)
    here, value = getattr(thing, column), one.value(thing)
    if not here or not value:
        return None
    twice = one.value(replace(thing, **{column: 2 * here})) or 0.0
    if math.isclose(twice, 2 * value):
        return Usual(here * one.low / value, here * one.high / value, one.worse)
    if math.isclose(twice, value / 2):
        other: dict[Side, Side] = {"low": "high", "high": "low", "": ""}
        return Usual(here * value / one.high, here * value / one.low, other[one.worse])
    return None


@dataclass(frozen=True)
class Finding:
    """A value outside the usual: a fault when it must be a mistake in writing, otherwise to be asked about."""

    column: str
    text: str
    is_fault: bool
    keeps_out: bool = False
    """Whether it lies on the side on which it keeps the item out of a kit."""


def judge(row: Table, written: Mapping[str, object], decimal: str | None) -> list[Finding]:
    """Hold a row to what is usual.

    Parameters
    ----------
    row : Table
        The row as checked, blanks still None.
    written : mapping
        What stands in each column that is not blank.
    decimal : str or None
        The file's decimal mark.

    Returns
    -------
    list of Finding
        At most one that blames each column.
    """
    outside = []
    for one in _BY_KIND.get(row.KIND, ()):
        value = one.value(row)
        if value is None or one.holds(value):
            continue
        columns = [column for column in one.columns if column in written]
        if columns:
            meant = {column: _meant(one, row, column, written[column], decimal) for column in columns}
            is_far = one.has_decade and not one.holds(value, DECADE)
            # a percentage of a percentage, though less than a decade off
            is_slip = any(meant[column] and is_percent(written[column]) for column in columns)
            outside.append((one, value, columns, meant, is_far or is_slip))
    found: list[Finding] = []
    blamed: set[str] = set()
    # what must be a mistake is told before what is merely asked
    for one, value, columns, meant, is_fault in sorted(outside, key=lambda entry: not entry[-1]):
        if blamed & set(columns):
            continue
        text = _told(one, value, columns, written, meant, is_fault=is_fault)
        found.append(Finding(columns[0], text, is_fault, one.keeps_out(value)))
        blamed.update(columns if is_fault else columns[:1])
    return found


def _meant(one: Range, row: Table, column: str, written: object, decimal: str | None) -> dict[str, str]:
    """How a cell can be written so that the value is usual: text, and the names of its unit now and then."""
    single = _SINGLE.fullmatch(str(written))
    field = columns_of(type(row))[column].field
    if single is None or not isinstance(field, Number | Value):
        return {}
    if isinstance(field, Value) and is_percent(written):
        # a share that must be written in percent, and was meant as a plain one
        value = 100 * (one.value(row) or 0.0)
        return {f"{100 * value:g} %": "percent or a plain share"} if one.holds(value, NEAR) else {}
    kept = field.unit if isinstance(field, Number) else one.unit
    names = _READINGS.get(kept or "", {})
    now = _unit_now(kept, single[2])
    found = {}
    for unit, name in names.items():
        if now in (None, unit):
            continue
        text = f"{single[1]} {unit}".strip()
        try:
            other = row.model_copy(update={column: field.read(text, decimal)})
        except ValueError:
            continue
        values = {of: of.value(other) for of in _BY_KIND[one.kind] if of is one or of.columns == (column,)}
        if values[one] is not None and all(value is None or of.holds(value, NEAR) for of, value in values.items()):
            found[text] = f"{names[now or '']} or {name}"
    return found


def _unit_now(kept: str | None, written: str) -> str | None:
    """The reading that a cell's own unit stands for, None for a unit that is mistaken for no other."""
    readings = _READINGS.get(kept or "", {})
    if kept == "share":
        return "%" if written.startswith("%") else ""
    if not written:
        return kept
    try:
        factor = to_unit([(1.0, written)], kept or "")
    except ValueError:
        return None
    return next((unit for unit in readings if to_unit([(1.0, unit)], kept or "") == factor), None)


def _told(
    one: Range,
    value: float,
    columns: list[str],
    written: Mapping[str, object],
    meant: Mapping[str, Mapping[str, str]],
    *,
    is_fault: bool,
) -> str:
    """The finding in words, with every reading that would be usual."""
    text = f"found {quoted(written[columns[0]])}"
    if len(columns) > 1:
        text += f" beside {' and '.join(f'{column} {quoted(written[column])}' for column in columns[1:])}"
    usual = f"{one.low:,.10g} to {one.high:,.10g}" + (f" {one.unit}" if one.unit != "0–1" else "")
    is_ratio = len(one.columns) > 1
    text += (
        f": {one.what} is {float(f'{value:.3g}'):,.10g} {one.unit}, usually" if is_ratio else f", {one.what} is usually"
    )
    text += f" {usual}"
    readings = [(column, other, names) for column in columns for other, names in meant[column].items()]
    if not readings:
        correction = "correct it." if one.unit == "0–1" else "correct it, with its unit."
        return f"{text}; {correction if is_fault else 'is it so?'}"
    first = columns[0]
    question = next((f"{names}? " for column, _, names in readings if column == first), "")
    # a value with a unit stands in quotation marks in TOML
    written_as = '"{}"' if one.kind in _IN_TOML else "{}"
    ways = [written_as.format(other) if column == first else f"{column} {other}" for column, other, _ in readings]
    return f"{text}: {question}Write {' or '.join(ways)}{', whichever is meant' if len(ways) > 1 else ''}."
