"""What is owned, as frozen typed values with every blank already filled."""

from __future__ import annotations

from collections.abc import Callable, Mapping
from dataclasses import dataclass, field, replace
from datetime import date, datetime
from typing import Any, Literal

from kitopt.inventory.families import Side, mate

Chemistry = Literal["lifepo4", "agm", "li-ion"]

MODES = {"ssb": 0.4, "ssb-compressed": 0.6, "cw": 0.5, "fm": 1.0, "data": 1.0}
"""Modes of a load that transmits, and its mean over full draw meanwhile."""


@dataclass(frozen=True)
class Connector:
    """One end of a lead or device: a family and, where the family has two sides, which one.

    Written ``family`` when it mates with itself, ``family:plug`` or ``family:socket`` otherwise.
    """

    family: str
    side: Side = ""

    def mates_with(self, other: Connector) -> bool:
        """Whether the two can be joined by hand, by the table of families."""
        return mate(self.family, self.side, other.family, other.side)

    def __str__(self) -> str:
        return f"{self.family}:{self.side}" if self.side else self.family


@dataclass(frozen=True)
class Assumed:
    """A value that the owner left blank and the program filled in, or that it learned from kept readings."""

    file: str
    id: str
    column: str
    value: str
    rule: str
    is_learned: bool = False


@dataclass(frozen=True)
class Unusual:
    """A value outside what is usual for such a thing, to be asked about.

    Attributes
    ----------
    keeps_out : bool
        Whether it lies on the side on which it keeps the item out of a kit.
    """

    file: str
    line: int
    id: str
    column: str
    text: str
    keeps_out: bool

    def __str__(self) -> str:
        return f"{self.file}, line {self.line}, {self.id}, column {self.column}: {self.text}"


@dataclass(frozen=True, kw_only=True)
class Item:
    """What every owned thing has.

    Attributes
    ----------
    mass_g : int
        Mass of one. [g]
    price_cents : int or None
        Price of one in hundredths of the inventory's currency; None when unknown.
    file, line : str, int
        Where it is written.
    """

    id: str
    name: str
    count: int = 1
    mass_g: int
    price_cents: int | None = None
    owner: str = ""
    tags: tuple[str, ...] = ()
    notes: str = ""
    out: bool = False
    """Lent or broken: its count is 0 then, whatever its file says."""
    file: str = ""
    line: int = 0


@dataclass(frozen=True, kw_only=True)
class Panel(Item):
    """A photovoltaic panel at standard test conditions.

    Attributes
    ----------
    power_per_degc, voc_per_degc : float
        Relative change of power and open-circuit voltage per kelvin, negative, such as -0.004.
        ``voc_per_degc`` is None when unknown: the cold-voltage rule then takes a table's factor.
    output_factor : float
        Real output over label, 0 to 1.2: its worth, or the mean of what that may be.
    worth_spread : float
        Relative standard deviation of that; 0 where it is certain.
    height_cm : float or None
        Between the edge that stays on the ground and the one that is raised. [cm]
    """

    rated_w: float
    vmp_v: float
    imp_a: float
    voc_v: float
    isc_a: float
    power_per_degc: float
    voc_per_degc: float | None
    connector: Connector
    second_connector: Connector | None = None
    tilts: bool
    folding: bool
    output_factor: float
    worth_spread: float = 0.0
    usb_w: float | None = None
    """What its own USB socket gives at most; None where it has none. [W]"""
    height_cm: float | None = None


@dataclass(frozen=True, kw_only=True)
class Battery(Item):
    """A battery with its own protection limits.

    Attributes
    ----------
    efficiency : float
        Ampere-hours that come out over those put in, 0 to 1; what the higher voltage of charging costs is counted
        apart.
    discharge_efficiency : float
        Ampere-hours delivered over those taken from the store, 0 to 1.
    depth_share : float
        Share of the measured capacity that may be used, 0 to 1.
    """

    chemistry: Chemistry
    nominal_v: float
    capacity_ah: float
    measured_ah: float
    charged_on: date | None = None
    efficiency: float
    discharge_efficiency: float = 1.0
    depth_share: float
    max_charge_a: float
    max_discharge_a: float
    lowest_charging_degc: float
    fused: bool
    """Whether it brings a fuse; its electronics are none."""
    fuse_a: float | None = None
    """Rating of that fuse; None where it is not written down. [A]"""
    connector: Connector

    @property
    def usable_wh(self) -> float:
        """Usable capacity at room temperature. [Wh]"""
        return self.measured_ah * self.nominal_v * self.depth_share

    @property
    def label_wh(self) -> float:
        """Energy on the label, as carriers by air count it. [Wh]"""
        return self.capacity_ah * self.nominal_v


