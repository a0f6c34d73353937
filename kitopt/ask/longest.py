"""The grab-kit within a mass that lasts longest."""

from __future__ import annotations

from dataclasses import replace

from kitopt.ask.change import Change
from kitopt.budget import UNLIMITED, Budget
from kitopt.choice.standing import GrabKit, grab_kit
from kitopt.engine.halving import last_that_holds
from kitopt.inventory.items import Inventory
from kitopt.operation.plans import Standing
from kitopt.sky.memory import check_all_fit
from kitopt.sky.windows import SkyOf

LONGEST_H = 14 * 24
"""What lasts two weeks is not tried for longer. [h]"""


def longest(
    standing: Standing, inventory: Inventory, sky_of: SkyOf, mass_g: float, *, budget: Budget = UNLIMITED
) -> tuple[int, GrabKit]:
    """The kit within a mass that lasts longest, every event going on for the same hours.

    Longer is never lighter, so halving finds the last whole hour that works: of the musts, which come first.

    Returns
    -------
    hours : int
        0 when not even one hour works.
    kit : GrabKit
        The lightest for that long; its status is "time-limit" when longer might work. [h]
    """
    tried: dict[int, GrabKit] = {}

    def lasting(hours: int, *, with_nices: bool) -> GrabKit:
        change = Change("hours", value=hours)
        events = []
        for event in standing.events:
            dates = (date if with_nices else date.running() for date in event.dates)
            events.append(replace(event, dates=tuple(change.operation(date) for date in dates)))
        check_all_fit((date for event in events for date in event.dates), standing.file)
        over = replace(standing, events=tuple(events), least="mass")
        return grab_kit(over, inventory, sky_of, budget=budget, mass_g=mass_g)

    def works(hours: int) -> bool:
        tried[hours] = lasting(hours, with_nices=False)
        return bool(tried[hours].packed)

    hours = last_that_holds(works, 0, LONGEST_H + 1, guess=1)
    is_sure = all(kit.packed or kit.status == "no-kit" for kit in tried.values())
    kit = tried[max(1, hours)]
    if hours and any(date.nices for event in standing.events for date in event.dates):
        kit = lasting(hours, with_nices=True)
    return hours, kit if is_sure else replace(kit, status="time-limit")
