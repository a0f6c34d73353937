"""The two-minute test, with one panel's own thresholds."""

from __future__ import annotations

from dataclasses import dataclass
from typing import Any

import numpy as np

from kitopt.field.belief import Belief
from kitopt.field.reach import Reach
from kitopt.field.site import FieldSite
from kitopt.field.verdict import Verdict
from kitopt.report.field.wording import head, lines

SCHEMA = "kitopt/two-minute-test-1"


@dataclass(frozen=True)
class _Band:
    low: float
    high: float

    def text(self, unit: str, digits: int) -> str:
        return f"{self.low:.{digits}f} to {self.high:.{digits}f} {unit}"


def _bands(belief: Belief) -> dict[str, _Band]:
    """Between which eight healthy readings in ten lie."""
    some = belief.some
    healthy = some.is_cause("normal")
    seen = some.seen
    values = {
        "amps": some.gain * seen.amps,
        "volts": seen.volts,
        "isc": some.gain * seen.isc_a,
        "voc": seen.voc_v,
        "panel-volts": seen.panel_v,
        "pen": some.off_deg,
    }
    return {name: _Band(*(float(q) for q in np.quantile(one[healthy], (0.1, 0.9)))) for name, one in values.items()}


def _section_v(bands: dict[str, _Band]) -> float:
    """Between a whole panel's open voltage and that of one with a fold of three or four lost. [V]"""
    return 0.88 * bands["voc"].low


def test_text(verdict: Verdict, site: FieldSite, reach: Reach) -> str:
    """What to do in which order, and what each reading means for this panel here and now."""
    rows = lines(f"Two-minute test of {reach.panel.id} on {reach.controller.id}, {head(site.at, site.name)}")
    steps, meant = test_steps(verdict.belief)
    for number, step in enumerate(steps, 1):
        rows += lines(step, f"{number}  ", "   ")
    rows += ["", "What it means"]
    for text in meant:
        rows += lines(text, "-  ", "   ")
    rows += lines("Give what you read to kitopt reading: it weighs all of it together.")
    return "\n".join(rows) + "\n"


def test_steps(belief: Belief) -> tuple[tuple[str, ...], tuple[str, ...]]:
    """What to do in which order, and what it means, a sentence or two each."""
    bands = _bands(belief)
    full_v = belief.set_up.charging_v * 14.2 / 13.4
    isc, voc, amps = bands["isc"], bands["voc"], bands["amps"]
    steps = (
        f"Battery volts while it charges: {full_v:.1f} V or more means full, or too cold; else go on.",
        f"Amperes: {amps.text('A', 2)} is as it should be.",
        f"Panel volts meanwhile: {bands['panel-volts'].text('V', 1)}; more, with few amperes: something holds it back.",
        "Cover the panel: the meter must read 0; else take off what it reads.",
        f"Shadow of an upright pen: up to {bands['pen'].high + 8:.0f}° is as declared; else aim.",
        f"Cover first, unplug, meter across it (10 A range, never across a battery), uncover: Isc {isc.text('A', 2)}.",
        f"Cover, meter to volts, uncover: Voc {voc.text('V', 1)}. Cover, plug in again.",
    )
    meant = (
        f"Isc below {isc.low:.2f} A, Voc above {voc.low:.1f} V: sun, aim, dirt or shade.",
        f"Voc below {_section_v(bands):.1f} V: a fold that gives nothing. Below 0: plus and minus are swapped.",
        f"Isc good, below {amps.low:.2f} A, battery below {full_v:.1f} V: controller, lead, plug, or a shaded fold.",
        f"Isc good, battery at {full_v:.1f} V or more: full.",
        "Nothing at all: polarity, fuse, a sleeping or cold battery, panel plugged in before the battery.",
    )
    return steps, meant


def test_value(verdict: Verdict, site: FieldSite, reach: Reach) -> dict[str, Any]:
    """The thresholds as JSON."""
    bands = _bands(verdict.belief)
    return {
        "schema": SCHEMA,
        "status": "found",
        "at": site.at.isoformat(timespec="seconds"),
        "panel": reach.panel.id,
        "controller": reach.controller.id,
        "full_v": round(verdict.belief.set_up.charging_v * 14.2 / 13.4, 2),
        "fold_lost_below_v": round(_section_v(bands), 2),
        "healthy": {name: [round(one.low, 2), round(one.high, 2)] for name, one in bands.items()},
    }
