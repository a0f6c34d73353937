"""What each CSV file's rows may hold: one class a file, which is the one list of its columns."""

from __future__ import annotations

from datetime import date, datetime
from typing import Annotated as As
from typing import Any, ClassVar

from pydantic import Field as Called

from kitopt.inventory import cells
from kitopt.inventory.columns import Blank, Such, Table, Unless
from kitopt.inventory.families import is_off_bus
from kitopt.inventory.fields import (
    CONNECTOR,
    IDENTIFIER,
    WORDS,
    Flag,
    Number,
    OneOf,
    SomeOf,
    Text,
)
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import Connector

CHEMISTRIES = ("lifepo4", "agm", "li-ion")
_CELL_WORDS = {
    **dict.fromkeys(("lfp", "lifepo", "life", "lifepo₄", "lithium iron phosphate"), "lifepo4"),
    **dict.fromkeys(("liion", "li ion", "lithium-ion", "lithium ion", "nmc", "18650"), "li-ion"),
}
_CELL_ANSWERS = {
    **dict.fromkeys(
        ("lithium", "li"), "Write lifepo4 where its label says 12.8 V, li-ion where it says 11.1 or 14.4 to 14.8 V."
    ),
    **dict.fromkeys(
        ("lead", "lead-acid", "lead acid", "pb", "sla", "vrla", "gel"),
        "Write agm where it is sealed; no other lead battery is known.",
    ),
}
_CELL = OneOf(CHEMISTRIES, _CELL_WORDS, _CELL_ANSWERS)
_HEARD = OneOf(
    ("quiet", "hash", "unknown"),
    {**dict.fromkeys(("noisy", "noise"), "hash"), **dict.fromkeys(("silent", "clean"), "quiet")},
)
_NO_FUSE = "A BMS is no fuse: write no, or yes where its plug has one."
_HAS_FUSE = Flag(dict.fromkeys(("bms", "electronics", "protected"), _NO_FUSE))
_HANGING = "packed only with: panel, a panel's or load's id, or a mode. Blank: always"

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
_BATTERY_V = Number("a voltage", '12.8 or "12.8 V"', "V", above=0, most=100)
_CURRENT = Number("a current in amperes", '5 or "500 mA"', "A", above=0, most=1000)
_FUSE = Number("a rating in amperes", '7.5 or "7.5 A"', "A", above=0, most=1000)
_IDLE_A = Number("a current in amperes", '0.4 or "400 mA"', "A", least=0, most=1000)
_IDLE_W = Number("a power in watts", '3 or "3 W"', "W", least=0, most=5000)
_IDLE_MA = Number("a current in milliamperes", '10 or "0.01 A"', "mA", least=0, most=10_000)
_EFFICIENCY = Number("an efficiency", '0.95 or "95 %"', "share", above=0, most=1)
_SHARE = Number("a share", '0.9 or "90 %"', "share", above=0, most=1)
_OWN_WH = Number("an energy in watt-hours", '11 or "11 Wh"', "Wh", above=0, most=10_000)
_CHARGE = Number("a capacity in ampere-hours", '12 or "4500 mAh"', "Ah", above=0, most=10_000)
_PER_DEGC = Number("a relative change per degree, not positive,", '-0.0035 or "-0.35 %"', "share", least=-0.02, most=0)
_OUTPUT = Number("real output over label", '0.75 or "75 %"', "share", above=0, most=1.2)
_DEGC = Number("a temperature in °C", '0, -20 or "14 °F"', "degC", least=-60, most=40)
_HEIGHT = Number("a height", '55 or "22 in"', "cm", above=0, most=500)
_LENGTH = Number("a length", '1.5 or "5 ft"', "m", least=0, most=1000)
_AREA = Number("an area in mm²", '2.5 or "2.5 mm²"', "mm**2", above=0, most=500)
_AWG = Number("a wire gauge", "12 or 18", least=0, most=40, whole="exact")
_WAYS = Number("a number of ways", "1, 2 for a Y or 6 for a strip", least=1, most=48, whole="exact")
_PORTS = Number("a number of ports", "1 or 2", least=1, most=12, whole="exact")
_CONTACT = Number("a resistance of a mated pair in milliohms", '2 or "2 mohm"', "mohm", least=0, most=1000)
_FAMILY = Text(cells.family, "a connector family without plug or socket, such as genderless-30")
_WORD_LIST = Text(cells.words, "words separated by blanks")
_ROLES = Text(lambda text: cells.words(text.lower()), "words separated by blanks")
_DATE = Text(cells.iso_date, "a date as year-month-day, such as 2026-10-09")

