"""Kept readings of panels, batteries and leads, and the items as plans count with them after all that was read."""

from __future__ import annotations

from collections.abc import Collection, Iterable, MutableMapping, Sequence
from dataclasses import replace
from statistics import median
from typing import Any

from kitopt.files.faults import FaultList, quoted
from kitopt.files.nearest import did_you_mean
from kitopt.files.table import Row
from kitopt.inventory.items import KIND_OF, Assumed, Battery, CapacityTest, Item, Lead, LeadTest, Panel, Reading
from kitopt.inventory.names import READINGS
from kitopt.inventory.rows import ReadingRow
from kitopt.inventory.spreads import GUESSED_SPREAD, MOST_OF_LABEL, TOLD_SPREAD, UNLABELLED_SPREAD, USUAL_WORTH

_NEEDS = {"panel": ("amps", "worth"), "battery": ("discharged_ah",), "lead": ("amps", "near_v", "far_v")}
"""What a reading may be of, and the columns that it then needs."""


def whole(checked: Iterable[tuple[Row, ReadingRow | None]], faults: FaultList) -> list[tuple[Row, ReadingRow]]:
    """Rows that are of one panel, battery or lead each, with what a reading of it needs; the others are faults."""
    found = []
    for row, one in checked:
        if one is None:
            continue
        of = [kind for kind in _NEEDS if getattr(one, kind)]
        if len(of) != 1:
            text = f"found {' and '.join(of) or 'neither panel, battery nor lead'}; need one of the three in a row."
            faults.add(row.line, "panel", text)
            continue
        missing = [column for column in _NEEDS[of[0]] if getattr(one, column) is None]
        for column in missing:
            faults.add(row.line, column, f"the cell is blank; a reading of a {of[0]} needs it.")
        if missing:
            continue
        if of[0] == "lead" and not _lost_v(one):
            text = f"found {one.near_v:g} and {one.far_v:g} V at {one.amps:g} A; a lead with current in it loses volts."
            faults.add(row.lines.get("far_v", row.line), "far_v", text)
            continue
        found.append((row, one))
    return found


def _lost_v(row: ReadingRow) -> float:
    """Volts lost in a lead; 0 where its row cannot be right."""
    lost_v = (row.near_v or 0.0) - (row.far_v or 0.0)
    return lost_v if lost_v > 0.0 and (row.amps or 0.0) > 0.0 else 0.0


def of_owned(
    read: Iterable[tuple[Row, ReadingRow]], items: MutableMapping[str, tuple[Item, ...]], warnings: list[str]
) -> list[ReadingRow]:
    """Readings of what is still here, in time; those of other things are only said, each where it is first met, and
    likewise discharges of more than a battery holds."""
    kept, gone = [], set()
    for row, one in read:
        kind, name = next((kind, getattr(one, kind)) for kind in _NEEDS if getattr(one, kind))
        owned = {item.id: item for item in items.get(KIND_OF[kind], ())}
        battery = owned.get(name)
        if isinstance(battery, Battery) and one.discharged_ah and is_beyond(battery, one.discharged_ah):
            text = f"{beyond(battery, one.discharged_ah)}; this reading is ignored, read {name} again."
            warnings.append(f"{_where(row, 'discharged_ah')}: {text}")
        elif name in owned:
            kept.append(one)
        elif (kind, name) not in gone:
            gone.add((kind, name))
            text = f"readings of {quoted(name)}, which is no {kind} here, are ignored.{did_you_mean(name, owned)}"
            warnings.append(f"{_where(row, kind)}: {text}")
    return sorted(kept, key=lambda one: (one.at, one.panel, one.battery, one.lead, one.worth or 0.0))


def is_beyond(battery: Battery, discharged_ah: float) -> bool:
    """Whether a battery cannot have given as much."""
    return discharged_ah > MOST_OF_LABEL * battery.capacity_ah * (1.0 + 1e-9)


