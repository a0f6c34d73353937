"""``kitopt reading`` of a battery, a lead or a panel without a label, as text and JSON."""

from __future__ import annotations

from typing import Any

from kitopt.field.label import LabelRead
from kitopt.field.reach import Reach
from kitopt.field.site import FieldSite
from kitopt.inventory.items import Measured
from kitopt.inventory.spreads import USUAL_WORTH
from kitopt.report.field.reading import SCHEMA
from kitopt.report.field.wording import head, lines, percent

_FAR_OFF = 2.0
"""A lead that has so many times the ohms of its copper, or so many times fewer, is not as it was written down."""


def item_text(after: Measured, read: float, counted: float, label: float) -> str:
    """What was read, what was counted with so far, and what is known once it is kept."""
    if after.kind == "battery":
        text = lines(f"{after.item} gave {read:.3g} Ah from full, {percent(read / label)} of its label's {label:g} Ah.")
        within = f"{after.low:.3g} to {after.high:.3g} Ah"
        text += lines(f"Plans count {counted:.3g} Ah; with this reading {after.middle:.3g} Ah, nine in ten {within}.")
        return "\n".join(text) + "\n"
    text = lines(f"{after.item} has {_mohm(read)} there and back; by its copper {_mohm(label)}.")
    if read > _FAR_OFF * label:
        text += lines("That is more than its copper has: look at its ends, or it is thinner than written.")
    elif read * _FAR_OFF < label:
        text += lines("That is less than its copper can have: read both ends again, with one meter.")
    within = f"{_mohm(after.low)} to {_mohm(after.high)}"
    text += lines(f"Plans count {_mohm(counted)}; with this reading {_mohm(after.middle)}, nine in ten {within}.")
    return "\n".join(text) + "\n"


def _mohm(ohm: float) -> str:
    return f"{1000.0 * ohm:.3g} mΩ"


def item_value(after: Measured, read: float, counted: float, label: float) -> dict[str, Any]:
    """The same as JSON: ampere-hours or ohms."""
    return {
        "schema": SCHEMA,
        "status": "found",
        **measured_value(after),
        "unit": "Ah" if after.kind == "battery" else "ohm",
        "read": round(read, 5),
        "counted": round(counted, 5),
        "label" if after.kind == "battery" else "copper": round(label, 5),
    }


def measured_value(one: Measured) -> dict[str, Any]:
    """What is known of a battery [Ah] or lead [Ω]."""
    return {
        one.kind: one.item,
        "learned": round(one.middle, 5),
        "ninety_percent": [round(one.low, 5), round(one.high, 5)],
        "readings": one.n_readings,
    }


def label_text(found: LabelRead, site: FieldSite, reach: Reach) -> str:
    """What a lost label would say."""
    text = lines(f"{reach.panel.id} on {reach.controller.id}, {head(site.at, site.name)}")
    within = f"{found.low_w:.0f} to {found.high_w:.0f} W"
    text += lines(
        f"{found.amps:.2f} A, as a panel of {found.rated_w:.0f} W gives whose worth is {USUAL_WORTH:g} of its label "
        f"(nine in ten: {within})."
    )
    text += lines("Kept (--keep), plans count with it; a second reading on another day makes it surer.")
    return "\n".join(text) + "\n"


def label_value(found: LabelRead, site: FieldSite, reach: Reach) -> dict[str, Any]:
    """The same as JSON."""
    return {
        "schema": SCHEMA,
        "status": "found",
        "panel": reach.panel.id,
        "controller": reach.controller.id,
        "at": site.at.isoformat(timespec="seconds"),
        "amps": round(found.amps, 3),
        "rated_w": round(found.rated_w, 1),
        "ninety_percent": [round(found.low_w, 1), round(found.high_w, 1)],
    }
