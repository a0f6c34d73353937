"""No sun at all."""

from __future__ import annotations

import numpy as np

from kitopt.operation.terms import Operation
from kitopt.sky.assemble import usual_air
from kitopt.sky.temperature import kept_warm_degc
from kitopt.sky.windows import Sky


def dark_sky(operation: Operation) -> Sky:
    """One window without any light; needs no solar library at all.

    Raises
    ------
    BadInput
        If the operation gives no temperatures.
    """
    air = usual_air(operation)
    nothing = np.zeros((1, operation.n_steps))
    return Sky(
        start=operation.start,
        step_h=operation.need.step_h,
        poa_wm2={"flat": nothing, "aimed": nothing},
        useful_wm2={"flat": nothing, "aimed": nothing},
        panel_degc={"flat": air.air_degc, "aimed": air.air_degc},
        air_degc=air.air_degc,
        battery_degc=kept_warm_degc(air.battery_degc, operation.site.cells_degc),
        coldest_degc=air.coldest_degc,
        labels=("no sun",),
        source="no sun",
        aim_text="no sun to aim at",
    )
