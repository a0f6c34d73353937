"""Rows to items: every blank filled by what its column assumes, against the owner; contradictions told."""

from __future__ import annotations

from collections.abc import Callable
from dataclasses import dataclass
from types import SimpleNamespace
from typing import Any

from kitopt.inventory import rows
from kitopt.inventory.columns import Unless, columns_of, shown
from kitopt.inventory.families import admits
from kitopt.inventory.fuses import HOLDERS
from kitopt.inventory.items import (
    Assumed,
    Battery,
    Connector,
    Controller,
    Converter,
    Extra,
    Item,
    Lead,
    Load,
    Panel,
)


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

    def say(self, column: str, value: object, rule: str) -> None:
        """Note an assumption."""
        self.assumed.append(Assumed(self.file, self.id, column, shown(value), rule))

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


# ---- what a row may not say at once, before it is filled


def _panel(row: Any, notes: Notes) -> None:
    for high, low in (("voc_v", "vmp_v"), ("isc_a", "imp_a")):
        high_value, low_value = getattr(row, high), getattr(row, low)
        if high_value is not None and low_value is not None and high_value < low_value:
            raise Inconsistent(high, f"found {high_value:g}, below {low} ({low_value:g}); need at least that.")


def _battery(row: Any, notes: Notes) -> None:
    if row.fuse_a is not None and row.fused is False:
        raise Inconsistent("fuse_a", f"found {row.fuse_a:g} A in a battery that is not fused; need fused = yes.")


def _controller(row: Any, notes: Notes) -> None:
    if row.boost and row.kind == "pwm":
        raise Inconsistent("boost", "found yes for a pwm controller; only an mppt controller can step up.")


def _lead(row: Any, notes: Notes) -> None:
    if row.awg is not None and row.area_mm2 is not None:
        raise Inconsistent("area_mm2", "found both awg and area_mm2; need one of them.")
    if row.fuse_max_a is not None and row.fuse_holder is None:
        raise Inconsistent(
            "fuse_holder", f"the cell is blank beside fuse_max_a; need the holder, one of {', '.join(HOLDERS)}."
        )
    if row.fuse_at_m is None:
        return
    if row.fuse_a is None and row.fuse_holder is None:
        notes.warn("fuse_at_m", "this lead has no fuse_a and no fuse_holder, so the place of its fuse is ignored.")
        row.fuse_at_m = None
    elif row.fuse_at_m > row.length_m:
        raise Inconsistent(
            "fuse_at_m", f"found {row.fuse_at_m:g} m, need at most length_m ({row.length_m:g} m), from the `from` end."
        )


def _converter(row: Any, notes: Notes) -> None:
    _carried("out_v", row.out_v, row.to_connector, notes)


def _load(row: Any, notes: Notes) -> None:
    for state, in_a, in_w in (("idle", row.idle_a, row.idle_w), ("full", row.full_a, row.full_w)):
        if in_a is not None and in_w is not None:
            raise Inconsistent(f"{state}_w", f"found both {state}_a and {state}_w; need one of them.")
    if row.idle_a is row.idle_w is row.full_a is row.full_w is None:
        raise Inconsistent("idle_a", "found no current and no power; need idle_a or idle_w, full_a or full_w.")
    for low, high, unit, state in ((row.idle_a, row.full_a, "A", "full_a"), (row.idle_w, row.full_w, "W", "full_w")):
        if low is not None and high is not None and high < low:
            notes.warn(state, f"full ({high:g} {unit}) is below idle ({low:g} {unit}); check both.")
    if row.lowest_v is not None and row.highest_v is not None and row.lowest_v > row.highest_v:
        raise Inconsistent("lowest_v", f"found {row.lowest_v:g} V, above highest_v ({row.highest_v:g} V).")
    _carried("supply_v", row.supply_v, row.connector, notes)


def _carried(column: str, volts: float | None, end: Connector, notes: Notes) -> None:
    if volts is not None and not admits(end.family, volts):
        notes.warn(column, f"{volts:g} V, which {end} does not carry; check both.")


@dataclass(frozen=True)
class Kind:
    """One CSV file: its name, its rows, what they become, and what they may not say at once."""

    model: type[rows.Row]
    item: type[Item]
    check: Callable[[Any, Notes], None] = lambda row, notes: None

    @property
    def stem(self) -> str:
        """Name of the file without its ending."""
        return self.model.KIND

    @property
    def file(self) -> str:
        """Name of the file."""
        return f"{self.stem}.csv"

    def build(self, written: rows.Row, notes: Notes) -> Item:
        """Return the item that a row is about, every blank filled and noted.

        Raises
        ------
        Inconsistent
            If two of its cells cannot both be right.
        """
        row = SimpleNamespace(**dict(written))
        self.check(row, notes)
        for column in columns_of(self.model).values():
            if column.blank is None or getattr(row, column.attribute) not in (None, ()):
                continue
            blank = column.blank.of(row) if isinstance(column.blank, Unless) else column.blank
            if blank is not None:
                setattr(row, column.attribute, blank.value)
                if blank.rule:
                    notes.say(column.name, blank.shown or blank.value, blank.rule)
        row.name = row.name or row.id
        row.count = 0 if row.out else row.count
        if isinstance(written, rows.LeadRow):
            row.area_mm2 = row.area_mm2 or awg_to_mm2(row.awg)
            row.fuse_holder = row.fuse_holder or ""
            del row.awg
        return self.item(**vars(row), file=notes.file, line=notes.line)


KINDS = (
    Kind(rows.PanelRow, Panel, _panel),
    Kind(rows.BatteryRow, Battery, _battery),
    Kind(rows.ControllerRow, Controller, _controller),
    Kind(rows.LeadRow, Lead, _lead),
    Kind(rows.ConverterRow, Converter, _converter),
    Kind(rows.LoadRow, Load, _load),
    Kind(rows.ExtraRow, Extra),
)
REQUIRED = ("batteries.csv", "loads.csv")
