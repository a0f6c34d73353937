"""The two-minute test of each panel of a kit, with what it should show when the sun stands highest."""

from __future__ import annotations

from dataclasses import dataclass, replace
from datetime import datetime, timedelta

import numpy as np

from kitopt.choice import Choice
from kitopt.facts.amperes import way_of
from kitopt.field.belief import Belief, believe
from kitopt.field.outlook import ByHour, light_now, set_up_of
from kitopt.field.reach import Reach
from kitopt.field.site import site_of
from kitopt.operation.clock import moment_after

_LEAST_HIGH_DEG = 5.0


@dataclass(frozen=True, eq=False)
class TestDue:
    """Of one panel on its controller, facing the sun where it tilts, under a clear sky at some moment."""

    reach: Reach
    at: datetime
    belief: Belief


def tests_due(choice: Choice, amperes: ByHour) -> tuple[TestDue, ...]:
    """At the hour of the operation in which the sun stands highest; none where it never does."""
    best = int(np.argmax(amperes.high_deg))
    if not amperes.outlooks or amperes.high_deg[best] < _LEAST_HIGH_DEG:
        return ()
    at = moment_after(choice.operation, timedelta(hours=float(amperes.at_h[best])))
    site = site_of(choice.operation, at)
    light, air = light_now(site, "clear"), float(site.air_at(np.zeros(1))[0])
    found = []
    for one in amperes.outlooks:
        tilts = way_of(choice, one.reach.panel) == "facing"
        set_up = set_up_of(one.reach, light, lies=not tilts, air_degc=air)
        set_up = set_up.facing_sun() if tilts else replace(set_up, lies=True)
        found.append(TestDue(one.reach, at, believe(set_up, {"amps": 0.0})))
    return tuple(found)
