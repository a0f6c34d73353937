"""Amperes to expect of each panel of a kit by the hour, under each sky that is named, flat and facing the sun."""

from __future__ import annotations

import math
from typing import Literal

import numpy as np

from kitopt.choice import Choice
from kitopt.field.outlook import ByHour, by_hour
from kitopt.field.reach import Reach
from kitopt.field.site import site_of
from kitopt.inventory.items import Battery, Panel
from kitopt.model.kit import Join

Way = Literal["flat", "facing"]


def way_of(choice: Choice, panel: Panel) -> Way:
    """How a panel lies as the operation aims it."""
    return "facing" if panel.tilts and choice.operation.aim.mode != "flat" else "flat"


def amperes_by_hour(choice: Choice) -> ByHour:
    """Of a choice with one kit that is measured, at each whole hour of the clock after its start."""
    made, start = choice.made, choice.operation.start
    assert made is not None
    batteries = [one for p in choice.packed if isinstance(one := choice.inventory.by_id[p.id], Battery)]
    battery = max(batteries, key=lambda one: (one.measured_ah, one.id))
    pairs: dict[tuple[str, str], Reach] = {}
    for join, unit, _ in choice.joins:
        leads = () if join.chain is None else join.chain.ids
        ohm = Join.ohm(join, made.model.contacts)
        pairs.setdefault((join.panel.id, unit.controller.id), Reach(join.panel, unit.controller, battery, ohm, leads))
    site = site_of(choice.operation, start)
    first_h = (60.0 - start.minute - start.second / 60.0) / 60.0 % 1.0 or 1.0
    later = np.arange(first_h, math.ceil(choice.operation.hours) + first_h)
    return by_hour(site, list(pairs.values()), np.concatenate([[0.0], later]))
