"""What each CSV file's rows may hold: one class a file, which is the one list of its columns."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, ClassVar

from pydantic import Field as Called

from kitopt.inventory import cells
from kitopt.inventory.families import is_off_bus
from kitopt.inventory.fields import (
    CONNECTOR,
    IDENTIFIER,
    WORDS,
    Blank,
    Flag,
    Number,
    OneOf,
    SomeOf,
    Table,
    Text,
    Told,
    Unless,
)
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import Connector

CHEMISTRIES = ("lifepo4", "agm", "li-ion")

USUAL_VMP_V = 18.0
VOC_OVER_VMP = 1.28
ISC_OVER_IMP = 1.1
UNKNOWN_AWG = 18

_MASS = Number("a mass", '740 or "1.6 lb"', "g", above=0, most=500_000, whole="half-up")
_MASS_OR_NONE = Number("a mass", '0, 60 or "2 oz"', "g", least=0, most=500_000, whole="half-up")
_COUNT = Number("a count", "1 or 3", least=0, most=1000, whole="exact")
_PRICE = Number("a price without its currency", "45 or 12.50", least=0, most=1_000_000, whole="cents")
_POWER = Number("a power in watts", '50 or "50 W"', "W", above=0, most=5000)
_VOLTAGE = Number("a voltage", '18 or "18 V"', "V", above=0, most=1000)
_CURRENT = Number("a current in amperes", '5 or "500 mA"', "A", above=0, most=1000)
_IDLE_CURRENT = Number("a current in amperes", '0.4 or "400 mA"', "A", least=0, most=1000)
_IDLE_POWER = Number("a power in watts", '3 or "3 W"', "W", least=0, most=5000)
_IDLE_MA = Number("a current in milliamperes", '10 or "0.01 A"', "mA", least=0, most=10_000)
_EFFICIENCY = Number("an efficiency", '0.95 or "95 %"', "share", above=0, most=1)
_CHARGE = Number("a capacity in ampere-hours", '12 or "4500 mAh"', "Ah", above=0, most=10_000)
_PER_DEGC = Number("a relative change per degree, not positive,", '-0.0035 or "-0.35 %"', "share", least=-0.02, most=0)
_LENGTH = Number("a length", '1.5 or "5 ft"', "m", least=0, most=1000)
_AREA = Number("an area in mm²", '2.5 or "2.5 mm²"', "mm**2", above=0, most=500)
_CONTACT = Number("a resistance of a mated pair in milliohms", '2 or "2 mohm"', "mohm", least=0, most=1000)

BATTERY_USUAL: dict[str, dict[str, float]] = {
    "lifepo4": {"nominal_v": 12.8, "efficiency": 0.98, "depth_share": 0.9, "lowest_charging_degc": 0.0},
    "agm": {"nominal_v": 12.0, "efficiency": 0.90, "depth_share": 0.5, "lowest_charging_degc": -20.0},
    "li-ion": {"nominal_v": 14.4, "efficiency": 0.98, "depth_share": 0.9, "lowest_charging_degc": 0.0},
}
CONTROLLER_USUAL: dict[str, dict[str, float]] = {
    "pwm": {"efficiency": 1.0, "idle_ma": 15.0},
    "mppt": {"efficiency": 0.95, "idle_ma": 40.0},
}


def _usual(column: str, of: str, usual: dict[str, dict[str, float]]) -> Unless:
    """What is usual for the word in another column."""
    told = ", ".join(f"{values[column]:g} for {word}" for word, values in usual.items())
    return Unless(told, lambda row: Blank(usual[getattr(row, of)][column], f"usual for {getattr(row, of)}"))


def _times(factor: float, column: str, rule: str) -> Unless:
    """A multiple of what another column holds."""
    return Unless(rule, lambda row: Blank(factor * getattr(row, column), rule))


def _vmp(row: Any) -> Blank:
    """From the other ratings where they tell it, else that of a panel for 12 V."""
    if row.imp_a is not None and (row.voc_v is None or row.rated_w / row.imp_a <= row.voc_v):
        return Blank(row.rated_w / row.imp_a, "rated_w over imp_a")
    if row.voc_v is not None and row.voc_v < VOC_OVER_VMP * USUAL_VMP_V:
        return Blank(row.voc_v / VOC_OVER_VMP, "voc_v over 1.28")
    return Blank(USUAL_VMP_V, "a panel for 12 V batteries has about 18 V")


def _imp(row: Any) -> Blank:
    imp_a = row.rated_w / row.vmp_v
    if row.isc_a is not None and row.isc_a < imp_a:
        return Blank(row.isc_a / ISC_OVER_IMP, "isc_a over 1.1, less than rated_w over vmp_v")
    return Blank(imp_a, "rated_w over vmp_v")


def _output(row: Any) -> Blank:
    if row.folding:
        return Blank(0.75, "folding panels give about 0.75 of the label")
    return Blank(0.9, "framed panels give about 0.9 of the label")


def _fuse_max(row: Any) -> Blank | None:
    if row.fuse_holder is None:
        return None
    return Blank(row.fuse_a or HOLDERS[row.fuse_holder].usual_a, "what is in it, or usual")


def _fuse_at(row: Any) -> Blank | None:
    has_fuse = row.fuse_a is not None or row.fuse_holder is not None
    return Blank(row.length_m, "taken to sit at the far end") if has_fuse else None


def _same(as_column: str, beside: str, rule: str) -> Unless:
    """The load's other state, where this one is given in neither amperes nor watts."""

    def of(row: Any) -> Blank | None:
        value = getattr(row, as_column)
        return Blank(value, rule) if value is not None and getattr(row, beside) is None else None

    return Unless(f"as {as_column}", of)


