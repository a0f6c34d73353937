"""Short steps joined to longer ones."""

from __future__ import annotations

from dataclasses import replace

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.windows import Sky


def coarsen(sky: Sky, parts: int) -> Sky:
    """Means over every `parts` steps; the number of steps must be a multiple of it."""

    def mean(values: NDArray[np.float64]) -> NDArray[np.float64]:
        return np.asarray(values.reshape(values.shape[0], -1, parts).mean(axis=2), dtype=np.float64)

    return replace(
        sky,
        step_h=sky.step_h * parts,
        poa_wm2={laid: mean(values) for laid, values in sky.poa_wm2.items()},
        useful_wm2={laid: mean(values) for laid, values in sky.useful_wm2.items()},
        panel_degc={laid: mean(values) for laid, values in sky.panel_degc.items()},
        air_degc=mean(sky.air_degc),
        battery_degc=mean(sky.battery_degc),
    )
