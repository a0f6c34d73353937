"""Rows to items: every blank filled by a stated assumption against the owner."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from typing import Any, TypeVar

from kitopt.inventory import rows
from kitopt.inventory.families import admits, is_off_bus
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import (
    Assumed,
    Battery,
    Controller,
    Converter,
    Extra,
    Item,
    Lead,
    Load,
    Panel,
)

T = TypeVar("T")

USUAL_VMP_V = 18.0
VOC_OVER_VMP = 1.28
ISC_OVER_IMP = 1.1
UNKNOWN_AWG = 18

# chemistry: nominal_v, efficiency, depth_share, lowest_charging_degc
BATTERY_USUAL: dict[str, tuple[float, float, float, float]] = {
    "lifepo4": (12.8, 0.98, 0.9, 0.0),
    "agm": (12.0, 0.90, 0.5, -20.0),
    "li-ion": (14.4, 0.98, 0.9, 0.0),
}
# kind: efficiency, idle_ma
_CONTROLLER = {"pwm": (1.0, 15.0), "mppt": (0.95, 40.0)}


class Inconsistent(Exception):
    """Two cells of a row that cannot both be right; carries the column and what is wrong."""

    def __init__(self, column: str, text: str) -> None:
        self.column = column
        self.text = text
        super().__init__(text)


@dataclass
class Notes:
    """What was assumed and what looks mistaken in one row."""

    file: str
    id: str
    line: int
    assumed: list[Assumed]
    warnings: list[str]

    def fill(self, value: T | None, column: str, default: T, rule: str) -> T:
        """Return the value, or the default after noting that it was assumed."""
        if value is not None:
            return value
        self.say(column, default, rule)
        return default

    def say(self, column: str, value: object, rule: str) -> None:
        """Note an assumption."""
        text = ("yes" if value else "no") if isinstance(value, bool) else value
        shown = f"{text:.4g}" if isinstance(text, float) else str(text)
        self.assumed.append(Assumed(self.file, self.id, column, shown, rule))

    def warn(self, column: str, text: str) -> None:
        """Note something that looks mistaken."""
        self.warnings.append(f"{self.file}, line {self.line}, column {column}: {text}")


def awg_to_mm2(awg: int) -> float:
    """Return the conductor area of an American wire gauge. [mm²]

    References
    ----------
    .. [1] ASTM B258, "Standard specification for standard nominal diameters and cross-sectional areas of AWG
       sizes of solid round wires": d = 0.127 mm · 92^((36 − n) / 39).
    """
    from math import pi

    return float(pi / 4 * (0.127 * 92 ** ((36 - awg) / 39)) ** 2)


def _common(row: rows.Row, notes: Notes) -> dict[str, Any]:
    return {
        "id": row.id,
        "name": row.name or row.id,
        "count": row.count,
        "mass_g": row.mass_g,
        "price_cents": row.price,
        "owner": row.owner,
        "tags": row.tags,
        "notes": row.notes,
        "file": notes.file,
        "line": notes.line,
    }


def _vmp(row: rows.PanelRow, notes: Notes) -> float:
    """Return Vmp: from the other ratings where they tell it, else that of a panel for 12 V. [V]"""
    if row.vmp_v is not None:
        return row.vmp_v
    if row.imp_a is not None and (row.voc_v is None or row.rated_w / row.imp_a <= row.voc_v):
        return notes.fill(None, "vmp_v", row.rated_w / row.imp_a, "rated_w over imp_a")
    if row.voc_v is not None and row.voc_v < VOC_OVER_VMP * USUAL_VMP_V:
        return notes.fill(None, "vmp_v", row.voc_v / VOC_OVER_VMP, "voc_v over 1.28")
    return notes.fill(None, "vmp_v", USUAL_VMP_V, "a panel for 12 V batteries has about 18 V")


def _panel(row: rows.PanelRow, notes: Notes) -> Panel:
    for high, low, high_value, low_value in (
        ("voc_v", "vmp_v", row.voc_v, row.vmp_v),
        ("isc_a", "imp_a", row.isc_a, row.imp_a),
    ):
        if high_value is not None and low_value is not None and high_value < low_value:
            raise Inconsistent(high, f"found {high_value:g}, below {low} ({low_value:g}); need at least that.")
    vmp_v = _vmp(row, notes)
    if row.isc_a is not None and row.isc_a < row.rated_w / vmp_v:
        imp_a = notes.fill(row.imp_a, "imp_a", row.isc_a / ISC_OVER_IMP, "isc_a over 1.1, less than rated_w over vmp_v")
    else:
        imp_a = notes.fill(row.imp_a, "imp_a", row.rated_w / vmp_v, "rated_w over vmp_v")
    isc_a = notes.fill(row.isc_a, "isc_a", ISC_OVER_IMP * imp_a, "1.1 times imp_a, for limits")
    voc_v = notes.fill(row.voc_v, "voc_v", VOC_OVER_VMP * vmp_v, "1.28 times vmp_v, for limits")
    power_per_degc = notes.fill(
        row.power_per_degc, "power_per_degc", -0.0045, "median of the module list that the CEC publishes"
    )
    if row.voc_per_degc is None:
        notes.say("voc_per_degc", "by table", "the cold-voltage table's factor for an unknown coefficient")
    folding = notes.fill(row.folding, "folding", True, "taken as a folding panel")
    return Panel(
        **_common(row, notes),
        rated_w=row.rated_w,
        vmp_v=vmp_v,
        imp_a=imp_a,
        voc_v=voc_v,
        isc_a=isc_a,
        power_per_degc=power_per_degc,
        voc_per_degc=row.voc_per_degc,
        connector=row.connector,
        second_connector=row.second_connector,
        tilts=notes.fill(row.tilts, "tilts", False, "taken to lie flat"),
        folding=folding,
        output_factor=notes.fill(
            row.output_factor,
            "output_factor",
            0.75 if folding else 0.9,
            "folding panels give about 0.75 of the label" if folding else "framed panels give about 0.9 of the label",
        ),
    )


def _battery(row: rows.BatteryRow, notes: Notes) -> Battery:
    nominal_v, efficiency, depth, lowest = BATTERY_USUAL[row.chemistry]
    usual = f"usual for {row.chemistry}"
    if row.fuse_a is not None and row.fused is False:
        raise Inconsistent("fuse_a", f"found {row.fuse_a:g} A in a battery that is not fused; need fused = yes.")
    measured_ah = notes.fill(row.measured_ah, "measured_ah", 0.9 * row.capacity_ah, "0.9 of the label until measured")
    return Battery(
        **_common(row, notes),
        chemistry=row.chemistry,  # type: ignore[arg-type]  # checked against the list
        nominal_v=notes.fill(row.nominal_v, "nominal_v", nominal_v, usual),
        capacity_ah=row.capacity_ah,
        measured_ah=measured_ah,
        charged_on=row.charged_on,
        efficiency=notes.fill(row.efficiency, "efficiency", efficiency, usual),
        depth_share=notes.fill(row.depth_share, "depth_share", depth, usual),
        max_charge_a=notes.fill(row.max_charge_a, "max_charge_a", 0.2 * row.capacity_ah, "0.2 of capacity_ah per hour"),
        max_discharge_a=notes.fill(
            row.max_discharge_a, "max_discharge_a", 0.5 * row.capacity_ah, "0.5 of capacity_ah per hour"
        ),
        lowest_charging_degc=notes.fill(row.lowest_charging_degc, "lowest_charging_degc", lowest, usual),
        fused=row.fuse_a is not None or notes.fill(row.fused, "fused", False, "taken to have no fuse of its own"),
        fuse_a=row.fuse_a,
        connector=row.connector,
    )


def _controller(row: rows.ControllerRow, notes: Notes) -> Controller:
    efficiency, idle_ma = _CONTROLLER[row.kind]
    usual = f"usual for {row.kind}"
    if not row.chemistries:
        notes.say("chemistries", "any", "taken to fit; check its setting")
    if row.boost and row.kind == "pwm":
        raise Inconsistent("boost", "found yes for a pwm controller; only an mppt controller can step up.")
    if row.max_pv_v is None:
        notes.say("max_pv_v", "not given", "no panel's cold voltage is checked against it; read its label")
    return Controller(
        **_common(row, notes),
        kind=row.kind,  # type: ignore[arg-type]  # checked against the list
        max_charge_a=row.max_charge_a,
        max_pv_v=row.max_pv_v,
        max_pv_a=row.max_pv_a,
        max_pv_w=row.max_pv_w,
        efficiency=notes.fill(row.efficiency, "efficiency", efficiency, usual),
        idle_ma=notes.fill(row.idle_ma, "idle_ma", idle_ma, usual),
        pv_connector=row.pv_connector,
        battery_connector=row.battery_connector,
        chemistries=row.chemistries,  # type: ignore[arg-type]  # checked against the list
        rf=notes.fill(row.rf, "rf", "unknown", "listen for its noise before the outing"),  # type: ignore[arg-type]
        boost=bool(row.boost),
        start_above_v=row.start_above_v,
    )


def _lead(row: rows.LeadRow, notes: Notes) -> Lead:
    if row.awg is not None and row.area_mm2 is not None:
        raise Inconsistent("area_mm2", "found both awg and area_mm2; need one of them.")
    if row.area_mm2 is not None:
        area_mm2 = row.area_mm2
    else:
        awg = notes.fill(row.awg, "awg", UNKNOWN_AWG, "taken as a thin lead")
        area_mm2 = awg_to_mm2(awg)
    fuse_at_m = row.fuse_at_m
    if row.fuse_max_a is not None and row.fuse_holder is None:
        raise Inconsistent(
            "fuse_holder", f"the cell is blank beside fuse_max_a; need the holder, one of {', '.join(HOLDERS)}."
        )
    fuse_max_a = row.fuse_max_a
    if row.fuse_holder is not None:
        fuse_max_a = notes.fill(
            fuse_max_a, "fuse_max_a", row.fuse_a or HOLDERS[row.fuse_holder].usual_a, "what is in it, or usual"
        )
    if row.fuse_a is not None or row.fuse_holder is not None:
        fuse_at_m = notes.fill(fuse_at_m, "fuse_at_m", row.length_m, "taken to sit at the far end")
    elif fuse_at_m is not None:
        notes.warn("fuse_at_m", "this lead has no fuse_a and no fuse_holder, so the place of its fuse is ignored.")
        fuse_at_m = None
    if fuse_at_m is not None and fuse_at_m > row.length_m:
        raise Inconsistent(
            "fuse_at_m", f"found {fuse_at_m:g} m, need at most length_m ({row.length_m:g} m), from the `from` end."
        )
    return Lead(
        **_common(row, notes),
        from_connector=row.from_,
        to_connector=row.to,
        length_m=row.length_m,
        area_mm2=area_mm2,
        ways=row.ways,
        fuse_a=row.fuse_a,
        fuse_at_m=fuse_at_m,
        fuse_holder=row.fuse_holder or "",
        fuse_max_a=fuse_max_a,
        max_a=row.max_a,
    )


def _converter(row: rows.ConverterRow, notes: Notes) -> Converter:
    usual = "usual for a converter"
    if not admits(row.to.family, row.out_v):
        notes.warn("out_v", f"{row.out_v:g} V, which {row.to} does not carry; check both.")
    return Converter(
        **_common(row, notes),
        from_connector=row.from_,
        to_connector=row.to,
        out_v=row.out_v,
        max_w=row.max_w,
        efficiency=notes.fill(row.efficiency, "efficiency", 0.85, usual),
        idle_ma=notes.fill(row.idle_ma, "idle_ma", 10.0, usual),
        ports=row.ports,
    )


def _load(row: rows.LoadRow, notes: Notes) -> Load:
    for state, in_a, in_w in (("idle", row.idle_a, row.idle_w), ("full", row.full_a, row.full_w)):
        if in_a is not None and in_w is not None:
            raise Inconsistent(f"{state}_w", f"found both {state}_a and {state}_w; need one of them.")
    idle_a, idle_w, full_a, full_w = row.idle_a, row.idle_w, row.full_a, row.full_w
    has_idle, has_full = idle_a is not None or idle_w is not None, full_a is not None or full_w is not None
    if not has_idle and not has_full:
        raise Inconsistent("idle_a", "found no current and no power; need idle_a or idle_w, full_a or full_w.")
    if not has_full:
        full_a, full_w = idle_a, idle_w
        _say_either(notes, "full", full_a, full_w, "taken to draw its idle value always")
    elif not has_idle:
        idle_a, idle_w = full_a, full_w
        _say_either(notes, "idle", idle_a, idle_w, "taken to draw its full value always")
    for low, high, unit, state in ((idle_a, full_a, "A", "full_a"), (idle_w, full_w, "W", "full_w")):
        if low is not None and high is not None and high < low:
            notes.warn(state, f"full ({high:g} {unit}) is below idle ({low:g} {unit}); check both.")
    if row.lowest_v is not None and row.highest_v is not None and row.lowest_v > row.highest_v:
        raise Inconsistent("lowest_v", f"found {row.lowest_v:g} V, above highest_v ({row.highest_v:g} V).")
    return Load(
        **_common(row, notes),
        idle_a=idle_a,
        idle_w=idle_w,
        full_a=full_a,
        full_w=full_w,
        supply_v=_supply_v(row, notes),
        lowest_v=row.lowest_v,
        highest_v=row.highest_v,
        connector=row.connector,
        own_lead=row.own_lead,
    )


def _supply_v(row: rows.LoadRow, notes: Notes) -> float | None:
    """Volts that a load wants: what lives on its connector where its row does not say. [V]"""
    if row.supply_v is None and is_off_bus(row.connector.family):
        return notes.fill(None, "supply_v", 5.0, f"what lives on {row.connector.family}")
    if row.supply_v is not None and not admits(row.connector.family, row.supply_v):
        notes.warn("supply_v", f"{row.supply_v:g} V, which {row.connector} does not carry; check both.")
    return row.supply_v


def _say_either(notes: Notes, state: str, in_a: float | None, in_w: float | None, rule: str) -> None:
    if in_a is not None:
        notes.say(f"{state}_a", in_a, rule)
    else:
        notes.say(f"{state}_w", in_w, rule)


def _extra(row: rows.ExtraRow, notes: Notes) -> Extra:
    return Extra(**_common(row, notes))


@dataclass(frozen=True)
class Kind:
    """One CSV file: its name, its rows and how a row becomes an item."""

    stem: str
    model: type[rows.Row]
    build: Callable[[Any, Notes], Item]

    @property
    def file(self) -> str:
        """Name of the file."""
        return f"{self.stem}.csv"


KINDS = (
    Kind("panels", rows.PanelRow, _panel),
    Kind("batteries", rows.BatteryRow, _battery),
    Kind("controllers", rows.ControllerRow, _controller),
    Kind("leads", rows.LeadRow, _lead),
    Kind("converters", rows.ConverterRow, _converter),
    Kind("loads", rows.LoadRow, _load),
    Kind("extras", rows.ExtraRow, _extra),
)
REQUIRED = ("batteries.csv", "loads.csv")