_ALWAYS_IDLE, _ALWAYS_FULL = "taken to draw its idle value always", "taken to draw its full value always"


def _supply(row: Any) -> Blank | None:
    family = row.connector.family
    return Blank(5.0, f"what lives on {family}") if is_off_bus(family) else None


def _currency(text: str) -> str:
    if len(text.strip()) > 10 or not text.isprintable():
        raise ValueError("no currency")
    return text.strip()


class ContactRow(Table):
    """A row of connectors.csv, about a family and not about an item."""

    KIND: ClassVar[str] = "connectors"

    family: Annotated[
        str,
        Text(cells.family, "a connector family without plug or socket, such as genderless-30"),
        Told("connector family whose usual values you replace"),
    ]
    contact_mohm: Annotated[float | None, _CONTACT, Told("resistance of a mated pair")] = None
    max_a: Annotated[float | None, _CURRENT, Told("most current")] = None


class FuseRow(Table):
    """A row of fuses.csv: fuses that can be changed, and how many of them."""

    KIND: ClassVar[str] = "fuses"

    rating_a: Annotated[
        float, Number("a rating in amperes", '7.5 or "7.5 A"', "A", above=0, most=1000), Told("what is printed on it")
    ]
    holder: Annotated[str, OneOf(tuple(HOLDERS)), Told("what it goes into")] = "blade"
    count: Annotated[int, _COUNT, Told("how many")] = 1


class Row(Table):
    """Columns of every file of items."""

    id: Annotated[str, IDENTIFIER, Told("one word of your own, used once in the whole inventory")]
    name: Annotated[str, WORDS, Told("what you call it")] = ""
    count: Annotated[int, _COUNT, Told("how many you own")] = 1
    mass_g: Annotated[int, _MASS, Told("mass of one")]
    price_cents: Annotated[int | None, _PRICE, Told("price of one")] = Called(None, alias="price")
    owner: Annotated[str, WORDS, Told("whose it is")] = ""
    tags: Annotated[
        tuple[str, ...], Text(cells.words, "words separated by blanks"), Told("words of your own, with blanks between")
    ] = ()
    notes: Annotated[str, WORDS, Told("for yourself")] = ""


class PanelRow(Row):
    """A row of panels.csv."""

    KIND: ClassVar[str] = "panels"

    rated_w: Annotated[float, _POWER, Told("power on its label")]
    vmp_v: Annotated[
        float | None, _VOLTAGE, Told("voltage at full power"), Unless("from the other ratings, else 18", _vmp)
    ] = None
    imp_a: Annotated[
        float | None, _CURRENT, Told("current at full power"), Unless("rated_w over vmp_v, within isc_a", _imp)
    ] = None
    voc_v: Annotated[
        float | None,
        _VOLTAGE,
        Told("voltage with nothing connected"),
        _times(VOC_OVER_VMP, "vmp_v", "1.28 times vmp_v, for limits"),
    ] = None
    isc_a: Annotated[
        float | None,
        _CURRENT,
        Told("short-circuit current"),
        _times(ISC_OVER_IMP, "imp_a", "1.1 times imp_a, for limits"),
    ] = None
    power_per_degc: Annotated[
        float | None,
        _PER_DEGC,
        Told("change of power with each degree"),
        Blank(-0.0045, "median of the module list that the CEC publishes"),
    ] = None
    voc_per_degc: Annotated[
        float | None,
        _PER_DEGC,
        Told("change of voc_v with each degree"),
        Blank(None, "the cold-voltage table's factor for an unknown coefficient", "by table"),
    ] = None
    connector: Annotated[Connector, CONNECTOR, Told("its own end")]
    second_connector: Annotated[Connector | None, CONNECTOR, Told("a second end, to join an identical panel")] = None
    tilts: Annotated[bool | None, Flag(), Told("whether it can be aimed"), Blank(False, "taken to lie flat")] = None
    folding: Annotated[bool | None, Flag(), Told("folding, not framed"), Blank(True, "taken as a folding panel")] = None
    output_factor: Annotated[
        float | None,
        Number("real output over label", '0.75 or "75 %"', "share", above=0, most=1.2),
        Told("real output over label"),
        Unless("0.75 for folding, 0.9 for framed", _output),
    ] = None


