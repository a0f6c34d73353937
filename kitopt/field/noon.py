"""What a panel should give at its best moment of an operation's first day, under a clear sky."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from kitopt.field.amperes import expected_a
from kitopt.field.outlook import set_up_of
from kitopt.field.reach import reaches
from kitopt.field.site import site_of
from kitopt.inventory.items import Inventory
from kitopt.operation.terms import Operation

_STEPS_A_DAY = 96


@dataclass(frozen=True)
class AtNoon:
    """Amperes of a panel that is worth its mean.

    Attributes
    ----------
    is_facing : bool
        Facing the sun; else flat, since it does not tilt.
    """

    panel: str
    controller: str
    at: datetime
    amps: float
    is_facing: bool


def at_noon(operation: Operation, inventory: Inventory, panel: str) -> AtNoon | None:
    """What a panel gives through the lightest controller that it reaches; None where it reaches none, or by night."""
    pairs = [pair for pair in reaches(inventory, operation.panel_distance_m) if pair.panel.id == panel]
    if not pairs:
        return None
    pair = min(pairs, key=lambda one: (one.controller.mass_g, one.controller.id))
    midnight = operation.start.astimezone(operation.site.timezone).replace(hour=0, minute=0, second=0, microsecond=0)
    site = site_of(operation, midnight)
    later_h = np.arange(_STEPS_A_DAY) * 24.0 / _STEPS_A_DAY
    highest = int(np.argmin(site.light(later_h).sun.zenith_deg[0]))
    site = replace(site, at=midnight + timedelta(hours=float(later_h[highest])))
    light = site.light(np.zeros(1))
    if float(light.sun.zenith_deg[0, 0]) > 87.0:
        return None
    lies = not pair.panel.tilts
    set_up = set_up_of(pair, light, lies=lies, air_degc=float(site.air_at(np.zeros(1))[0]))
    set_up = set_up if lies else set_up.facing_sun()
    return AtNoon(panel, pair.controller.id, site.at, expected_a(set_up), not lies)
