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

    Longer is never lighter, so halving finds the last whole hour that works.

    Returns
    -------
    hours : int
        0 when not even one hour works.
    kit : GrabKit
        The lightest for that long; its status is "time-limit" when longer might work. [h]
    """
    tried: dict[int, GrabKit] = {}

    def works(hours: int) -> bool:
        change = Change("hours", value=hours)
        events = tuple(
            replace(event, dates=tuple(change.operation(date) for date in event.dates)) for event in standing.events
        )
        over = replace(standing, events=events, least="mass")
        check_all_fit((date for event in events for date in event.dates), standing.file)
        tried[hours] = grab_kit(over, inventory, sky_of, budget=budget, mass_g=mass_g)
        return bool(tried[hours].packed)

    hours = last_that_holds(works, 0, LONGEST_H + 1, guess=1)
    is_sure = all(kit.packed or kit.status == "no-kit" for kit in tried.values())
    kit = tried[max(1, hours)]
    return hours, kit if is_sure else replace(kit, status="time-limit")
