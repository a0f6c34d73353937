"""Light over an operation's windows, before any panel is held into it."""

from __future__ import annotations

from dataclasses import dataclass

import numpy as np
from numpy.typing import NDArray

from kitopt.sky.clear_sky import ClearSky
from kitopt.sky.sun import Sun


@dataclass(frozen=True)
class Light:
    """Sun, clear sky and real sky over the same steps.

    `sun` and `clear` hold (1, n_steps) where all windows share their dates, else (n_windows, n_steps).

    Attributes
    ----------
    dni_wm2, dhi_wm2 : ndarray, shape (n_windows, n_steps)
        Beam facing the sun, and diffuse light on the flat; nothing in the way. [Wm⁻²]
    """

    sun: Sun
    clear: ClearSky
    dni_wm2: NDArray[np.float64]
    dhi_wm2: NDArray[np.float64]
    headroom: float = 1.0
    """Highest irradiance on any plane, as a multiple of that of a panel facing the sun under the clear sky."""

    @property
    def n_windows(self) -> int:
        """Number of windows."""
        return int(self.dni_wm2.shape[0])

    def behind(self, beam_share: NDArray[np.float64]) -> Light:
        """The same light with part of the beam cut off by something in its way."""
        return Light(self.sun, self.clear, self.dni_wm2 * beam_share, self.dhi_wm2, self.headroom)

    def of(self, windows: NDArray[np.int64]) -> Light:
        """Only some of the windows."""
        if self.sun.zenith_deg.shape[0] == 1:
            sun, clear = self.sun, self.clear
        else:
            sun = Sun(*(each[windows] for each in (self.sun.zenith_deg, self.sun.azimuth_deg, self.sun.extra_wm2)))
            clear = ClearSky(*(each[windows] for each in (self.clear.ghi_wm2, self.clear.dni_wm2, self.clear.dhi_wm2)))
        return Light(sun, clear, self.dni_wm2[windows], self.dhi_wm2[windows], self.headroom)