_MOMENT = Text(cells.moment, "a date and time with its offset, such as 2027-06-12T12:30+02:00")
_READ_A = Number("a current in amperes", '3.2 or "320 mA"', "A", least=-50, most=200)
OFF = Number("a share", '0.04 or "4 %"', "share", least=0, most=0.5)
_WORTH = Number("a share", '0.72 or "72 %"', "share", least=0, most=3)
_ODDS = Number("a share", '0.9 or "90 %"', "share", least=0, most=1)

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


def _supply(row: Any) -> Blank | None:
    family = row.connector.family
    if is_off_bus(family):
        return Blank(5.0, f"what lives on {family}")
    return Blank(None, "taken to run from any battery", "any") if row.lowest_v is row.highest_v is None else None


def _currency(text: str) -> str:
    if len(text.strip()) > 10 or not text.isprintable():
        raise ValueError("no currency")
    return text.strip()


def _fused(row: Any) -> Blank:
    return Blank(True) if row.fuse_a is not None else Blank(False, "taken to have no fuse of its own")


def _gauge(row: Any) -> Blank | None:
    return Blank(UNKNOWN_AWG, "taken as a thin lead") if row.area_mm2 is None else None


_POWER_PER_DEGC = Blank(-0.0045, "median of the module list that the CEC publishes")
_VOC_PER_DEGC = Blank(None, "the cold-voltage table's factor for an unknown coefficient", "by table")
_NO_LIMIT = Blank(None, "no panel's cold voltage is checked against it; read its label", "not given")
_ANY_SETTING = Blank((), "taken to fit; check its setting", "any")
_UNHEARD = Blank("unknown", "listen for its noise before the outing")
_CURRENCY = Text(_currency, 'a currency, such as "EUR"')
_SETTINGS = SomeOf(CHEMISTRIES, '"lifepo4 agm"', _CELL_WORDS)
_UNITS = SomeOf(("kg", "m", "lb", "ft"), '"lb ft"')
_REAL = Unless("0.75 for folding, 0.9 for framed", _output)
_FUSED = Unless("no, unless fuse_a is given", _fused)
_THIN = Unless(f"{UNKNOWN_AWG} where area_mm2 is blank too", _gauge)
_FAR_END = Unless("length_m where there is a fuse", _fuse_at)
_LARGEST = Unless("what is in it, or usual", _fuse_max)
_USB = Unless("5 where it is fed by USB, else any where lowest_v and highest_v are blank too", _supply)
_VMP = Unless(f"from the other ratings, else {USUAL_VMP_V:g}", _vmp)
_IMP = Unless("rated_w over vmp_v, within isc_a", _imp)
_VOC = _times(VOC_OVER_VMP, "vmp_v", "1.28 times vmp_v, for limits")
_ISC = _times(ISC_OVER_IMP, "imp_a", "1.1 times imp_a, for limits")
_MEASURED = _times(0.9, "capacity_ah", "0.9 of the label until measured")
_CHARGING = _times(0.2, "capacity_ah", "0.2 of capacity_ah per hour")
_DISCHARGING = _times(0.5, "capacity_ah", "0.5 of capacity_ah per hour")
_CELLS = {column: _usual(column, "chemistry", BATTERY_USUAL) for column in BATTERY_USUAL["agm"]}
_TRACKING = {column: _usual(column, "kind", CONTROLLER_USUAL) for column in CONTROLLER_USUAL["pwm"]}
_CONVERTER = "usual for a converter"
_IDLE, _FULL = "taken to draw its idle value always", "taken to draw its full value always"


