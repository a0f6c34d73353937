"""What each CSV file's rows may hold: column, meaning, range and example, as pydantic models."""

from __future__ import annotations

from datetime import date
from typing import Annotated, Any, get_args

from pydantic import BaseModel, ConfigDict, Field

from kitopt.inventory import cells
from kitopt.inventory.fields import CONNECTOR, IDENTIFIER, WORDS, Flag, Number, OneOf, SomeOf, Text
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import Connector

CHEMISTRIES = ("lifepo4", "agm", "li-ion")

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


class ContactRow(BaseModel):
    """A row of connectors.csv, about a family and not about an item."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    family: Annotated[str, Text(cells.family, "a connector family without plug or socket, such as genderless-30")]
    contact_mohm: (
        Annotated[
            float, Number("a resistance of a mated pair in milliohms", '2 or "2 mohm"', "mohm", least=0, most=1000)
        ]
        | None
    ) = None
    max_a: Annotated[float, _CURRENT] | None = None


class FuseRow(BaseModel):
    """A row of fuses.csv: fuses that can be changed, and how many of them."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, frozen=True)

    rating_a: Annotated[float, Number("a rating in amperes", '7.5 or "7.5 A"', "A", above=0, most=1000)]
    holder: Annotated[str, OneOf(tuple(HOLDERS))] = "blade"
    count: Annotated[int, _COUNT] = 1


class Row(BaseModel):
    """Columns of every file of items."""

    model_config = ConfigDict(extra="forbid", allow_inf_nan=False, arbitrary_types_allowed=True, frozen=True)

    id: Annotated[str, IDENTIFIER]
    name: Annotated[str, WORDS] = ""
    count: Annotated[int, _COUNT] = 1
    mass_g: Annotated[int, _MASS]
    price: Annotated[int, _PRICE] | None = None
    owner: Annotated[str, WORDS] = ""
    tags: Annotated[tuple[str, ...], Text(cells.words, "words separated by blanks")] = ()
    notes: Annotated[str, WORDS] = ""


class PanelRow(Row):
    """A row of panels.csv."""

    rated_w: Annotated[float, _POWER]
    vmp_v: Annotated[float, _VOLTAGE] | None = None
    imp_a: Annotated[float, _CURRENT] | None = None
    voc_v: Annotated[float, _VOLTAGE] | None = None
    isc_a: Annotated[float, _CURRENT] | None = None
    power_per_degc: Annotated[float, _PER_DEGC] | None = None
    voc_per_degc: Annotated[float, _PER_DEGC] | None = None
    connector: Annotated[Connector, CONNECTOR]
    second_connector: Annotated[Connector, CONNECTOR] | None = None
    tilts: Annotated[bool, Flag()] | None = None
    folding: Annotated[bool, Flag()] | None = None
    output_factor: (
        Annotated[float, Number("real output over label", '0.75 or "75 %"', "share", above=0, most=1.2)] | None
    ) = None


class BatteryRow(Row):
    """A row of batteries.csv."""

    chemistry: Annotated[str, OneOf(CHEMISTRIES)]
    nominal_v: Annotated[float, Number("a voltage", '12.8 or "12.8 V"', "V", above=0, most=100)] | None = None
    capacity_ah: Annotated[float, _CHARGE]
    measured_ah: Annotated[float, _CHARGE] | None = None
    charged_on: Annotated[date, Text(cells.iso_date, "a date as year-month-day, such as 2026-10-09")] | None = None
    efficiency: Annotated[float, _EFFICIENCY] | None = None
    depth_share: Annotated[float, Number("a share", '0.9 or "90 %"', "share", above=0, most=1)] | None = None
    max_charge_a: Annotated[float, _CURRENT] | None = None
    max_discharge_a: Annotated[float, _CURRENT] | None = None
    lowest_charging_degc: (
        Annotated[float, Number("a temperature in °C", '0, -20 or "14 °F"', "degC", least=-60, most=40)] | None
    ) = None
    fused: Annotated[bool, Flag()] | None = None
    fuse_a: Annotated[float, _CURRENT] | None = None
    connector: Annotated[Connector, CONNECTOR]


