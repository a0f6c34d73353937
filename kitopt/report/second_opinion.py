"""A second opinion on a kit, in a sentence and as values."""

from __future__ import annotations

import math
from datetime import datetime, timedelta
from typing import Any

from kitopt.choice import Choice
from kitopt.explain import Agreement
from kitopt.operation.clock import moment_after
from kitopt.report import encode, words


def second_opinion_text(choice: Choice, found: Agreement) -> str:
    """Whether it agrees, within how much, or why not."""
    looked_at = "its spell of weather" if found.asked == 1 else f"{found.asked:,} of its spells"
    if not found.failed:
        within_wh = math.ceil(max(abs(found.least_wh), abs(found.most_wh)) - 1e-6)
        return f"gone through minute by minute, {looked_at} agree{'s' * (found.asked == 1)} within {within_wh:,} Wh."
    text = f"gone through minute by minute, {found.failed:,} of {looked_at} fail{'s' * (found.failed == 1)}: "
    off = found.cut_off
    if off is not None and found.short_wh == 0.0:
        at = words.moment(_moment(choice, off.minute))
        return f"{text}at {at} {off.load_id} may go off, {off.volts:.1f} V at its plug, {off.needed_v:.1f} V needed."
    return f"{text}{math.ceil(found.short_wh):,} Wh short in spell {words.spell(found.window)}; {_cause(found)}."


def _cause(found: Agreement) -> str:
    """What weighs most in the worst window."""
    parts = {
        "the panels give {:.0f} Wh less than planned": -found.harvest_wh,
        "the loads draw {:.0f} Wh more than planned": found.draw_wh,
        "the battery does not take {:.0f} Wh that it was planned to": found.refused_wh,
    }
    words_, amount_wh = max(parts.items(), key=lambda part: part[1])
    return words_.format(amount_wh) if amount_wh > 0.5 else "it comes closer to what is held back within a step"


def second_opinion_value(choice: Choice, found: Agreement | None) -> dict[str, Any] | None:
    """The key ``second_opinion``; null where there is no kit or it was not asked for. Energy in watt-hours."""
    if found is None:
        return None
    off = found.cut_off
    return {
        "asked": found.asked,
        "failed": found.failed,
        "least_wh": encode.number(found.least_wh),
        "most_wh": encode.number(found.most_wh),
        "short_wh": encode.number(found.short_wh),
        "window": found.window or None,
        "harvest_wh": encode.number(found.harvest_wh),
        "draw_wh": encode.number(found.draw_wh),
        "refused_wh": encode.number(found.refused_wh),
        "cut_off": None
        if off is None
        else {
            "id": off.load_id,
            "time": encode.time(_moment(choice, off.minute)),
            "volts": encode.number(off.volts),
            "needed_v": off.needed_v,
        },
        "text": second_opinion_text(choice, found),
    }


def _moment(choice: Choice, minute: int) -> datetime:
    return moment_after(choice.operation, timedelta(minutes=minute))