class BatteryRow(Row):
    """A row of batteries.csv."""

    KIND: ClassVar[str] = "batteries"

    chemistry: Annotated[str, OneOf(CHEMISTRIES), Told("what is in it")]
    nominal_v: Annotated[
        float | None,
        Number("a voltage", '12.8 or "12.8 V"', "V", above=0, most=100),
        Told("voltage on its label"),
        _usual("nominal_v", "chemistry", BATTERY_USUAL),
    ] = None
    capacity_ah: Annotated[float, _CHARGE, Told("capacity on its label")]
    measured_ah: Annotated[
        float | None,
        _CHARGE,
        Told("what a capacity test gave"),
        _times(0.9, "capacity_ah", "0.9 of the label until measured"),
    ] = None
    charged_on: Annotated[
        date | None,
        Text(cells.iso_date, "a date as year-month-day, such as 2026-10-09"),
        Told("day of its last full charge"),
    ] = None
    efficiency: Annotated[
        float | None,
        _EFFICIENCY,
        Told("ampere-hours out over those put in"),
        _usual("efficiency", "chemistry", BATTERY_USUAL),
    ] = None
    depth_share: Annotated[
        float | None,
        Number("a share", '0.9 or "90 %"', "share", above=0, most=1),
        Told("share of its capacity that you use"),
        _usual("depth_share", "chemistry", BATTERY_USUAL),
    ] = None
    max_charge_a: Annotated[
        float | None,
        _CURRENT,
        Told("most charging current, by its label"),
        _times(0.2, "capacity_ah", "0.2 of capacity_ah per hour"),
    ] = None
    max_discharge_a: Annotated[
        float | None,
        _CURRENT,
        Told("most current that its label or protection allows"),
        _times(0.5, "capacity_ah", "0.5 of capacity_ah per hour"),
    ] = None
    lowest_charging_degc: Annotated[
        float | None,
        Number("a temperature in °C", '0, -20 or "14 °F"', "degC", least=-60, most=40),
        Told("coldest cells that may be charged"),
        _usual("lowest_charging_degc", "chemistry", BATTERY_USUAL),
    ] = None
    fused: Annotated[
        bool | None,
        Flag(),
        Told("whether its plug has a fuse; its electronics are none"),
        Unless(
            "no, unless fuse_a is given",
            lambda row: Blank(False, "taken to have no fuse of its own") if row.fuse_a is None else Blank(True),
        ),
    ] = None
    fuse_a: Annotated[float | None, _CURRENT, Told("rating of that fuse")] = None
    connector: Annotated[Connector, CONNECTOR, Told("its own end")]


class ControllerRow(Row):
    """A row of controllers.csv."""

    KIND: ClassVar[str] = "controllers"

    kind: Annotated[str, OneOf(tuple(CONTROLLER_USUAL)), Told("how it works")]
    max_charge_a: Annotated[float, _CURRENT, Told("most current into the battery")]
    max_pv_v: Annotated[
        float | None,
        _VOLTAGE,
        Told("most panel voltage"),
        Blank(None, "no panel's cold voltage is checked against it; read its label", "not given"),
    ] = None
    max_pv_a: Annotated[float | None, _CURRENT, Told("most panel current, where its label has it")] = None
    max_pv_w: Annotated[float | None, _POWER, Told("most panel power, where its label has it")] = None
    efficiency: Annotated[
        float | None, _EFFICIENCY, Told("power out over in"), _usual("efficiency", "kind", CONTROLLER_USUAL)
    ] = None
    idle_ma: Annotated[
        float | None, _IDLE_MA, Told("what it draws itself"), _usual("idle_ma", "kind", CONTROLLER_USUAL)
    ] = None
    pv_connector: Annotated[Connector, CONNECTOR, Told("its end for panels")]
    battery_connector: Annotated[Connector, CONNECTOR, Told("its end for the battery")]
    chemistries: Annotated[
        tuple[str, ...],
        SomeOf(CHEMISTRIES, '"lifepo4 agm"'),
        Told("what it can be set to charge, with blanks between"),
        Blank((), "taken to fit; check its setting", "any"),
    ] = ()
    rf: Annotated[
        str | None,
        OneOf(("quiet", "hash", "unknown")),
        Told("whether your radio hears it"),
        Blank("unknown", "listen for its noise before the outing"),
    ] = None
    boost: Annotated[bool, Flag(), Told("yes: it also steps up")] = False
    start_above_v: Annotated[float | None, _VOLTAGE, Told("panel voltage below which it does not start")] = None