class ControllerRow(Row):
    """A row of controllers.csv."""

    kind: Annotated[str, OneOf(("pwm", "mppt"))]
    max_charge_a: Annotated[float, _CURRENT]
    max_pv_v: Annotated[float, _VOLTAGE] | None = None
    max_pv_a: Annotated[float, _CURRENT] | None = None
    max_pv_w: Annotated[float, _POWER] | None = None
    efficiency: Annotated[float, _EFFICIENCY] | None = None
    idle_ma: Annotated[float, _IDLE_MA] | None = None
    pv_connector: Annotated[Connector, CONNECTOR]
    battery_connector: Annotated[Connector, CONNECTOR]
    chemistries: Annotated[tuple[str, ...], SomeOf(CHEMISTRIES, '"lifepo4 agm"')] = ()
    rf: Annotated[str, OneOf(("quiet", "hash", "unknown"))] | None = None
    boost: Annotated[bool, Flag()] | None = None
    start_above_v: Annotated[float, _VOLTAGE] | None = None


class LeadRow(Row):
    """A row of leads.csv."""

    from_: Annotated[Connector, CONNECTOR] = Field(alias="from")
    to: Annotated[Connector, CONNECTOR]
    length_m: Annotated[float, _LENGTH]
    awg: Annotated[int, Number("a wire gauge", "12 or 18", least=0, most=40, whole="exact")] | None = None
    area_mm2: Annotated[float, Number("an area in mm²", '2.5 or "2.5 mm²"', "mm**2", above=0, most=500)] | None = None
    ways: Annotated[
        int, Number("a number of ways", "1, 2 for a Y or 6 for a strip", least=1, most=48, whole="exact")
    ] = 1
    fuse_a: Annotated[float, _CURRENT] | None = None
    fuse_at_m: Annotated[float, _LENGTH] | None = None
    fuse_holder: Annotated[str, OneOf(tuple(HOLDERS))] | None = None
    fuse_max_a: Annotated[float, _CURRENT] | None = None
    max_a: Annotated[float, _CURRENT] | None = None


class ConverterRow(Row):
    """A row of converters.csv."""

    from_: Annotated[Connector, CONNECTOR] = Field(alias="from")
    to: Annotated[Connector, CONNECTOR]
    out_v: Annotated[float, _VOLTAGE]
    max_w: Annotated[float, _POWER]
    efficiency: Annotated[float, _EFFICIENCY] | None = None
    idle_ma: Annotated[float, _IDLE_MA] | None = None
    ports: Annotated[int, Number("a number of ports", "1 or 2", least=1, most=12, whole="exact")] = 1


class LoadRow(Row):
    """A row of loads.csv."""

    idle_a: Annotated[float, _IDLE_CURRENT] | None = None
    idle_w: Annotated[float, _IDLE_POWER] | None = None
    full_a: Annotated[float, _IDLE_CURRENT] | None = None
    full_w: Annotated[float, _IDLE_POWER] | None = None
    supply_v: Annotated[float, _VOLTAGE] | None = None
    lowest_v: Annotated[float, _VOLTAGE] | None = None
    highest_v: Annotated[float, _VOLTAGE] | None = None
    connector: Annotated[Connector, CONNECTOR]
    own_lead: Annotated[bool, Flag()] = False


class ExtraRow(Row):
    """A row of extras.csv."""

    mass_g: Annotated[int, _MASS_OR_NONE]


def columns_of(model: type[BaseModel]) -> dict[str, bool]:
    """Return the model's columns, each with whether it is required."""
    return {field.alias or name: field.is_required() for name, field in model.model_fields.items()}


def annotations_of(model: type[BaseModel], column: str) -> list[Any]:
    """Return what a column's field is annotated with; nothing for a column that is not known."""
    for name, field in model.model_fields.items():
        if column == (field.alias or name):
            return field.metadata or list(getattr(_annotated(field.annotation), "__metadata__", ()))
    return []


def _annotated(annotation: Any) -> Any:
    """The annotated part of an optional field."""
    return next((one for one in get_args(annotation) if hasattr(one, "__metadata__")), None)


def is_number(model: type[BaseModel], column: str) -> bool:
    """Return whether a column holds numbers."""
    return any(isinstance(part, Number) for part in annotations_of(model, column))


def is_word_of(model: type[BaseModel], column: str, text: str) -> bool:
    """Return whether a word is one of those that a column takes."""
    return any(isinstance(part, OneOf) and text.lower() in part.choices for part in annotations_of(model, column))