class ContactRow(Table):
    """A row of connectors.csv, about a family and not about an item."""

    KIND: ClassVar[str] = "connectors"

    family: As[str, _FAMILY, "connector family whose usual values you replace"]
    contact_mohm: As[float | None, _CONTACT, "resistance of a mated pair"] = None
    max_a: As[float | None, _CURRENT, "most current"] = None


class FuseRow(Table):
    """A row of fuses.csv: fuses that can be changed, and how many of them."""

    KIND: ClassVar[str] = "fuses"

    rating_a: As[float, _FUSE, "what is printed on it"]
    holder: As[str, OneOf(tuple(HOLDERS)), "what it goes into"] = "blade"
    count: As[int, _COUNT, "how many"] = 1


class ReadingRow(Table):
    """A row of readings.csv, which `kitopt reading --keep` writes: what a panel, battery or lead showed when."""

    KIND: ClassVar[str] = "readings"

    at: As[datetime, _MOMENT, "when, with the offset of the clock there"]
    panel: As[str, IDENTIFIER, "id of the panel"] = ""
    controller: As[str, WORDS, "id of its controller"] = ""
    amps: As[float | None, _READ_A, "amperes into the battery, or through the lead"] = None
    worth: As[float | None, _WORTH, "amperes over those of a panel exactly as its label, there and then"] = None
    rated_w: As[float | None, _POWER, "the label that worth is told over, where it is not the panel's own"] = None
    normal: As[float, _ODDS, "how likely it was that nothing was wrong"] = 1.0
    sky: As[str, WORDS, "sky, as declared"] = ""
    aim: As[str, WORDS, "aim, as declared"] = ""
    battery: As[str, IDENTIFIER, "id of the battery, of which discharged_ah is told"] = ""
    discharged_ah: As[float | None, _CHARGE, "what it gave from full until it was empty"] = None
    lead: As[str, IDENTIFIER, "id of the lead, of which amps, near_v and far_v are told"] = ""
    near_v: As[float | None, _VOLTAGE, "volts between its pins at the end that feeds it"] = None
    far_v: As[float | None, _VOLTAGE, "volts between its pins at the other end"] = None


class Row(Table):
    """Columns of every file of items."""

    id: As[str, IDENTIFIER, "one word of your own, used once in the whole inventory"]
    name: As[str, WORDS, "what you call it"] = ""
    count: As[int, _COUNT, "how many you own"] = 1
    mass_g: As[int, _MASS, "mass of one"]
    price_cents: As[int | None, _PRICE, "price of one"] = Called(None, alias="price")
    owner: As[str, WORDS, "whose it is"] = ""
    tags: As[tuple[str, ...], _WORD_LIST, "words of your own, with blanks between"] = ()
    notes: As[str, WORDS, "for yourself"] = ""
    out: As[bool, Flag(), "yes where it is lent or broken, so that it stays at home"] = False


