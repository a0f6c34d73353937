"""What stands on a sheet, as plain text and lists: the words are those of the page."""

from __future__ import annotations

import math
import re
from datetime import timedelta
from typing import Any

import numpy as np

from kitopt import __version__
from kitopt.choice.terms import Floats
from kitopt.facts.amperes import way_of
from kitopt.facts.carried import Carried
from kitopt.facts.chances import act_below_ah
from kitopt.facts.joins import JoinToMake, border_of
from kitopt.files.plain import printable
from kitopt.operation.clock import moment_after
from kitopt.report import words
from kitopt.report.field.now import action_text, at_most_ah, instead_of_wires, out_less_in
from kitopt.report.field.two_minutes import test_steps
from kitopt.report.heed import to_heed
from kitopt.report.lists import counted
from kitopt.report.page.charts import charge_in_words, charge_on_paper
from kitopt.report.page.field import saved_by
from kitopt.report.page.kit import KitOnPage
from kitopt.report.page.rail import ends_of, fuse_text, where_all_meet
from kitopt.report.words import moment
from kitopt.sky.overhead import SKIES

_LONG = re.compile(r"\S{18}(?=\S{6})")


def sheets_of(kit: KitOnPage) -> list[dict[str, Any]]:
    """Of one kit: one sheet, or one for each bag, since each is filled by itself."""
    whole = kit_values(kit)
    if not kit.is_in_bags:
        return [whole]
    each = zip(kit.heaps, whole["heaps"], strict=True)
    return [
        {
            **whole,
            "fuses": whole["fuses"] if heap is kit.heaps[0] else "",
            **{"title": f"{whole['title']}: {told['name']}", "mass": told["mass"], "heaps": [told]},
            "total": _total(sum(one.count for one in heap.pieces), heap.mass_g),
        }
        for heap, told in each
    ]


def _total(count: int, mass_g: int) -> str:
    return f"In all {counted(count, 'piece')}, {words.mass(mass_g, to_the_gram=True)}: complete."


def kit_values(kit: KitOnPage) -> dict[str, Any]:
    """Of one kit; lengths of the lists vary, the keys do not."""
    choice = kit.choice
    heed = [*(one.line for one in to_heed(choice)), *kit.notes]
    heed.append("No rule failed: no promise. Local codes and licensed practice come first.")
    value = {
        "title": kit.title,
        "mass": words.mass(kit.mass_g),
        "does": kit.does,
        "heed": heed,
        "heaps": [
            {
                "name": heap.name,
                "mass": words.mass(heap.mass_g, to_the_gram=True),
                "pieces": [
                    {
                        "what": f"{one.count} × {one.id}",
                        "name": one.name if one.name != one.id else "",
                        "into": ", ".join(one.plugs_into),
                        "mass": words.mass(one.mass_g, to_the_gram=True),
                    }
                    for one in heap.pieces
                ],
            }
            for heap in kit.heaps
        ],
        "total": _total(kit.count, kit.mass_g),
        "fuses": kit.fuses,
        "circuits": [_circuit(kit, one) for one in kit.carried],
        "footer": f"kitopt {__version__}, seed {choice.operation.need.seed}, inventory "
        f"{choice.inventory.fingerprint}, kit {kit.key}, {choice.sky.source}.",
    }
    return {key: _clean(one) for key, one in value.items()}


def _clean(value: Any) -> Any:
    """Text without controls, and with places to break where a word is wider than a column."""
    if isinstance(value, str):
        return _LONG.sub("\\g<0>\N{ZERO WIDTH SPACE}", printable(value))
    if isinstance(value, dict):
        return {key: one if key == "picture" else _clean(one) for key, one in value.items()}
    return [_clean(one) for one in value] if isinstance(value, list) else value


def _circuit(kit: KitOnPage, one: Carried) -> dict[str, Any]:
    of = kit.whose(one)
    operation = one.choice.operation
    heads = ["At", "half of all", "1 in 20", "act above"]
    amps: list[Floats] = []
    for panel in one.amperes.outlooks:
        way = way_of(one.choice, panel.reach.panel)
        amps += [panel.amps[sky, way] for sky in reversed(SKIES)]
        heads += [f"{panel.reach.panel.id} dull, A", "half", "bright"]
    instead = instead_of_wires(one.now)
    below_ah = act_below_ah(one.choice, one.now, one.chances)
    rows = []
    for n, at_h in enumerate(one.chances.at_h):
        when = moment(moment_after(operation, timedelta(hours=float(at_h))))
        limit = below_ah[n]
        act = "" if instead or math.isnan(limit) else out_less_in(at_most_ah(limit))
        is_up = float(np.interp(at_h, one.amperes.at_h, one.amperes.high_deg)) > 0.0
        due = [f"{float(np.interp(at_h, one.amperes.at_h, row)):.2f}" if is_up else "" for row in amps]
        half, most = one.chances.used_ah[:, n]
        rows.append([when, out_less_in(half), out_less_in(most), act, *due])
    picture, key = charge_on_paper(one)
    is_in = any(row[3].endswith("in") for row in rows)
    above = "Above the column “act above”" + (", or with less “more in” than it says" if is_in else "")
    return {
        "wire": f"Wire{of}",
        "order": "Plug in this order, tick each; strike in reverse." + "".join(where_all_meet(one.joins, str)),
        "joins": [_join(one, join, number) for number, join in enumerate(one.joins, start=1)],
        "swaps": kit.swaps(one),
        "charge": charge_in_words(one),
        "picture": picture,
        "key": key,
        "plan": f"Every {_every(one)} h: Ah out less Ah in since the start, amperes of one panel, what is read{of}",
        "below": instead or f"{above}: {action_text(one.now)}, at once.",
        "columns": 4 + len(amps),
        "heads": heads,
        "rows": rows,
        "tests": [
            {
                "title": f"Two-minute test of {due_.reach.panel.id} on {due_.reach.controller.id}",
                "steps": list(steps),
                "meant": list(meant),
            }
            for due_ in one.tests
            for steps, meant in [test_steps(due_.belief)]
        ],
        "drop": [list(pair) for pair in saved_by(one)],
    }


def _every(one: Carried) -> str:
    steps = np.diff(one.chances.at_h)
    return f"{float(np.median(steps)) if len(steps) else one.choice.operation.hours:g}"


def _join(one: Carried, join: JoinToMake, number: int) -> dict[str, Any]:
    wire = join.wire
    fuse = fuse_text(join)
    lead = f"{', '.join(wire.leads)}, {words.length(round(join.length_m or 0.0, 2))}. " if wire.leads else ""
    first, highest_v = border_of(one.joins)
    warning = f"Panel volts from here on, up to {highest_v:.1f} V: cover the panel first." if join is first else ""
    return {
        "number": number,
        "ends": "".join(ends_of(join, str)),
        "flow": f"{wire.amps:.1f} A{f', {fuse}' if fuse else ''}.",
        "lead": lead + (f"Plug: {', '.join(join.plugs)}." if join.plugs else ""),
        "panel": join.panel_volts is not None,
        "warning": warning,
    }