@dataclass(frozen=True, kw_only=True)
class Controller(Item):
    """A charge controller. A limit that is None was not given and blocks nothing."""

    kind: Literal["pwm", "mppt"]
    max_charge_a: float
    max_pv_v: float | None = None
    max_pv_a: float | None = None
    max_pv_w: float | None = None
    efficiency: float
    idle_ma: float
    pv_connector: Connector
    battery_connector: Connector
    chemistries: tuple[Chemistry, ...] = ()
    """Profiles it can be set to; empty when the owner did not say."""
    rf: Literal["quiet", "hash", "unknown"] = "unknown"
    boost: bool = False
    """Whether tracking also steps up: charges a battery whose voltage is above the panel's."""
    start_above_v: float | None = None
    """Open-circuit voltage of the panels above which it starts to work at all. [V]"""


@dataclass(frozen=True, kw_only=True)
class Lead(Item):
    """A lead, adapter, joiner (``ways`` 2) or distribution strip (``ways`` 6).

    Attributes
    ----------
    fuse_a : float or None
        Rating of a fixed fuse; with a holder, of the fuse that is in it now. [A]
    fuse_at_m : float or None
        Place of the fuse or holder from the ``from`` end. [m]
    fuse_holder : str
        What sort of fuse can be changed in it; empty for none.
    fuse_max_a : float or None
        The largest that its holder takes. [A]
    """

    from_connector: Connector
    to_connector: Connector
    length_m: float
    area_mm2: float
    ways: int = 1
    fuse_a: float | None = None
    fuse_at_m: float | None = None
    fuse_holder: str = ""
    fuse_max_a: float | None = None
    max_a: float | None = None
    read_ohm: float | None = None
    """Of both conductors, where volts at both ends have told it; else their copper does. [Ω]"""

    @property
    def has_fuse(self) -> bool:
        """Whether there is a fuse in it, fixed or to be fitted."""
        return self.fuse_a is not None or bool(self.fuse_holder)


@dataclass(frozen=True, kw_only=True)
class Converter(Item):
    """A converter from the bus to another voltage."""

    from_connector: Connector
    to_connector: Connector
    out_v: float
    max_w: float
    efficiency: float
    idle_ma: float
    ports: int = 1
    """Loads that one of it can feed."""


@dataclass(frozen=True, kw_only=True)
class Load(Item):
    """Something to be powered. Each of idle and full is given in amperes or in watts, never both."""

    idle_a: float | None = None
    idle_w: float | None = None
    full_a: float | None = None
    full_w: float | None = None
    supply_v: float | None = None
    lowest_v: float | None = None
    highest_v: float | None = None
    connector: Connector
    battery_wh: float | None = None
    """Energy of its own battery. [Wh]"""
    own_lead: bool = False
    """Whether its connector is the end of its maker's lead, with its maker's fuse."""
    role: tuple[str, ...] = ()
    """What it is for; one load may stand in for another that shares a word."""


@dataclass(frozen=True, kw_only=True)
class Extra(Item):
    """A thing that draws nothing: meter, pegs, spare fuses.

    Attributes
    ----------
    hangs_on : tuple of str
        What it is packed with, any of it: "panel", ids of panels and loads, modes; empty for always.
    """

    hangs_on: tuple[str, ...] = ()


@dataclass(frozen=True)
class Reading:
    """What a panel gave, kept to learn its worth.

    Attributes
    ----------
    worth : float
        Amperes over those of a panel exactly as its label, there and then.
    normal : float
        How likely it was that nothing was wrong.
    """

    at: datetime
    panel: str
    worth: float
    normal: float


@dataclass(frozen=True)
class CapacityTest:
    """Ampere-hours that a battery gave from full until it was empty. [Ah]"""

    at: datetime
    battery: str
    discharged_ah: float


@dataclass(frozen=True)
class LeadTest:
    """Volts lost between both ends of a lead at a current. [V], [A]"""

    at: datetime
    lead: str
    amps: float
    lost_v: float