class PanelRow(Row):
    """A row of panels.csv."""

    KIND: ClassVar[str] = "panels"

    rated_w: As[float, _POWER, "power on its label"]
    vmp_v: As[float | None, _VOLTAGE, "voltage at full power", _VMP] = None
    imp_a: As[float | None, _CURRENT, "current at full power", _IMP] = None
    voc_v: As[float | None, _VOLTAGE, "voltage with nothing connected", _VOC] = None
    isc_a: As[float | None, _CURRENT, "short-circuit current", _ISC] = None
    power_per_degc: As[float | None, _PER_DEGC, "change of power with each degree", _POWER_PER_DEGC] = None
    voc_per_degc: As[float | None, _PER_DEGC, "change of voc_v with each degree", _VOC_PER_DEGC] = None
    connector: As[Connector, CONNECTOR, "its own end"]
    second_connector: As[Connector | None, CONNECTOR, "a second end, to join an identical panel"] = None
    tilts: As[bool | None, Flag(), "whether it can be aimed", Blank(False, "taken to lie flat")] = None
    folding: As[bool | None, Flag(), "folding, not framed", Blank(True, "taken as a folding panel")] = None
    output_factor: As[float | None, _OUTPUT, "real output over label", _REAL] = None
    usb_w: As[float | None, _POWER, "most that its own USB socket gives; blank where it has none"] = None
    height_cm: As[float | None, _HEIGHT, "between the edge on the ground and the one that is raised"] = None


class BatteryRow(Row):
    """A row of batteries.csv."""

    KIND: ClassVar[str] = "batteries"

    chemistry: As[str, _CELL, "what is in it"]
    nominal_v: As[float | None, _BATTERY_V, "voltage on its label", _CELLS["nominal_v"]] = None
    capacity_ah: As[float, _CHARGE, "capacity on its label"]
    measured_ah: As[float | None, _CHARGE, "what a capacity test gave", _MEASURED] = None
    charged_on: As[date | None, _DATE, "day of its last full charge"] = None
    efficiency: As[float | None, _EFFICIENCY, "ampere-hours out over those put in", _CELLS["efficiency"]] = None
    depth_share: As[float | None, _SHARE, "share of its capacity that you use", _CELLS["depth_share"]] = None
    max_charge_a: As[float | None, _CURRENT, "most charging current, by its label", _CHARGING] = None
    max_discharge_a: As[float | None, _CURRENT, "most current, by its label or protection", _DISCHARGING] = None
    lowest_charging_degc: As[float | None, _DEGC, "coldest that it may be charged", _CELLS["lowest_charging_degc"]] = (
        None
    )
    fused: As[bool | None, _HAS_FUSE, "whether its plug has a fuse; its electronics are none", _FUSED] = None
    fuse_a: As[float | None, _CURRENT, "rating of that fuse"] = None
    connector: As[Connector, CONNECTOR, "its own end"]


class ControllerRow(Row):
    """A row of controllers.csv."""

    KIND: ClassVar[str] = "controllers"

    kind: As[str, OneOf(tuple(CONTROLLER_USUAL)), "how it works"]
    max_charge_a: As[float, _CURRENT, "most current into the battery"]
    max_pv_v: As[float | None, _VOLTAGE, "most panel voltage", _NO_LIMIT] = None
    max_pv_a: As[float | None, _CURRENT, "most panel current, where its label has it"] = None
    max_pv_w: As[float | None, _POWER, "most panel power, where its label has it"] = None
    efficiency: As[float | None, _EFFICIENCY, "power out over in", _TRACKING["efficiency"]] = None
    idle_ma: As[float | None, _IDLE_MA, "what it draws itself", _TRACKING["idle_ma"]] = None
    pv_connector: As[Connector, CONNECTOR, "its end for panels"]
    battery_connector: As[Connector, CONNECTOR, "its end for the battery"]
    chemistries: As[tuple[str, ...], _SETTINGS, "what it can be set to charge, with blanks between", _ANY_SETTING] = ()
    rf: As[str | None, _HEARD, "whether your radio hears it", _UNHEARD] = None
    boost: As[bool, Flag(), "yes: it also steps up"] = False
    start_above_v: As[float | None, _VOLTAGE, "panel voltage below which it does not start"] = None


