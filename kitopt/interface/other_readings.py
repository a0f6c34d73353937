"""Readings of batteries and leads, and the one way in which readings are kept. The calls, and a result of them."""

from __future__ import annotations

import csv
import io
from collections.abc import Mapping
from dataclasses import dataclass
from datetime import datetime
from pathlib import Path
from typing import Any

from kitopt.errors import BadInput, Fault
from kitopt.inventory.columns import columns_of
from kitopt.inventory.items import Battery, CapacityTest, Inventory, Lead, LeadTest, Measured
from kitopt.inventory.names import READINGS
from kitopt.inventory.rows import ReadingRow


@dataclass(frozen=True, eq=False)
class ItemRead:
    """What was read of a battery or lead.

    Attributes
    ----------
    test : CapacityTest or LeadTest
    counted : float
        What plans count with now: ampere-hours [Ah] or the ohms of both conductors [Ω].
    label : float
        Ampere-hours on the label [Ah], or the ohms of the copper [Ω].
    after : Measured
        What is known once it is kept.
    """

    test: CapacityTest | LeadTest
    counted: float
    label: float
    after: Measured

    @property
    def status(self) -> str:
        """Always "found"."""
        return "found"

    @property
    def read(self) -> float:
        """Ampere-hours [Ah] or ohms [Ω]."""
        return self.test.discharged_ah if isinstance(self.test, CapacityTest) else self.test.lost_v / self.test.amps

    def to_dict(self) -> dict[str, Any]:
        """The object that the command prints with ``--json``."""
        from kitopt.report.field import item_value

        return item_value(self.after, self.read, self.counted, self.label)

    def to_text(self, *, is_brief: bool = False) -> str:
        """What the command prints."""
        from kitopt.report.field import item_text

        return item_text(self.after, self.read, self.counted, self.label)


def discharge(inventory: Inventory, battery: Battery, discharged_ah: float, at: datetime) -> ItemRead:
    """Ampere-hours that a battery gave from full until it was empty, and what is known of it with them.

    Raises
    ------
    BadInput
        Where they are more than it can hold.
    """
    from kitopt.inventory.measured import capacity
    from kitopt.inventory.readings import beyond, is_beyond

    if is_beyond(battery, discharged_ah):
        text = f"{beyond(battery, discharged_ah)}. {_known(inventory, battery)} Read it again, from full until empty."
        raise BadInput([Fault("--discharged", None, None, text)])
    test = CapacityTest(at, battery.id, discharged_ah)
    told = {one.item: (one.declared, one.is_assumed) for one in inventory.measured}
    guessed = any(one.id == battery.id and one.column == "measured_ah" for one in inventory.assumed)
    declared_ah, is_assumed = told.get(battery.id, (battery.measured_ah, guessed))
    assert declared_ah is not None
    after = capacity(battery.id, declared_ah, is_assumed, [*inventory.capacity_tests, test])
    return ItemRead(test, battery.measured_ah, battery.capacity_ah, after)


def _known(inventory: Inventory, battery: Battery) -> str:
    """What plans count of a battery, and whence."""
    rule = next((one.rule for one in inventory.assumed if (one.id, one.column) == (battery.id, "measured_ah")), "")
    told = f" ({rule})" if rule else ""
    return f"Its label says {battery.capacity_ah:g} Ah, and plans count {battery.measured_ah:.3g} Ah{told}."


def lost(inventory: Inventory, lead: Lead, amps: float, near_v: float, far_v: float, at: datetime) -> ItemRead:
    """Volts at both ends of a lead with current in it, and what is known of its ohms with them. [A], [V]

    Raises
    ------
    BadInput
        Where the far end stands no lower than the near one.
    """
    from dataclasses import replace

    from kitopt.inventory.measured import resistance
    from kitopt.model.wiring import loop_ohm

    if not (amps > 0.0 and near_v > far_v):
        text = f"found {near_v:g} V near, {far_v:g} V far and {amps:g} A; a lead with current in it loses volts."
        raise BadInput([Fault("--volts-far", None, None, text)])
    test = LeadTest(at, lead.id, amps, near_v - far_v)
    after = resistance(lead.id, [*inventory.lead_tests, test])
    return ItemRead(test, loop_ohm(lead), loop_ohm(replace(lead, read_ohm=None)), after)


def keep_item(found: ItemRead, inventory: Inventory, *, near_v: float = 0.0, far_v: float = 0.0) -> Path:
    """Add a reading of a battery or lead to ``readings.csv`` beside the inventory; returns the file's path.

    Raises
    ------
    BadInput
        If it cannot be written.
    """
    test = found.test
    # four decimals: three might be thousands to whoever reads them
    at = test.at.isoformat(timespec="minutes")
    if isinstance(test, CapacityTest):
        return append(inventory, {"at": at, "battery": test.battery, "discharged_ah": f"{test.discharged_ah:.4f}"})
    cells = {"amps": f"{test.amps:.4f}", "near_v": f"{near_v:.4f}", "far_v": f"{far_v:.4f}"}
    return append(inventory, {"at": at, "lead": test.lead, **cells})


def append(inventory: Inventory, cells: Mapping[str, str]) -> Path:
    """Add a row to ``readings.csv`` beside an inventory, in the order of its own header; returns its path.

    Raises
    ------
    BadInput
        If it cannot be written, or its header lacks one of the columns.
    """
    from kitopt.files.decode import decode
    from kitopt.files.faults import FaultList
    from kitopt.files.reading import read_bytes, what_lies_at
    from kitopt.files.table import read_table
    from kitopt.files.writing import append_lines

    path, columns = Path(inventory.folder) / READINGS, tuple(columns_of(ReadingRow))
    faults = FaultList(str(path))
    content = read_bytes(path, faults) if what_lies_at(path) == "file" else None
    text = decode(content, faults, "") if content else None
    table = read_table(text, faults) if text else None
    if table is not None:
        columns = tuple(table.columns)
        missing = [name for name in cells if cells[name] and name not in columns]
        if missing:
            needed = ", ".join(missing)
            raise BadInput([Fault(str(path), table.header_line, missing[0], f"its header needs {needed}: add it.")])
    append_lines(path, _csv([cells.get(name, "") for name in columns]), first=_csv(columns))
    return path


def _csv(cells: tuple[str, ...] | list[str]) -> str:
    line = io.StringIO()
    csv.writer(line, lineterminator="\n").writerow(cells)
    return line.getvalue()