def beyond(battery: Battery, discharged_ah: float) -> str:
    """What was read over the label of its battery, and what can be."""
    share = f"{100 * discharged_ah / battery.capacity_ah:.0f} % of the label of {battery.id}"
    return f"found {discharged_ah:.4g} Ah, {share}; need {MOST_OF_LABEL * battery.capacity_ah:.4g} Ah at most"


def _where(row: Row, column: str) -> str:
    return f"{READINGS}, line {row.lines.get(column, row.line)}, column {column}"


def labels_w(read: Iterable[ReadingRow]) -> dict[str, float]:
    """What each panel's label would be by what was read of it, if it is of the usual worth. [W]"""
    watts: dict[str, list[float]] = {}
    for one in read:
        if one.panel and one.worth and one.rated_w:
            watts.setdefault(one.panel, []).append(one.worth * one.rated_w)
    return {name: float(f"{median(some) / USUAL_WORTH:.3g}") for name, some in watts.items()}


def taken_up(
    items: MutableMapping[str, tuple[Item, ...]],
    read: Sequence[ReadingRow],
    assumed: list[Assumed],
    read_labels: Collection[str],
    meter_spread: float = 0.0,
) -> tuple[dict[str, Any], list[Assumed]]:
    """Put what was read into the items.

    Parameters
    ----------
    items : mapping
        By kind; panels are told how sure their worth is, and whatever was read of is replaced.
    read_labels : collection of str
        Panels whose label is lost, and known by their readings alone.
    meter_spread : float
        What the owner's meter may be off by in all readings alike, as a share.

    Returns
    -------
    dict
        What an inventory keeps of it.
    list of Assumed
        What is still assumed, and what was learned instead.
    """
    guessed = {one.id for one in assumed if one.column == "output_factor"}
    panels = [one for one in items.get("panels", ()) if isinstance(one, Panel)]
    spreads = {panel.id: GUESSED_SPREAD if panel.id in guessed else TOLD_SPREAD for panel in panels}
    spreads |= dict.fromkeys(read_labels, UNLABELLED_SPREAD)
    panels = [replace(panel, worth_spread=spreads[panel.id]) for panel in panels]
    declared = {panel.id: (panel.output_factor, panel.id in guessed, panel.worth_spread) for panel in panels}
    if panels:
        items["panels"] = tuple(panels)
    if not read:
        return {"declared": declared}, assumed
    from kitopt.inventory import learned, measured

    say: list[Assumed] = []
    readings = _of_panels(read, panels)
    if readings:
        items["panels"], say = learned.taken_up(panels, declared, readings, meter_spread)
    tests = [CapacityTest(one.at, one.battery, one.discharged_ah) for one in read if one.battery and one.discharged_ah]
    on_leads = [LeadTest(one.at, one.lead, one.amps, _lost_v(one)) for one in read if one.lead and one.amps]
    batteries = [one for one in items.get("batteries", ()) if isinstance(one, Battery)]
    leads = [one for one in items.get("leads", ()) if isinstance(one, Lead)]
    items["batteries"], of_batteries = measured.batteries_taken_up(batteries, assumed, tests)
    found: dict[str, Any] = {"declared": declared, "readings": readings}
    found |= {"capacity_tests": tuple(tests), "lead_tests": tuple(on_leads), "measured": tuple(of_batteries)}
    if on_leads:
        items["leads"], of_leads = measured.leads_taken_up(leads, on_leads)
        found["measured"] = (*of_batteries, *of_leads)
    say += [measured.said(one) for one in found["measured"]]
    known = {(one.id, one.column) for one in say}
    return found, [*(one for one in assumed if (one.id, one.column) not in known), *say]


def _of_panels(read: Iterable[ReadingRow], panels: Iterable[Panel]) -> tuple[Reading, ...]:
    """Readings of panels, each over the label that its panel has now."""
    label_w = {panel.id: panel.rated_w for panel in panels}
    return tuple(
        Reading(one.at, one.panel, one.worth * (one.rated_w or label_w[one.panel]) / label_w[one.panel], one.normal)
        for one in read
        if one.panel and one.worth is not None
    )