class LeadRow(Row):
    """A row of leads.csv."""

    KIND: ClassVar[str] = "leads"

    from_connector: As[Connector, CONNECTOR, "one end"] = Called(alias="from")
    to_connector: As[Connector, CONNECTOR, "other end"] = Called(alias="to")
    length_m: As[float, _LENGTH, "length; an adapter is a short lead"]
    awg: As[int | None, _AWG, "wire gauge, or area_mm2", _THIN] = None
    area_mm2: As[float | None, _AREA, "area of one conductor, or awg"] = None
    ways: As[int, _WAYS, "2 for a Y, 6 for a strip of six"] = 1
    fuse_a: As[float | None, _CURRENT, "its fixed fuse, or what is in its holder now"] = None
    fuse_at_m: As[float | None, _LENGTH, "where the fuse sits, from the `from` end", _FAR_END] = None
    fuse_holder: As[str | None, OneOf(tuple(HOLDERS)), "where the fuse can be changed: its sort"] = None
    fuse_max_a: As[float | None, _CURRENT, "largest fuse that the holder takes", _LARGEST] = None
    max_a: As[float | None, _CURRENT, "most current, where it is printed on it"] = None


class ConverterRow(Row):
    """A row of converters.csv."""

    KIND: ClassVar[str] = "converters"

    from_connector: As[Connector, CONNECTOR, "its end towards the battery"] = Called(alias="from")
    to_connector: As[Connector, CONNECTOR, "its end towards the load"] = Called(alias="to")
    out_v: As[float, _VOLTAGE, "voltage that it makes"]
    max_w: As[float, _POWER, "most power that it gives"]
    efficiency: As[float | None, _EFFICIENCY, "power out over in", Blank(0.85, _CONVERTER)] = None
    idle_ma: As[float | None, _IDLE_MA, "what it draws itself", Blank(10.0, _CONVERTER)] = None
    ports: As[int, _PORTS, "loads that one of it feeds at a time"] = 1


class LoadRow(Row):
    """A row of loads.csv."""

    KIND: ClassVar[str] = "loads"

    idle_a: As[float | None, _IDLE_A, "current when idle or receiving, or idle_w", _same("full_a", "idle_w", _FULL)] = (
        None
    )
    idle_w: As[float | None, _IDLE_W, "power when idle or receiving, or idle_a", _same("full_w", "idle_a", _FULL)] = (
        None
    )
    full_a: As[float | None, _IDLE_A, "current at full output, or full_w", _same("idle_a", "full_w", _IDLE)] = None
    full_w: As[float | None, _IDLE_W, "power at full output, or full_a", _same("idle_w", "full_a", _IDLE)] = None
    supply_v: As[float | None, _VOLTAGE, "voltage that it wants; another than the battery's: by a converter", _USB] = (
        None
    )
    lowest_v: As[float | None, _VOLTAGE, "lowest voltage at which it works"] = None
    highest_v: As[float | None, _VOLTAGE, "highest voltage that it bears"] = None
    connector: As[Connector, CONNECTOR, "its own end"]
    battery_wh: As[float | None, _OWN_WH, "energy of its own battery, charged at a panel's USB socket"] = None
    own_lead: As[bool, Flag(), "yes where that is the end of its maker's lead, taken with its fuse as it is"] = False
    role: As[tuple[str, ...], _ROLES, "what it is for, such as hf: one load stands in for another of its role"] = ()


class ExtraRow(Row):
    """A row of extras.csv."""

    KIND: ClassVar[str] = "extras"

    mass_g: As[int, _MASS_OR_NONE, "mass of one"]
    hangs_on: As[tuple[str, ...], _WORD_LIST, _HANGING] = Called((), alias="with")


class SettingsTable(Table):
    """inventory.toml."""

    currency: As[str, _CURRENCY, "in which the prices are written", Such('"EUR"')] = ""
    units: As[tuple[str, ...], _UNITS, "in which masses and lengths are told; JSON stays metric", Such('"kg m"')] = ()
    meter: As[float, OFF, "what your meter may be off by in all readings alike", Such('"0 %"')] = 0.0