@dataclass(frozen=True)
class Measured:
    """What is known of a battery or lead after its readings.

    Attributes
    ----------
    declared : float or None
        What its owner told, or what is assumed; None of a lead, whose copper tells it. [Ah]
    low, middle, high : float
        Median and 90 % interval: ampere-hours [Ah], or the ohms of both conductors [Ω].
    """

    item: str
    kind: Literal["battery", "lead"]
    declared: float | None
    is_assumed: bool
    low: float
    middle: float
    high: float
    n_readings: int


@dataclass(frozen=True)
class Inventory:
    """One folder of items, each kind sorted by id; ids are unique over the whole."""

    folder: str
    panels: tuple[Panel, ...] = ()
    batteries: tuple[Battery, ...] = ()
    controllers: tuple[Controller, ...] = ()
    leads: tuple[Lead, ...] = ()
    converters: tuple[Converter, ...] = ()
    loads: tuple[Load, ...] = ()
    extras: tuple[Extra, ...] = ()
    has_leads_file: bool = False
    """Whether the owner has written leads down; without, connectors cannot be checked."""
    contact_ohm: Mapping[str, float] = field(default_factory=dict)
    contact_a: Mapping[str, float] = field(default_factory=dict)
    """The owner's own values for connector families: resistance of a mated pair [Ω] and most current [A]."""
    fuses: Mapping[tuple[str, float], int] | None = None
    """Fuses owned by holder and rating [A]; None where the owner wrote none down, and any can be had."""
    readings: tuple[Reading, ...] = ()
    """Kept readings of panels, in time."""
    capacity_tests: tuple[CapacityTest, ...] = ()
    lead_tests: tuple[LeadTest, ...] = ()
    unlabelled: tuple[str, ...] = ()
    """Panels whose label is lost and of which nothing was read yet: they stand as ones of `UNLABELLED_W`."""
    declared: Mapping[str, tuple[float, bool, float]] = field(default_factory=dict)
    """Each panel's worth before anything was learned, whether it was assumed, and its relative spread."""
    measured: tuple[Measured, ...] = ()
    meter_spread: float = 0.0
    """Relative spread of what the owner's meter may be off by in all readings alike."""
    currency: str = ""
    units: tuple[str, ...] = ()
    """In which masses and lengths are told: "lb", "ft"; metric without."""
    assumed: tuple[Assumed, ...] = ()
    warnings: tuple[str, ...] = ()
    """Things that were read but look mistaken, such as an unknown column."""
    unusual: tuple[Unusual, ...] = ()
    other_files: tuple[str, ...] = ()
    """Names in the folder that belong to no inventory."""
    fingerprint: str = ""
    """First 12 hex digits of the SHA-256 of the files' bytes, in name order."""
    by_id: dict[str, Item] = field(init=False, repr=False, compare=False)

    def __post_init__(self) -> None:
        everything: list[Item] = [
            *self.panels,
            *self.batteries,
            *self.controllers,
            *self.leads,
            *self.converters,
            *self.loads,
            *self.extras,
        ]
        object.__setattr__(self, "by_id", {item.id: item for item in everything})

    @property
    def chosen_from(self) -> tuple[Item, ...]:
        """Every item that kits are chosen from, kind by kind."""
        return tuple(item for kind in CHOSEN_KINDS for item in getattr(self, kind))

    def counting(self, count_of: Callable[[Item], int | None]) -> Inventory:
        """The same with so many of each item that kits are chosen from; without those whose count is None."""
        kept: dict[str, Any] = {}
        for kind in CHOSEN_KINDS:
            counted = ((item, count_of(item)) for item in getattr(self, kind))
            kept[kind] = tuple(replace(item, count=n) for item, n in counted if n is not None)
        return replace(self, **kept)


def has_no_price(item: Item) -> bool:
    """Whether it cannot be compared by price; extras of unknown price count as nothing."""
    return item.price_cents is None and not isinstance(item, Extra)


CHOSEN_KINDS = ("panels", "batteries", "controllers", "leads", "converters")
"""What a kit is chosen from; loads and extras are given."""

ONE_OF: Mapping[str, str] = {
    kind: "battery" if kind == "batteries" else kind.removesuffix("s") for kind in (*CHOSEN_KINDS, "loads", "extras")
}
"""Each kind of item, and the word for one of it."""


KIND_OF: Mapping[str, str] = {one: kind for kind, one in ONE_OF.items()}
"""Under which name an inventory holds what such a word is for."""


def kind_of(item: Item) -> str:
    """Under which name an inventory holds such items."""
    return KIND_OF[type(item).__name__.lower()]