class LeadRow(Row):
    """A row of leads.csv."""

    KIND: ClassVar[str] = "leads"

    from_connector: Annotated[Connector, CONNECTOR, Told("one end")] = Called(alias="from")
    to_connector: Annotated[Connector, CONNECTOR, Told("other end")] = Called(alias="to")
    length_m: Annotated[float, _LENGTH, Told("length; an adapter is a short lead")]
    awg: Annotated[
        int | None,
        Number("a wire gauge", "12 or 18", least=0, most=40, whole="exact"),
        Told("wire gauge, or area_mm2"),
        Unless(
            f"{UNKNOWN_AWG} where area_mm2 is blank too",
            lambda row: Blank(UNKNOWN_AWG, "taken as a thin lead") if row.area_mm2 is None else None,
        ),
    ] = None
    area_mm2: Annotated[float | None, _AREA, Told("area of one conductor, or awg")] = None
    ways: Annotated[
        int,
        Number("a number of ways", "1, 2 for a Y or 6 for a strip", least=1, most=48, whole="exact"),
        Told("2 for a Y, 6 for a strip of six"),
    ] = 1
    fuse_a: Annotated[float | None, _CURRENT, Told("its fixed fuse, or what is in its holder now")] = None
    fuse_at_m: Annotated[
        float | None,
        _LENGTH,
        Told("where the fuse sits, from the `from` end"),
        Unless("length_m where there is a fuse", _fuse_at),
    ] = None
    fuse_holder: Annotated[str | None, OneOf(tuple(HOLDERS)), Told("where the fuse can be changed: its sort")] = None
    fuse_max_a: Annotated[
        float | None, _CURRENT, Told("largest fuse that the holder takes"), Unless("what is in it, or usual", _fuse_max)
    ] = None
    max_a: Annotated[float | None, _CURRENT, Told("most current, where it is printed on it")] = None


class ConverterRow(Row):
    """A row of converters.csv."""

    KIND: ClassVar[str] = "converters"

    from_connector: Annotated[Connector, CONNECTOR, Told("its end towards the battery")] = Called(alias="from")
    to_connector: Annotated[Connector, CONNECTOR, Told("its end towards the load")] = Called(alias="to")
    out_v: Annotated[float, _VOLTAGE, Told("voltage that it makes")]
    max_w: Annotated[float, _POWER, Told("most power that it gives")]
    efficiency: Annotated[
        float | None, _EFFICIENCY, Told("power out over in"), Blank(0.85, "usual for a converter")
    ] = None
    idle_ma: Annotated[float | None, _IDLE_MA, Told("what it draws itself"), Blank(10.0, "usual for a converter")] = (
        None
    )
    ports: Annotated[
        int,
        Number("a number of ports", "1 or 2", least=1, most=12, whole="exact"),
        Told("loads that one of it feeds at a time"),
    ] = 1


class LoadRow(Row):
    """A row of loads.csv."""

    KIND: ClassVar[str] = "loads"

    idle_a: Annotated[
        float | None,
        _IDLE_CURRENT,
        Told("current when receiving or idle, or idle_w"),
        _same("full_a", "idle_w", _ALWAYS_FULL),
    ] = None
    idle_w: Annotated[
        float | None,
        _IDLE_POWER,
        Told("power when receiving or idle, or idle_a"),
        _same("full_w", "idle_a", _ALWAYS_FULL),
    ] = None
    full_a: Annotated[
        float | None,
        _IDLE_CURRENT,
        Told("current at full output, or full_w"),
        _same("idle_a", "full_w", _ALWAYS_IDLE),
    ] = None
    full_w: Annotated[
        float | None, _IDLE_POWER, Told("power at full output, or full_a"), _same("idle_w", "full_a", _ALWAYS_IDLE)
    ] = None
    supply_v: Annotated[
        float | None,
        _VOLTAGE,
        Told("voltage that it wants; other than the battery's: by a converter"),
        Unless("5 where it is fed by USB", _supply),
    ] = None
    lowest_v: Annotated[float | None, _VOLTAGE, Told("lowest voltage at which it works")] = None
    highest_v: Annotated[float | None, _VOLTAGE, Told("highest voltage that it bears")] = None
    connector: Annotated[Connector, CONNECTOR, Told("its own end")]
    own_lead: Annotated[
        bool, Flag(), Told("yes where that is the end of its maker's lead, taken with its fuse as it is")
    ] = False


class ExtraRow(Row):
    """A row of extras.csv."""

    KIND: ClassVar[str] = "extras"

    mass_g: Annotated[int, _MASS_OR_NONE, Told("mass of one")]


class SettingsTable(Table):
    """inventory.toml."""

    currency: Annotated[
        str, Text(_currency, 'a currency, such as "EUR"'), Told("in which the prices are written", '"EUR"')
    ] = ""
