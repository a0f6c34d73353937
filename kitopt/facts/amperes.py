"""Amperes to expect of each panel of a kit by the hour, under each sky that is named, flat and facing the sun."""

from __future__ import annotations

import math
from dataclasses import dataclass
from typing import Literal

import numpy as np

from kitopt.choice import Choice
from kitopt.choice.terms import Floats
from kitopt.field.outlook import Outlook, outlooks_at
from kitopt.field.reach import Reach
from kitopt.field.site import site_of
from kitopt.inventory.items import Battery, Panel
from kitopt.model.kit import Join

Way = Literal["flat", "facing"]


@dataclass(frozen=True, eq=False)
class AmperesByHour:
    """Of one panel by itself on the controller that it hangs on, at each whole hour of the clock.

    Attributes
    ----------
    at_h : ndarray, shape (n,)
        Hours after the start; the first is 0. [h]
    high_deg, azimuth_deg : ndarray, shape (n,)
        Of the sun. [deg]
    outlooks : tuple of Outlook
        By panel and controller. [A]
    """

    at_h: Floats
    high_deg: Floats
    azimuth_deg: Floats
    outlooks: tuple[Outlook, ...]


def way_of(choice: Choice, panel: Panel) -> Way:
    """How a panel lies as the operation aims it."""
    return "facing" if panel.tilts and choice.operation.aim.mode != "flat" else "flat"


def amperes_by_hour(choice: Choice) -> AmperesByHour:
    """Of a choice with one kit that is measured."""
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
    at_h = np.concatenate([[0.0], later])
    clear = site.light(at_h)
    outlooks = outlooks_at(site, choice.inventory, list(pairs.values()), at_h, clear) if pairs else ()
    return AmperesByHour(at_h, 90.0 - clear.sun.zenith_deg[0], clear.sun.azimuth_deg[0], outlooks)
